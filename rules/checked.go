package rules

import (
	"strings"

	"undersheet/logbook"
	"undersheet/rules/instrument"
	"undersheet/rules/people"
	"undersheet/rules/plan"
)

// checksSigned remembers what was signed; the newest counts.
func (s *State) checksSigned(e *logbook.ChecksSigned) {
	st, at := s.store(e.Store), min(e.Time, s.At)
	sign := func(codes []string, inOrder bool) {
		for _, c := range st.Signed.Sign(codes, plan.Signature{At: at, InOrder: inOrder}) {
			s.find(logbook.Finding{Code: "check-unknown", Store: e.Store, About: c})
		}
	}
	sign(e.InOrder, true)
	sign(e.Wanting, false)
	if people.Alone(e.By, e.Second) {
		s.find(logbook.Finding{Code: "checks-signed-alone", Store: e.Store})
	}
}

// checksOwed notes, when dosing begins, what was not signed in the last day and what
// was found wanting.
func (s *State) checksOwed(k *Stack, stack string, at logbook.Time) {
	st := s.store(k.Store)
	if st.Signed == nil {
		s.find(logbook.Finding{Code: "checks-owed", Store: k.Store, Stack: stack, About: "all"})
		return
	}
	site, _ := s.siteStore(k.Store)
	owed, wanting := st.Signed.Before(at, site.Outdoors)
	if len(owed) > 0 {
		s.find(logbook.Finding{Code: "checks-owed", Store: k.Store, Stack: stack, About: strings.Join(owed, " "), Value: logbook.Number(len(owed))})
	}
	if len(wanting) > 0 {
		s.find(logbook.Finding{Code: "checks-wanting", Store: k.Store, Stack: stack, About: strings.Join(wanting, " "), Value: logbook.Number(len(wanting))})
	}
}

// instrumentChecked takes a check of a channel. A figure further off than the
// channel's own accuracy is no pass, whatever was signed.
func (s *State) instrumentChecked(e *logbook.InstrumentChecked) {
	c, ok := s.Channels[e.Channel]
	site, described := s.Site.Channels[e.Channel]
	if !ok && !described {
		s.find(logbook.Finding{Code: "unknown-channel", About: e.Channel})
		return
	}
	if !ok {
		c = s.channel(e.Channel)
	}
	passed := e.Passed
	if off, allowed, known := instrument.Off(e, site); known && off > allowed {
		s.find(logbook.Finding{Code: "check-out-of-tolerance", Channel: e.Channel, About: e.Check, Value: logbook.Number(clip(off)), Limit: logbook.Number(clip(allowed))})
		passed = false
	}
	c.Take(e.Check, instrument.Check{At: min(e.Time, s.At), By: e.By, Passed: passed, Due: s.CheckDue(e)})
}

// instrumentSwapped notes that another instrument reads a channel from now on. It owes a
// check. Under a sheet it may read a little more or less than the one before; that jump is
// neither a leak nor a sign that the line was stuck.
func (s *State) instrumentSwapped(e *logbook.InstrumentSwapped) {
	if _, described := s.Site.Channels[e.Channel]; !described && s.Channels[e.Channel] == nil {
		s.find(logbook.Finding{Code: "unknown-channel", About: e.Channel})
		return
	}
	c := s.channel(e.Channel)
	c.Swap(min(e.Time, s.At))
	f, _ := s.wires.Feed(e.Channel)
	k := s.Stacks[f.Stack]
	if k == nil || k.Gas == nil || k.Treatment == nil || k.Treatment.Phase != logbook.PhaseExposure {
		return
	}
	if line, ok := k.Treatment.LineOf(e.Channel); ok {
		k.Gas.Bin.Forget(line) // read by the instrument before, at another level
		s.leakEvents(k, k.Treatment, k.Gas.Faults.Changed(line, k.Gas.Leak))
	}
}

// owes is the code of what the instrument of a channel owes before it counts for a gate;
// empty = nothing.
func (s *State) owes(c *Channel) string {
	code, next := c.Owes(s.At)
	s.again(next)
	return code
}
