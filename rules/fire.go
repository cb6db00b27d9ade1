package rules

import (
	"math"
	"slices"
	"time"

	"undersheet/logbook"
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

// fireWait is the longest that one reading which shows a fire waits for another to
// say the same. It is short against the hours in which water on phosphide heats, and
// longer than most instruments take from one reading to the next: common practice.
const fireWait = 20 * time.Minute

// Rise remembers how a line stood an hour ago, and what of fire it showed since that
// nothing has borne out.
type Rise struct {
	At     logbook.Time
	PPM    float64
	Before float64        // the reading before that one, ppm, until the one after it has come; 0 = it has
	Last   float64        // its newest reading, ppm
	Doubt  *logbook.Alarm `json:",omitempty"` // what its newest reading alone shows; Time is when it came
}

// fireRisk looks at gas that could burn, or comes too fast. One reading may be a
// spike: it is told once the next reading of its line shows a fire too, or another
// line does, or when no next one comes, see fireUnanswered. While its pump is off a
// line may show what stood in its tube: that can raise the alarm and never ends it,
// and tells nothing of a rise.
func (s *State) fireRisk(k *Stack, t *treatmentOf, line int, j reading.Judged) {
	if !j.Fits || j.State == reading.Late || k.Gas == nil {
		return
	}
	of := logbook.Alarm{Alarm: alarmFire, Store: k.Store, Stack: t.Stack, Line: t.Lines[line].Name, Onset: min(j.At, s.At)}
	stands := s.drawn(t.Lines[line].Channel) == PumpOff
	known, r := s.Alarms[keyOf(&of)], &k.Gas.Rises[line]
	active := s.couldBurn(k.Gas, line, j, stands, &of)
	if !active && known == nil && r.Doubt == nil {
		return
	}
	if of.Code != codeRise { // whose value is by how much it rose
		of.Value = logbook.Round(j.Value)
	}
	raised := known != nil && known.Raised
	if raised {
		told := known.Record
		switch anew := active && graver(of.Code, told.Code); {
		case anew:
			raised = false
		case active && of.Code != told.Code, !active && s.stillBurns(&told, j): // what was told stands, by its own limit
			if told.Code != codeRise {
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
		if doubt != nil && !graver(doubt.Code, of.Code) { // what is graver waits for its own answer
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

// stillBurns reports whether a reading lies so little below the limit of what was told, or is
// in doubt, that it ends neither. A rise ends by itself.
func (s *State) stillBurns(of *logbook.Alarm, j reading.Judged) bool {
	return of.Code != codeRise && j.Value >= float64(of.Limit)*(1-s.kindOf(alarmFire).deadband)
}

// couldBurn reports whether a reading shows gas that could burn, or that the dose
// cannot explain, and notes as what.
func (s *State) couldBurn(g *Gas, line int, j reading.Judged, stands bool, of *logbook.Alarm) bool {
	over := j.State == reading.OverRange
	switch {
	case over && !g.doseGives(j.Value):
		of.Code, of.Limit = codeOverRange, logbook.Round(j.Value)
	case j.Value >= dose.AlarmLEL*dose.LELppm:
		of.Code, of.Limit = codeExplosive, dose.AlarmLEL*dose.LELppm
	case !stands && g.tooFast(line, j, s.lineAway(*of), of):
	case over: // whatever it stands at, nobody can watch there whether it rises
		of.Code, of.Limit, of.Priority = codeTopOfRange, logbook.Round(j.Value), logbook.PriorityMedium
	case j.Value >= dose.AttentionLEL*dose.LELppm:
		of.Code, of.Limit, of.Priority = codeAttention, dose.AttentionLEL*dose.LELppm, logbook.PriorityMedium
	default:
		return false
	}
	return true
}

// doseGives reports whether the whole dose, without any loss, gives as much as an
// instrument shows that is at the top of its range, and less than what calls for alarm:
// one of a short range stands there in every treatment.
func (g *Gas) doseGives(ppm float64) bool {
	return g.FullPPM >= ppm && g.FullPPM < dose.AlarmLEL*dose.LELppm
}

// doubtful reports whether a line shows a fire that nothing has borne out yet: one
// more reading does.
func (g *Gas) doubtful() bool {
	return slices.ContainsFunc(g.Rises, func(r Rise) bool { return r.Doubt != nil })
}

// fireWait is how long one reading of a line waits for the next: half an interval
// longer than usual, if an interval is known.
func (s *State) fireWait(t *treatmentOf, line int) time.Duration {
	name := t.Lines[line].Channel
	return min(s.channel(name).Usual(s.Site.Channels[name])*3/2, fireWait)
}

// fireUnanswered tells of a fire that one reading alone shows when no other comes in
// time: who falls silent then may burn.
func (s *State) fireUnanswered(k *Stack, t *treatmentOf, line int) {
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

// lineAway reports whether a line is known not to draw the stack's gas: when it is
// back it rises at once, and that is no fire.
func (s *State) lineAway(of logbook.Alarm) bool {
	for _, name := range []string{alarmLineOff, alarmLineBlocked} {
		if of.Alarm = name; s.raised(&of) {
			return true
		}
	}
	of.Alarm, of.Line = alarmPumpOff, ""
	return s.raised(&of)
}

// tooFast reports whether the dose cannot explain the gas of a line. The rise of
// one that was away tells nothing; what stands there then does. How it stood an hour
// ago is the median of that reading and its neighbours, for it may be a spike itself;
// a rise in doubt is held against the same as before.
func (g *Gas) tooFast(line int, j reading.Judged, away bool, of *logbook.Alarm) bool {
	r := &g.Rises[line]
	switch {
	case away, r.At == 0, r.Doubt == nil && j.At.Sub(r.At) > 90*time.Minute:
		r.At, r.PPM, r.Before = j.At, j.Value, 0
	case r.Before > 0:
		r.PPM, r.Before = middle(r.Before, r.PPM, j.Value), 0
	}
	rose := j.Value - r.PPM
	limit := g.mostRise(j.At)
	if j.At.Sub(r.At) >= time.Hour && (rose <= limit || r.Doubt != nil) {
		r.At, r.PPM, r.Before = j.At, j.Value, r.Last
	}
	r.Last = j.Value
	switch {
	case g.FullPPM <= 0:
		return false
	case rose > limit:
		of.Code, of.Value, of.Limit = codeRise, logbook.Round(rose), logbook.Round(limit)
		return true
	case j.Value > doseTwice*g.FullPPM && j.Value > riseFloor:
		of.Code, of.Limit = codeAboveDose, logbook.Round(doseTwice*g.FullPPM)
		return true
	}
	return false
}

// mostRise is by how much, in ppm, the dose may let a line rise within an hour.
func (g *Gas) mostRise(at logbook.Time) float64 {
	if dose.FromCylinders(g.Setup.Form) && at.Sub(g.DosedAt) < gasMixes {
		return math.Inf(1)
	}
	return math.Max(riseShare*g.FullPPM, riseFloor)
}

// middle is the median of three.
func middle(a, b, c float64) float64 { return max(min(a, b), min(max(a, b), c)) }
