package rules

import (
	"time"

	"undersheet/logbook"
	"undersheet/rules/alarm"
	"undersheet/rules/dose"
	"undersheet/rules/reading"
	"undersheet/rules/treatment"
)

// fireWait is the longest time for which a single reading that shows a fire waits for
// another that shows it, too. It is short against the hours in which water heats
// phosphide, and longer than most instruments take from one reading to the next: common
// practice.
const fireWait = 20 * time.Minute

// fireRisk looks whether a reading shows gas that could burn, or that rises too fast. A
// single reading may be a spike. So the alarm is raised only when the next reading of the
// line, or a reading of another line, shows a fire, too; or when no next one comes in time,
// see fireUnanswered. While its pump is off a line may read gas that stood in its tube. Such
// a reading can raise the alarm but never ends it, and says nothing of a rise.
// So can one that came while now stood still, and it says no more.
func (s *State) fireRisk(k *Stack, t *treatment.Treatment, line int, j reading.Judged, still bool) {
	if !j.Fits || j.State == reading.Late || k.Gas == nil {
		return
	}
	of := logbook.Alarm{Alarm: alarm.Fire, Store: k.Store, Stack: t.Stack, Line: t.Lines[line].Name, Onset: min(j.At, s.At)}
	stands := still || s.drawn(t.Lines[line].Channel) == PumpOff
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
	case k.Gas.Doubtful():
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
	case over && !g.DoseGives(j.Value):
		of.Code, of.Limit = alarm.CodeOverRange, logbook.Round(j.Value)
	case j.Value >= dose.AlarmLEL*dose.LELppm:
		of.Code, of.Limit = alarm.CodeExplosive, dose.AlarmLEL*dose.LELppm
	case !stands && g.TooFast(line, j, g.MostRise(j.At, k.Product.Phosphide()), s.lineAway(*of), of):
	case over: // the dose explains this much, but nobody can see whether the gas rises further
		of.Code, of.Limit, of.Priority = alarm.CodeTopOfRange, logbook.Round(j.Value), logbook.PriorityMedium
	case j.Value >= dose.AttentionLEL*dose.LELppm:
		of.Code, of.Limit, of.Priority = alarm.CodeAttention, dose.AttentionLEL*dose.LELppm, logbook.PriorityMedium
	default:
		return false
	}
	return true
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
