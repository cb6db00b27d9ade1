// Package exposure does the arithmetic of people's exposure to gas in air: time
// weighted averages, the limit that holds on a date, the concentration-time
// product.
//
// [Air.Add] takes the readings of one air point; [Limit] picks the figure that a
// re-entry gate is held to. The package refuses to count what was not read: hours
// without readings are reported, not bridged.
package exposure

import (
	"math"
	"time"

	"undersheet/logbook"
)

// DefaultLimitPPM holds where no country is set: the clearance figure of older
// guides, and the OSHA PEL.
const DefaultLimitPPM = 0.3

// NoCountry is what a limit is of when no country is set.
const NoCountry = "no country set: 0.3 ppm holds"

// Limit returns the lowest figure of the set in force at now, taken as an
// instantaneous level, and where it comes from. Without sets it is 0.3 ppm. It
// is never above 0.3 ppm before the first set begins.
func Limit(sets []logbook.LimitSet, now logbook.Time) (ppm float64, of string) {
	ppm, of = DefaultLimitPPM, NoCountry
	for i, s := range sets {
		if s.From != 0 && s.From > now {
			if i == 0 {
				return DefaultLimitPPM, s.Source + " (not yet in force: 0.3 ppm holds)"
			}
			break
		}
		if low := lowest(s.Levels); low > 0 {
			ppm, of = low, s.Source
		}
	}
	return ppm, of
}

// InForce returns the set in force at a moment, and when the next one begins; 0 = none
// is to come. Before the first set begins, and without any, 0.3 ppm stands for all
// figures.
func InForce(sets []logbook.LimitSet, at logbook.Time) (set logbook.LimitSet, next logbook.Time) {
	set = logbook.LimitSet{Source: NoCountry, Levels: []logbook.Level{{Name: "ceiling", PPM: DefaultLimitPPM}}}
	for i, s := range sets {
		if s.From > at {
			if i == 0 {
				_, set.Source = Limit(sets, at)
			}
			return set, s.From
		}
		set = s
	}
	return set, 0
}

func lowest(levels []logbook.Level) float64 {
	low := 0.0
	for _, l := range levels {
		if l.PPM > 0 && (low == 0 || l.PPM < low) {
			low = l.PPM
		}
	}
	return low
}

// Span is a concentration that held for some hours.
type Span struct {
	PPM, Hours float64
}

// TWA8 is the 8-hour time-weighted average E = (C₁T₁ + … + CₙTₙ)/8 of 29 CFR
// 1910.1000(d)(1), in the unit of the spans. All of a day's exposure is divided
// by 8, whatever its length.
func TWA8(spans []Span) float64 {
	sum := 0.0
	for _, s := range spans {
		sum += s.PPM * s.Hours
	}
	return sum / 8
}

// slotLength is the grain of the 8-hour memory.
const (
	slotLength = 5 * time.Minute
	slots      = int64(8 * time.Hour / slotLength)
	shortTerm  = 15 * time.Minute
	keepPoints = 240
)

// Slot is what one stretch of 5 minutes held.
type Slot struct {
	Index int64   // 5-minute stretches since 1970
	PPMh  float64 // ppm·h
	Hours float64 // hours covered by readings
}

// Point is one reading in air.
type Point struct {
	At  logbook.Time
	PPM float64
}

// Air remembers the last 8 hours of one air point.
type Air struct {
	Slots  []Slot  // oldest first
	Points []Point // of the last 15 minutes, oldest first
}

// Add takes a reading; the time since the one before it counts by the trapezoid
// rule when it is at most gap long. Readings must not go back in time.
func (a *Air) Add(at logbook.Time, ppm float64, gap time.Duration) {
	if n := len(a.Points); n > 0 {
		last := a.Points[n-1]
		if at <= last.At {
			return
		}
		if at.Sub(last.At) <= gap {
			a.spread(last, Point{at, ppm})
		}
	}
	a.Points = append(a.Points, Point{at, ppm})
	first := 0
	for first < len(a.Points)-1 && (a.Points[first+1].At <= at.Add(-shortTerm) || len(a.Points)-first > keepPoints) {
		first++
	}
	a.Points = append(a.Points[:0], a.Points[first:]...)
}

// spread lays the trapezoid between two readings over the slots it covers.
func (a *Air) spread(from, to Point) {
	step := logbook.Time(slotLength.Microseconds())
	slope := (to.PPM - from.PPM) / float64(to.At-from.At)
	for t := from.At; t < to.At; {
		index := int64(t / step)
		end := min(logbook.Time(index+1)*step, to.At)
		mid := from.PPM + slope*(float64(t-from.At)+float64(end-t)/2)
		h := end.Hours(t)
		if n := len(a.Slots); n == 0 || a.Slots[n-1].Index < index {
			a.Slots = append(a.Slots, Slot{Index: index})
		}
		last := &a.Slots[len(a.Slots)-1]
		last.PPMh += mid * h
		last.Hours += h
		t = end
	}
	oldest := a.Slots[len(a.Slots)-1].Index - slots
	for len(a.Slots) > 0 && a.Slots[0].Index <= oldest {
		a.Slots = append(a.Slots[:0], a.Slots[1:]...)
	}
}

// TWA8 returns the average over the 8 hours before now in ppm, and how many of
// them readings covered. Uncovered time adds nothing: say so where it is shown.
func (a *Air) TWA8(now logbook.Time) (ppm, covered float64) {
	oldest := int64((now-1)/logbook.Time(slotLength.Microseconds())) - slots
	var spans []Span
	for _, s := range a.Slots {
		if s.Index > oldest && s.Hours > 0 {
			spans = append(spans, Span{PPM: s.PPMh / s.Hours, Hours: s.Hours})
			covered += s.Hours
		}
	}
	return TWA8(spans), math.Min(covered, 8)
}

// Mean15 returns the mean of the last 15 minutes in ppm: trapezoid over the
// readings in that time, not aligned to the clock.
func (a *Air) Mean15(now logbook.Time) float64 {
	from := now.Add(-shortTerm)
	sum, width := 0.0, 0.0
	for i := 1; i < len(a.Points); i++ {
		p, q := a.Points[i-1], a.Points[i]
		if q.At <= from {
			continue
		}
		if p.At < from {
			share := float64(from-p.At) / float64(q.At-p.At)
			p = Point{from, p.PPM + share*(q.PPM-p.PPM)}
		}
		h := q.At.Hours(p.At)
		sum, width = sum+h*(p.PPM+q.PPM)/2, width+h
	}
	if n := len(a.Points); width == 0 && n > 0 && a.Points[n-1].At > from {
		return a.Points[n-1].PPM
	}
	if width == 0 {
		return 0
	}
	return sum / width
}
