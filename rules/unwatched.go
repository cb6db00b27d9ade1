package rules

import (
	"slices"
	"time"

	"undersheet/logbook"
	"undersheet/rules/alarm"
	"undersheet/rules/treatment"
)

// While the program does not run nobody reads or watches anything, and only the jump from the last
// entry before a stop to the first one after it shows that. A clock that was set ahead makes the
// same jump, and says so soon after: what it skipped is no time that passed.

// Figures of such a jump.
const (
	unwatchedFor = silentLine      // how long nothing may be read or watched without people being told: as long as of a line
	jumpFrom     = time.Minute     // the least that is remembered
	jumpTold     = 5 * time.Minute // how soon after a jump a clock-stepped entry is of that jump
)

// Jump is a stretch that now passed over at once.
type Jump struct{ From, Until logbook.Time }

// Unwatched is the newest time in which nothing was read or watched while stacks were at work.
type Unwatched struct {
	Jump
	Set    bool                // the machine's clock was set ahead, by about as much
	Stacks map[string][]string // by store: which of its stacks were at work, and nobody who answers for it knows of it yet
}

// noteJump notes how far now moves on with an entry. Whoever writes readings, or that time has
// passed, runs; where an entry has no received time nobody knows when that was.
func (s *State) noteJump(before logbook.Time, e logbook.Entry) {
	if before != 0 && s.At.Sub(before) >= jumpFrom {
		const most = 4
		s.Jumps = append(s.Jumps[max(0, len(s.Jumps)+1-most):], Jump{before, s.At})
	}
	switch e.(type) {
	case *logbook.Reading, *logbook.Clock, *logbook.ClockStepped, *logbook.InstrumentState, *logbook.PayloadRefused:
	default:
		return // people can write without a daemon
	}
	if e.Head().Received == 0 {
		return
	}
	last := s.Watched
	if s.Watched = s.At; last == 0 || s.At.Sub(last) <= unwatchedFor {
		return
	}
	u := &Unwatched{Jump: Jump{last, s.At}, Stacks: map[string][]string{}}
	for _, store := range s.storeNames() {
		if at := s.atWork(store, s.stacksIn(store)); len(at) > 0 {
			u.Stacks[store] = at
		}
	}
	if len(u.Stacks) > 0 {
		s.Unwatched = u
		s.stirAll()
	}
}

// atWork returns those of the stacks that are being dosed, under gas or being aired.
func (s *State) atWork(store string, stacks []string) (at []string) {
	for _, stack := range stacks {
		if s.can(alarm.Of(s.Site, alarm.Unwatched).During, &logbook.Alarm{Store: store, Stack: stack}) {
			at = append(at, stack)
		}
	}
	return at
}

// unwatchedAlarm tells of the newest time in which nobody watched a store, until somebody
// acknowledges it or no stack that it speaks of is at work any more.
func (s *State) unwatchedAlarm(store string) {
	of := logbook.Alarm{Alarm: alarm.Unwatched, Store: store}
	known, u := s.Alarms[keyOf(&of)], s.Unwatched
	if u == nil || u.Stacks[store] == nil {
		s.alarm(condition{of: of, atOnce: true})
		return
	}
	same := known != nil && known.Record.Missed != nil && known.Record.Missed.From == u.From
	if same && known.Acknowledged != 0 || len(s.atWork(store, u.Stacks[store])) == 0 {
		delete(u.Stacks, store)
		s.alarm(condition{of: of, atOnce: true})
		return
	}
	of.Onset, of.Value, of.Missed = u.From, logbook.Round(u.Until.Hours(u.From)), &logbook.Missed{From: u.From, Until: u.Until, Stacks: slices.Clone(u.Stacks[store])}
	if u.Set {
		of.Code = alarm.CodeClockSet
	}
	s.alarm(condition{of: of, active: true, anew: known != nil && known.Raised && !same})
}

// jumped is how far now jumped lately, also in leaps that follow each other at once: a clock can be
// set twice before anybody looks at it.
func (s *State) jumped() (by time.Duration) {
	next := s.At.Add(jumpFrom - jumpTold)
	for _, j := range slices.Backward(s.Jumps) {
		if next.Sub(j.Until) > jumpFrom {
			break
		}
		by, next = by+j.Until.Sub(j.From), j.From
	}
	return by
}

// skipped returns how much of the newest jump is no time that passed, because the clock was set
// ahead. A step that is wider than the jump brought back a clock that had stood behind.
func (s *State) skipped(e *logbook.ClockStepped) time.Duration {
	step, jumped := treatment.Hours(e.StepSeconds/3600), s.jumped()
	if step > jumped+jumpFrom {
		return 0
	}
	return max(0, min(step, jumped)-treatment.Hours(e.PassedSeconds/3600))
}

// misled reports whether hours that nobody lived through look like hours in which the gas held, so
// which makes a forecast promise too much. Right after a jump nobody knows.
func (s *State) misled(t *treatment.Treatment) bool {
	return len(t.Skips) > 0 || s.Unwatched != nil && s.At.Sub(s.Unwatched.Until) < jumpTold
}

// setAhead takes away from exposures and withholdings what a clock that was set ahead skipped, and
// says of a time in which nobody watched that it was skipped.
func (s *State) setAhead(e *logbook.ClockStepped, withholding time.Duration) {
	skipped := s.skipped(e)
	if u := s.Unwatched; u != nil && s.At.Sub(u.Until) <= jumpTold && u.Until.Sub(u.From)-skipped <= unwatchedFor {
		u.Set = true
	}
	const most = 50
	x := treatment.Skipped{From: s.At.Add(-skipped), Until: s.At}
	if skipped > 0 {
		s.Skips = append(s.Skips[max(0, len(s.Skips)+1-most):], x)
	}
	for _, k := range s.Stacks {
		t := k.Treatment
		if t == nil {
			continue
		}
		t.SetAhead(s.At, treatment.Hours(e.StepSeconds/3600), withholding)
		if t.Skip(x) {
			s.putNotShown(k)
		}
	}
}
