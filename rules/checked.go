package rules

import (
	"math"
	"strings"
	"time"

	"undersheet/logbook"
	"undersheet/rules/dose"
	"undersheet/rules/gate"
	"undersheet/rules/people"
	"undersheet/rules/plan"
	"undersheet/rules/reading"
)

// Signed is what somebody signed of one check before dosing.
type Signed struct {
	At      logbook.Time
	InOrder bool
}

// signedFor is how long a signed check stands: a day, common practice.
const signedFor = 24 * time.Hour

// checksSigned remembers what was signed; the newest counts.
func (s *State) checksSigned(e *logbook.ChecksSigned) {
	st, at := s.store(e.Store), min(e.Time, s.At)
	if st.Signed == nil {
		st.Signed = map[string]Signed{}
	}
	put := func(codes []string, inOrder bool) {
		for _, c := range codes {
			if !plan.IsCheck(c) {
				s.find(logbook.Finding{Code: "check-unknown", Store: e.Store, About: c})
				continue
			}
			if old, ok := st.Signed[c]; !ok || old.At <= at {
				st.Signed[c] = Signed{at, inOrder}
			}
		}
	}
	put(e.InOrder, true)
	put(e.Wanting, false)
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
	var owed, wanting []string
	site, _ := s.siteStore(k.Store)
	for _, c := range plan.Checks(site.Outdoors) {
		signed, ok := st.Signed[c]
		switch {
		case !ok || signed.At < at.Add(-signedFor):
			owed = append(owed, c)
		case !signed.InOrder:
			wanting = append(wanting, c)
		}
	}
	if len(owed) > 0 {
		s.find(logbook.Finding{Code: "checks-owed", Store: k.Store, Stack: stack, About: strings.Join(owed, " "), Value: logbook.Number(len(owed))})
	}
	if len(wanting) > 0 {
		s.find(logbook.Finding{Code: "checks-wanting", Store: k.Store, Stack: stack, About: strings.Join(wanting, " "), Value: logbook.Number(len(wanting))})
	}
}

// Check is how a zero, a bump test or a calibration of a channel ended.
type Check struct {
	At     logbook.Time
	By     string
	Passed bool
	Due    logbook.Time // the next one; 0 = not said
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
	if off, allowed, known := offBy(e, site); known && off > allowed {
		s.find(logbook.Finding{Code: "check-out-of-tolerance", Channel: e.Channel, About: e.Check, Value: logbook.Number(clip(off)), Limit: logbook.Number(clip(allowed))})
		passed = false
	}
	if c.Checks == nil {
		c.Checks = map[string]Check{}
	}
	at := min(e.Time, s.At)
	if old, ok := c.Checks[e.Check]; !ok || old.At <= at {
		c.Checks[e.Check] = Check{at, e.By, passed, s.CheckDue(e)}
	}
	if passed && e.Check != logbook.CheckZero {
		if at >= c.OverAt {
			c.OverAt = 0
		}
		if at >= c.SwappedAt {
			c.SwappedAt = 0
		}
	}
}

// offBy is how far a check was off and how far it may be, in ppm: the accuracy of
// the reading and the zero error.
func offBy(e *logbook.InstrumentChecked, site logbook.Channel) (off, allowed float64, known bool) {
	applied, errA := dose.PPM(e.Applied, e.Unit, dose.StandardC, dose.StandardKPa)
	read, errB := dose.PPM(e.Read, e.Unit, dose.StandardC, dose.StandardKPa)
	zero, errZ := dose.PPM(site.Zero(), site.Unit, dose.StandardC, dose.StandardKPa)
	if errA != nil || errB != nil || errZ != nil || site.Accuracy == 0 && zero == 0 {
		return 0, 0, false
	}
	return math.Abs(read - applied), applied*site.Accuracy + zero, true
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
	c.SwappedAt = max(c.SwappedAt, min(e.Time, s.At))
	k := s.Stacks[s.feeds[e.Channel].stack]
	if k == nil || k.Gas == nil || k.Treatment == nil || k.Treatment.Phase != logbook.PhaseExposure {
		return
	}
	if line, ok := k.Treatment.LineOf(e.Channel); ok {
		k.Gas.Bin.Forget(line) // read by the instrument before, at another level
		s.leakEvents(k, k.Treatment, k.Gas.Faults.Changed(line, k.Gas.Leak))
	}
}

// wasOver remembers that a channel was over its range: its cell may read anything
// until a known gas has shown otherwise.
func (c *Channel) wasOver(j reading.Judged) {
	if j.State == reading.OverRange {
		c.OverAt = max(c.OverAt, j.At)
	}
}

// owes is the code of what the instrument of a channel owes before it counts for a
// gate; empty = nothing. An instrument of which no check is on record owes none: a
// depot may keep its papers elsewhere.
func (s *State) owes(c *Channel) string {
	if c.SwappedAt != 0 {
		return gate.CheckAfterSwap
	}
	if c.OverAt != 0 {
		return gate.CheckAfterOver
	}
	for _, kind := range []string{logbook.CheckZero, logbook.CheckBump, logbook.CheckCalibration} {
		k, ok := c.Checks[kind]
		switch {
		case ok && !k.Passed:
			return gate.CheckFailed
		case ok && k.Due != 0 && s.At > k.Due:
			return gate.CheckOverdue
		case ok && k.Due != 0:
			s.again(k.Due + 1)
		}
	}
	return ""
}
