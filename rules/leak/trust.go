package leak

import (
	"math"
	"slices"
)

// followsZ is the z of the whole stack from which on it is taken to follow a fall at
// one line. Under a sheet gas mixes within hours, so a leak beside a line soon takes
// from all; a drifting instrument takes from none.
const followsZ = 1.3

// alone reports whether a fall that was found at a line is, so far, only that line's:
// the stack's level, the mean of its lines, falls no more than by the line's part in it.
func (s *State) alone(f found) bool {
	if f.line < 0 {
		return false
	}
	k := f.onset*s.Bank.sums() + aRise
	part := s.Bank.alone(f.onset, f.line, onward).rate / float64(s.Setup.Lines)
	return s.Bank.Num[k]-part*s.Bank.Den[k] < followsZ*math.Sqrt(s.Bank.Den[k])
}

// Misled returns the line (all: −1) whose readings since so many hours after dosing were
// not the stack's gas, by an event that begins; false = it says nothing of the kind.
// Whoever told a fit of them takes them back.
func (e *Event) Misled() (line int, since float64, ok bool) {
	switch {
	case e.Cleared:
	case e.Kind == PumpStop:
		return -1, min(e.Onset, e.OnsetLow), true
	case e.Kind == LineOff, e.Kind == Blocked, e.Kind == Drifting:
		return e.Line, min(e.Onset, e.OnsetLow), true
	}
	return 0, 0, false
}

// LossOf reports what a fit is to be told of the loss rate because of an event that was just
// returned: that it changed, or that the leak was mended. Of a leak that was told by what half a
// day lost the fit is told nothing, since it has followed it already; and when one of several
// leaks turns out to be none, nothing was mended.
func (s *State) LossOf(e *Event) (changed, mended bool) {
	if e.Kind != Leak || e.Limit > 0 {
		return false, false
	}
	return !e.Cleared, e.Cleared && s.Raised == nil
}

// Leaking reports whether a leak stands that more than its own line shows.
func (s *State) Leaking() bool { return s.Lost != nil || s.Raised != nil && !s.Raised.alone() }

// LeakAt returns the leak that stands and that a line alone shows, if one does.
func (s *State) LeakAt(line int) (e Event, ok bool) {
	if s.Raised == nil {
		return Event{}, false
	}
	for _, e := range s.Raised.all() {
		if e.Alone && e.Line == line {
			return e, true
		}
	}
	return Event{}, false
}

// outRisen reports whether a line rose against the others more surely than the found
// one fell: of three lines or more it is then the one that is wrong, as where its
// instrument drifts, and what the others lose against it is nothing.
func (s *State) outRisen(f found) bool {
	if f.line < 0 || s.Setup.Lines < 3 {
		return false
	}
	return s.other(f.line, -1) > s.Bank.alone(f.onset, f.line, f.shape).z
}

// other is the z of the line but i that fell (sign 1) or rose (-1) most surely against
// the others.
func (s *State) other(i int, sign float64) (z float64) {
	for j := range s.Lines {
		if j == i || s.Out(j) {
			continue
		}
		for k, onset := range s.Bank.Onset {
			if s.At-onset >= youngest {
				z = max(z, sign*s.Bank.alone(k, j, onward).z)
			}
		}
	}
	return z
}

// suspectZ is the least z of a line that bears a suspicion out.
const suspectZ = 2.5

// Suspect raises a leak at a line that has long fallen against the others, if the test itself
// supports that, though not up to its threshold. It raises none while a leak stands.
func (s *State) Suspect(line int) []Event {
	if s.Raised != nil || !s.live() || s.Out(line) {
		return nil
	}
	f := s.Bank.best(line, 1, s.At)
	if f.z < suspectZ || s.cameBack(f) || s.stepped(f) {
		return nil
	}
	return []Event{s.call(f)}
}

// Cause is why a line is out of the test, LineOff, Blocked or Drifting: what it reads
// is not the gas at its place. "" = it is in, or none of those that are tested.
func (s *State) Cause(line int) Kind {
	if line < 0 || line >= len(s.Lines) {
		return ""
	}
	return s.Lines[line].Cause.Kind
}

// OutSince is the hour since which a line has a cause to be out; 0 = it has none.
func (s *State) OutSince(line int) float64 { return s.Lines[line].Cause.Onset }

// Out reports whether a line is out of the test: it has a cause, or the pump has stopped
// and what all lines read is not the gas under the sheet.
func (s *State) Out(line int) bool { return s.Held != nil || s.Fall.Stopped || s.Cause(line) != "" }

// Distrust takes a line out of the test until Anew, because its instrument was found
// to drift, and ends what else was said of it: a block, or a leak that this line
// alone showed.
func (s *State) Distrust(line int) (events []Event) {
	events = s.withdraw(line)
	l := &s.Lines[line]
	if c := l.Cause; c.Kind != "" {
		events = append(events, Event{Kind: c.Kind, Line: line, Onset: c.Onset, OnsetLow: c.Onset, OnsetHigh: c.Onset, Cleared: true})
	}
	l.Far, l.Cause = far{}, cause{Kind: Drifting, Onset: s.At}
	s.Bank.clear()
	return events
}

// withdraw ends a leak that a line alone showed. Others that are raised stand.
func (s *State) withdraw(line int) []Event {
	r := s.Raised
	if r == nil {
		return nil
	}
	all := r.all()
	i := slices.IndexFunc(all, func(e Event) bool { return e.Alone && e.Line == line })
	switch {
	case i < 0:
		return nil
	case len(all) == 1:
		return s.clear()
	}
	e := all[i]
	rise := e.LossAfter - e.LossBefore
	all = slices.Delete(all, i, i+1)
	for j := i; j < len(all); j++ { // what they began from
		all[j].LossBefore -= rise
		all[j].LossAfter -= rise
	}
	r.Event, r.Later = all[0], all[1:]
	r.Rate, r.Now = max(r.Rate-rise/24, leastLeakDay/24), max(r.Now-rise/24, 0)
	r.Changed, r.Calm, r.Back = false, 0, cusum{}
	e.Cleared, e.LossAfter = true, e.LossBefore
	return []Event{e}
}

// Anew lets the level of a line be found anew from its next reading, because it
// reads another place than before or reads right again.
func (s *State) Anew(line int) {
	l := &s.Lines[line]
	l.Cause, l.Known, l.Far, l.Drop = cause{}, false, far{}, 0
	s.forgetStood(line)
	s.Pace.forget(line)
	s.Bank.clear()
}

// Wait lets the test call no leak and no line off until hours: two lines jumped, and what it is will
// be known then.
func (s *State) Wait(hours float64) { s.Hold = hours }
