package gas

import (
	"math"
	"slices"
	"time"

	"undersheet/logbook"
	"undersheet/rules/alarm"
	"undersheet/rules/dose"
	"undersheet/rules/reading"
)

// Fire risk: a rise within an hour of more than this share of what the whole
// dose would give is faster than phosphide releases gas when it is dry (release
// 0.8–1.6 per day gives at most 0.07 per hour; from memory): water on the product.
const (
	riseShare = 0.3
	riseFloor = 100.0 // ppm; smaller rises mean nothing
	doseTwice = 2.0   // twice what the dose would give without any loss
)

// gasMixes is how long gas let in from cylinders spreads under the sheet: all of it is
// there at once, so how fast it comes to a line tells nothing, only how much stands
// there. From memory: gas is even between bags some hours after.
const gasMixes = 6 * time.Hour

// Rise remembers what a line read about an hour ago, against which its rise is measured, and
// a sign of fire that no second reading has confirmed yet.
type Rise struct {
	At     logbook.Time
	PPM    float64
	Before float64        // the reading before the one at At, ppm; 0 once the one after it has come
	Last   float64        // the newest reading, ppm
	Away   bool           `json:",omitempty"` // as the newest reading came, the line was known to draw none of the stack's gas
	Doubt  *logbook.Alarm `json:",omitempty"` // the sign that is not confirmed; its Time is when it came
}

// DoseGives reports whether the dose alone explains that an instrument is at the top of its
// range, ppm: without any loss it gives that much, but less than what calls for an alarm. An
// instrument of a short range is at its top in every treatment.
func (g *State) DoseGives(ppm float64) bool {
	return g.FullPPM >= ppm && g.FullPPM < dose.AlarmLEL*dose.LELppm
}

// Doubtful reports whether a line of the stack has shown a sign of fire that is not confirmed
// yet, so that one more reading of any line confirms it.
func (g *State) Doubtful() bool {
	return slices.ContainsFunc(g.Rises, func(r Rise) bool { return r.Doubt != nil })
}

// TooFast reports whether a line has risen within an hour by more than limit, ppm, or reads more in
// all than the dose can explain, and writes code, value and limit into of. For a line that was away
// the rise counts for nothing, only how much it reads; up to its first reading after that,
// for lines are read in turn, and the first that is back ends it for all. The level of an hour ago is the median
// of the reading then and its two neighbours, since that reading may itself have been a
// spike. While a rise is not confirmed it stays measured from the same level.
func (g *State) TooFast(line int, j reading.Judged, limit float64, away bool, of *logbook.Alarm) bool {
	r := &g.Rises[line]
	switch {
	case away || r.Away, r.At == 0, r.Doubt == nil && j.At.Sub(r.At) > 90*time.Minute:
		r.At, r.PPM, r.Before = j.At, j.Value, 0
	case r.Before > 0:
		r.PPM, r.Before = middle(r.Before, r.PPM, j.Value), 0
	}
	rose := j.Value - r.PPM
	if j.At.Sub(r.At) >= time.Hour && (rose <= limit || r.Doubt != nil) {
		r.At, r.PPM, r.Before = j.At, j.Value, r.Last
	}
	r.Last, r.Away = j.Value, away
	switch {
	case g.FullPPM <= 0:
		return false
	case rose > limit:
		of.Code, of.Value, of.Limit = alarm.CodeRise, logbook.Round(rose), logbook.Round(limit)
		return true
	case j.Value > doseTwice*g.FullPPM && j.Value > riseFloor:
		of.Code, of.Limit = alarm.CodeAboveDose, logbook.Round(doseTwice*g.FullPPM)
		return true
	}
	return false
}

// MostRise is the largest rise of a line within an hour, ppm, that the dose explains. Phosphide
// that lies beside gas from cylinders may get wet as any other.
func (g *State) MostRise(at logbook.Time, phosphide bool) float64 {
	if dose.FromCylinders(g.Setup.Form) && at.Sub(g.DosedAt) < gasMixes && !phosphide {
		return math.Inf(1)
	}
	return math.Max(riseShare*g.FullPPM, riseFloor)
}

// middle is the median of three.
func middle(a, b, c float64) float64 { return max(min(a, b), min(max(a, b), c)) }
