package rules

import (
	"time"

	"undersheet/logbook"
	"undersheet/rules/alarm"
	"undersheet/rules/reading"
	"undersheet/rules/treatment"
	"undersheet/rules/wiring"
)

// The passing of time alone can change what is to be said of a stack or store: silence
// becomes too long, an exposure ends. But at most entries it changes nothing, and looking at
// every place at each of them would cost too much. So whoever looks at a place also notes
// (again, around) the earliest time at which it may look different. Until then it is not
// looked at again, unless a reading concerns it (stir). Where an alarm stands, or waits for
// its delay, the next look is due at once (watch).

// farOff is later than anything is due: the last day of the year 9999, the last that RFC
// 3339 can write.
const farOff = logbook.Time(253_402_214_400e6)

// again notes that the place that is being looked at is to be looked at again at this time.
func (s *State) again(at logbook.Time) {
	if at > s.At {
		s.due = min(s.due, at)
	}
}

// around is again for a time in hours after t = 0. Since hours are rounded, it has the place
// looked at from a second before that time to a second after it.
func (s *State) around(t *treatment.Treatment, hours float64) {
	at := t.Started.Add(treatment.Hours(hours))
	switch d := s.At.Sub(at); {
	case d < -time.Second:
		s.again(at.Add(-time.Second))
	case d < time.Second:
		s.watch()
	}
}

// watch notes that the place that is being looked at is to be looked at again at once.
func (s *State) watch() { s.due = min(s.due, s.At) }

// silent tells how long nothing came of a channel, and whether that is too long.
func (s *State) silent(c *Channel, ch logbook.Channel) (time.Duration, bool) {
	s.again(c.Newest.Add(c.AllowedGap(ch)) + 1)
	return c.SilentFor(ch, s.At)
}

// stirAll makes everything due.
func (s *State) stirAll() {
	s.Due = 0
	for _, st := range s.Stores {
		st.Due = 0
	}
	for _, k := range s.Stacks {
		k.Due = 0
	}
}

// stir makes those places due that a reading of a channel may change, beside the line or
// point that takes the reading itself. was is the state of the channel's reading before.
func (s *State) stir(ch logbook.Channel, c *Channel, f wiring.Feed, was string) {
	switch {
	case f.Line >= 0 && f.Stack != "" && !f.Shared:
		k := s.stack(f.Stack)
		if broken(was) || broken(c.Last.State) {
			k.Due = 0
			return
		}
		after, _ := s.quiet(alarm.LineSilent, f.Channel, c)
		k.Due = min(k.Due, c.Newest.Add(after)+1)
	case f.Where != "" && !f.Shared && reading.IsGas(ch): // readAir looks at its store
	case f.Channel != "":
		s.stirAll()
	}
}

// round is a store with its stacks, as a pass visits them.
type round struct {
	name   string
	store  *Store
	names  []string
	stacks []*Stack
}

// allRounds lists the site's stores in its order, then those that only the record knows.
func (s *State) allRounds() []round {
	if s.rounds != nil {
		return s.rounds
	}
	var rounds []round
	for _, name := range s.storeNames() {
		r := round{name: name, store: s.store(name), names: s.stacksIn(name)}
		for _, stack := range r.names {
			r.stacks = append(r.stacks, s.Stacks[stack])
		}
		rounds = append(rounds, r)
	}
	s.rounds = rounds
	return rounds
}

// passAll lets time pass over everything.
func (s *State) passAll() {
	s.stirAll()
	s.pass()
}

// pass lets time pass over what is due.
func (s *State) pass() {
	if s.Site == nil {
		return
	}
	s.PassedAt = s.At
	if s.At >= s.Due {
		s.due = farOff
		s.passCauses()
		s.Due = s.due
	}
	for _, r := range s.allRounds() {
		for i, k := range r.stacks {
			if s.At >= k.Due {
				s.passStack(r.names[i], k)
			}
		}
		if s.At >= r.store.Due {
			s.passStore(r.name)
		}
	}
}
