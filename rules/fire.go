package rules

import (
	"math"
	"slices"
	"time"

	"undersheet/logbook"
	"undersheet/rules/alarm"
	"undersheet/rules/dose"
	"undersheet/rules/reading"
	"undersheet/rules/treatment"
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

// fireWait is the longest time for which a single reading that shows a fire waits for
// another that shows it, too. It is short against the hours in which water heats
// phosphide, and longer than most instruments take from one reading to the next: common
// practice.
const fireWait = 20 * time.Minute

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

// fireRisk looks whether a reading shows gas that could burn, or that rises too fast. A
// single reading may be a spike. So the alarm is raised only when the next reading of the
// line, or a reading of another line, shows a fire, too; or when no next one comes in time,
// see fireUnanswered. While its pump is off a line may read gas that stood in its tube. Such
// a reading can raise the alarm but never ends it, and says nothing of a rise.
func (s *State) fireRisk(k *Stack, t *treatment.Treatment, line int, j reading.Judged) {
	if !j.Fits || j.State == reading.Late || k.Gas == nil {
		return
	}
	of := logbook.Alarm{Alarm: alarm.Fire, Store: k.Store, Stack: t.Stack, Line: t.Lines[line].Name, Onset: min(j.At, s.At)}
	stands := s.drawn(t.Lines[line].Channel) == PumpOff
	known, r := s.Alarms[keyOf(&of)], &k.Gas.Rises[line]
	active := s.couldBurn(k, line, j, stands, &of)
	if !active && known == nil && r.Doubt == nil {
		return
	}
	if of.Code != alarm.CodeRise { // the value of a rise is by how much the line rose
		of.Value = logbook.Round(j.Value)
	}
	raised := known != nil && known.Raised
	if raised {
		told := known.Record
		switch anew := active && alarm.Graver(of.Code, told.Code); {
		case anew:
			raised = false
		case active && of.Code != told.Code, !active && s.stillBurns(&told, j): // what was told stands, by its own limit
			if told.Code != alarm.CodeRise {
				told.Value = logbook.Round(j.Value)
			}
			of, active = told, true
		}
	}
	switch doubt := r.Doubt; {
	case !active && (stands || doubt != nil && (j.At < doubt.Onset || s.stillBurns(doubt, j))):
	case !active, raised:
		r.Doubt = nil
		s.alarm(condition{of: of, active: active})
	case k.Gas.doubtful():
		if doubt != nil {
			of.Onset = doubt.Onset
		}
		if doubt != nil && !alarm.Graver(doubt.Code, of.Code) { // a graver sign still waits to be confirmed
			r.Doubt = nil
		}
		s.alarm(condition{of: of, active: true})
	default:
		one := of
		one.Time = s.At
		r.Doubt = &one
		k.Due = min(k.Due, s.At.Add(s.fireWait(t, line)))
	}
}

// stillBurns reports whether a reading lies above the limit of a fire alarm, or of an
// unconfirmed sign of one, or below it by less than the deadband, and so does not end it.
// Of a rise it reports false: that ends with any reading that is no rise.
func (s *State) stillBurns(of *logbook.Alarm, j reading.Judged) bool {
	return of.Code != alarm.CodeRise && j.Value >= float64(of.Limit)*(1-alarm.Of(s.Site, alarm.Fire).Deadband)
}

// couldBurn reports whether a reading shows gas that could burn, or more than the dose can
// explain, and writes code, value and limit of that into of. stands: the line's pump is off.
func (s *State) couldBurn(k *Stack, line int, j reading.Judged, stands bool, of *logbook.Alarm) bool {
	g, over := k.Gas, j.State == reading.OverRange
	switch {
	case over && !g.doseGives(j.Value):
		of.Code, of.Limit = alarm.CodeOverRange, logbook.Round(j.Value)
	case j.Value >= dose.AlarmLEL*dose.LELppm:
		of.Code, of.Limit = alarm.CodeExplosive, dose.AlarmLEL*dose.LELppm
	case !stands && g.tooFast(line, j, k.mostRise(j.At), s.lineAway(*of), of):
	case over: // the dose explains this much, but nobody can see whether the gas rises further
		of.Code, of.Limit, of.Priority = alarm.CodeTopOfRange, logbook.Round(j.Value), logbook.PriorityMedium
	case j.Value >= dose.AttentionLEL*dose.LELppm:
		of.Code, of.Limit, of.Priority = alarm.CodeAttention, dose.AttentionLEL*dose.LELppm, logbook.PriorityMedium
	default:
		return false
	}
	return true
}

// doseGives reports whether the dose alone explains that an instrument is at the top of its
// range, ppm: without any loss it gives that much, but less than what calls for an alarm. An
// instrument of a short range is at its top in every treatment.
func (g *Gas) doseGives(ppm float64) bool {
	return g.FullPPM >= ppm && g.FullPPM < dose.AlarmLEL*dose.LELppm
}

// doubtful reports whether a line of the stack has shown a sign of fire that is not confirmed
// yet, so that one more reading of any line confirms it.
func (g *Gas) doubtful() bool {
	return slices.ContainsFunc(g.Rises, func(r Rise) bool { return r.Doubt != nil })
}

// fireWait is how long a sign of fire at a line waits for the line's next reading: one and a
// half of its usual intervals, and never longer than the constant fireWait.
func (s *State) fireWait(t *treatment.Treatment, line int) time.Duration {
	name := t.Lines[line].Channel
	return min(s.channel(name).Usual(s.Site.Channels[name])*3/2, fireWait)
}

// fireUnanswered raises the alarm for a sign of fire in a single reading when no further
// reading comes in time: the fire may have silenced the instrument.
func (s *State) fireUnanswered(k *Stack, t *treatment.Treatment, line int) {
	r := &k.Gas.Rises[line]
	if r.Doubt == nil {
		return
	}
	of := *r.Doubt
	if until := of.Time.Add(s.fireWait(t, line)); s.At < until {
		s.again(until)
		return
	}
	r.Doubt = nil
	s.alarm(condition{of: of, active: true})
}

// lineAway reports whether a line is known not to draw the stack's gas. When such a line is
// put right its readings jump up, and that is no fire.
func (s *State) lineAway(of logbook.Alarm) bool {
	for _, name := range []string{alarm.LineOff, alarm.LineBlocked} {
		if of.Alarm = name; s.raised(&of) {
			return true
		}
	}
	of.Alarm, of.Line = alarm.PumpOff, ""
	return s.raised(&of)
}

// tooFast reports whether a line has risen within an hour by more than limit, ppm, or reads more in
// all than the dose can explain, and writes code, value and limit into of. For a line that was away
// the rise counts for nothing, only how much it reads; up to its first reading after that,
// for lines are read in turn, and the first that is back ends it for all. The level of an hour ago is the median
// of the reading then and its two neighbours, since that reading may itself have been a
// spike. While a rise is not confirmed it stays measured from the same level.
func (g *Gas) tooFast(line int, j reading.Judged, limit float64, away bool, of *logbook.Alarm) bool {
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

// mostRise is the largest rise of a line within an hour, ppm, that the dose explains. Phosphide
// that lies beside gas from cylinders may get wet as any other.
func (k *Stack) mostRise(at logbook.Time) float64 {
	g := k.Gas
	if dose.FromCylinders(g.Setup.Form) && at.Sub(g.DosedAt) < gasMixes && !k.phosphideInside() {
		return math.Inf(1)
	}
	return math.Max(riseShare*g.FullPPM, riseFloor)
}

// phosphideInside reports whether product that releases phosphine is on record as under the
// sheet.
func (k *Stack) phosphideInside() bool {
	for form, a := range k.Product {
		if !dose.FromCylinders(form) && a.Inside() > 0 {
			return true
		}
	}
	return false
}

// middle is the median of three.
func middle(a, b, c float64) float64 { return max(min(a, b), min(max(a, b), c)) }
