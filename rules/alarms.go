package rules

import (
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"undersheet/logbook"
	"undersheet/rules/alarm"
	"undersheet/rules/reading"
)

// Alarm is the life of one alarm: a condition that begins, lasts and ends.
type Alarm struct {
	Raised       bool
	From         logbook.Time // since when the condition holds; 0 = it does not
	Until        logbook.Time // since when it no longer holds, while raised
	Since        logbook.Time // when it was raised
	Acknowledged logbook.Time // when a person took charge of it; 0 = nobody did
	By           string       // who
	Record       logbook.Alarm
}

// raised reports whether that alarm stands.
func (s *State) raised(of *logbook.Alarm) bool {
	a := s.Alarms[keyOf(of)]
	return a != nil && a.Raised
}

// condition is one look at what an alarm may be raised for.
type condition struct {
	of     logbook.Alarm // names, place, code, value, limit, onset; the priority, where it is not the usual one
	active bool
	slow   time.Duration   // it must hold at least this long first, whatever its kind says
	sure   bool            // it is raised without waiting: the test behind it has waited
	atOnce bool            // it is over without waiting: its place or its exposure is no more, or a test says so
	anew   bool            // it now holds for one more person, or leak, than before, or for much longer: it is raised and acknowledged anew
	cause  cause           // what it may follow from: an alarm of that cause is then raised instead
	also   func() []string // what may follow from it, named in its record when it is raised; nil = nothing
}

// AlarmKey tells alarms apart: by name and place, but not by code, which may change while
// an alarm lasts.
type AlarmKey struct {
	Alarm, Store, Stack, Line, Point, Channel string
	Owed                                      string // of follow-up-due: which
}

// keyOf returns the key of an alarm.
func keyOf(a *logbook.Alarm) AlarmKey {
	return AlarmKey{a.Alarm, a.Store, a.Stack, a.Line, a.Point, a.Channel, a.Which()}
}

// parts lists the names of a key in their order.
func (k *AlarmKey) parts() [7]*string {
	return [...]*string{&k.Alarm, &k.Store, &k.Stack, &k.Line, &k.Point, &k.Channel, &k.Owed}
}

// MarshalText writes the key as a JSON list, so that it can be a key in JSON.
func (k AlarmKey) MarshalText() ([]byte, error) { return json.Marshal(k.parts()) }

// UnmarshalText reads what MarshalText wrote.
func (k *AlarmKey) UnmarshalText(b []byte) error {
	parts := k.parts()
	if err := json.Unmarshal(b, &parts); err != nil {
		return fmt.Errorf("read the key of an alarm %q: %w", b, err)
	}
	return nil
}

// compare orders keys by their parts.
func (k AlarmKey) compare(o AlarmKey) int {
	mine, theirs := k.parts(), o.parts()
	for i := range mine {
		if c := strings.Compare(*mine[i], *theirs[i]); c != 0 {
			return c
		}
	}
	return 0
}

// alarmKeys lists the alarms that are raised or about to be, in order.
func (s *State) alarmKeys() []AlarmKey {
	return slices.SortedFunc(maps.Keys(s.Alarms), AlarmKey.compare)
}

// alarm raises or clears the alarm of a condition, once the condition has held, or has been
// gone, for as long as its kind asks for. An alarm that stands and becomes a graver case of
// itself is raised anew, and needs to be acknowledged anew.
func (s *State) alarm(c condition) {
	key := keyOf(&c.of)
	a := s.Alarms[key]
	if !c.active && a == nil {
		return
	}
	k := alarm.Of(s.Site, c.of.Alarm)
	if !c.active || !s.can(k.During, &c.of) {
		if a != nil {
			s.alarmGone(a, &c, k.Off, key)
			s.watch()
		}
		return
	}
	s.watch()
	if a == nil || !a.Raised {
		c.cause.began = c.of.Onset
		if by := s.speaker(c.cause); by != nil {
			by.speak(consequence(&c.of))
			delete(s.Alarms, key)
			return
		}
	}
	if a == nil || a.Raised && (c.anew || alarm.Graver(c.of.Code, a.Record.Code)) {
		a = &Alarm{}
		s.Alarms[key] = a
	}
	a.Until = 0
	if a.From == 0 {
		a.From = s.At
	}
	a.Record.Value, a.Record.Limit, a.Record.Owed = c.of.Value, c.of.Limit, c.of.Owed
	if a.Raised {
		return
	}
	if !c.sure && s.At.Sub(a.From) < max(k.On, c.slow) && !(k.Life && s.standsStill()) {
		return
	}
	s.raise(a, &c, &k)
}

// can reports whether a condition can be an alarm now: whether the stack that it names is in
// one of the phases of its kind; where it names no stack, one in its store, or of the site.
func (s *State) can(during func(phase string) bool, of *logbook.Alarm) bool {
	if during == nil {
		return true
	}
	in := func(stack string) bool {
		known := s.Stacks[stack]
		return known != nil && known.Treatment != nil && during(known.Treatment.GasPhase())
	}
	switch {
	case of.Stack != "":
		return in(of.Stack)
	case of.Store != "":
		return slices.ContainsFunc(s.stacksIn(of.Store), in)
	}
	for stack := range s.Stacks {
		if in(stack) {
			return true
		}
	}
	return false
}

// raise puts an alarm up.
func (s *State) raise(a *Alarm, c *condition, k *alarm.Kind) {
	also := a.Record.Also // what it spoke for while it waited to be raised
	a.Raised, a.Since, a.Record = true, s.At, c.of
	if c.also != nil {
		a.speak(c.also()...)
	}
	a.speak(also...)
	if a.Record.Priority == "" {
		a.Record.Priority = k.Priority
	}
	if a.Record.Onset == 0 {
		a.Record.Onset = a.From
	}
	a.Record.Wake = alarm.Wakes(&a.Record)
	if stack := s.Stacks[c.of.Stack]; c.of.Alarm == alarm.Leak && stack != nil && stack.Treatment != nil {
		stack.Treatment.After.Torn = s.At
	}
	s.putAlarm(a, logbook.AlarmRaised)
}

// alarmGone clears an alarm once its condition has been gone for off.
func (s *State) alarmGone(a *Alarm, c *condition, off time.Duration, key AlarmKey) {
	if !a.Raised {
		delete(s.Alarms, key)
		return
	}
	if a.Until == 0 {
		a.Until = s.At
	}
	if s.At.Sub(a.Until) < off && !c.atOnce {
		return
	}
	s.putAlarm(a, logbook.AlarmCleared)
	delete(s.Alarms, key)
}

// putAlarm proposes the record that an alarm is now in this state (raised, acknowledged or
// cleared), and notes it among the events of its stack.
func (s *State) putAlarm(a *Alarm, state string) {
	r := a.Record
	r.State = state
	r.Also = slices.Clone(r.Also)
	if state == logbook.AlarmSeen {
		r.By = a.By
	}
	s.put(&r, logbook.KindAlarm)
	if k := s.Stacks[r.Stack]; k != nil && r.Stack != "" {
		k.event(s.At, logbook.Kind(r.Alarm), strings.TrimSpace(state+" "+r.Line))
	}
}

// endAlarms clears the alarms of a stack that have these names, at once.
func (s *State) endAlarms(stack string, names ...string) {
	for _, key := range s.alarmKeys() {
		if key.Stack == stack && slices.Contains(names, key.Alarm) {
			s.alarm(condition{of: s.Alarms[key].Record, atOnce: true})
			delete(s.Alarms, key)
		}
	}
}

// underSheet are the alarms that have no meaning once the sheet is off.
var underSheet = []string{alarm.Leak, alarm.AtRisk, alarm.Uneven, alarm.Untold, alarm.LineSilent, alarm.LineOff, alarm.LineBlocked, alarm.Swapped, alarm.Drift, alarm.PumpOff, alarm.Fire, alarm.TooCold}

// acknowledge notes that a person takes charge of a standing alarm. An act may leave out
// store, line and so on as long as just one standing alarm fits what it says.
func (s *State) acknowledge(e *logbook.AlarmAcknowledged) {
	a, fit := s.standing(e)
	if a == nil || e.Time < a.Since.Add(-reading.FutureAhead) { // it is of an earlier raising, even if clocks differ a little
		s.find(logbook.Finding{Code: "nothing-to-acknowledge", Store: e.Store, Stack: e.Stack, Line: e.Line, Channel: e.Channel,
			About: e.Alarm, Value: logbook.Number(fit)})
		return
	}
	if a.Acknowledged == 0 {
		a.Acknowledged, a.By = max(a.Since, min(e.Time, s.At)), e.By
		s.putAlarm(a, logbook.AlarmSeen)
	}
}

// standing finds the raised alarm that an acknowledgement means, and returns how many fit
// what it says; unless just one does, it finds none.
func (s *State) standing(e *logbook.AlarmAcknowledged) (one *Alarm, fit int) {
	named := AlarmKey{e.Alarm, e.Store, e.Stack, e.Line, e.Point, e.Channel, e.Owed}
	if a := s.Alarms[named]; a != nil && a.Raised {
		return a, 1
	}
	for key, a := range s.Alarms {
		if a.Raised && key.fits(named) {
			one, fit = a, fit+1
		}
	}
	if fit != 1 {
		one = nil
	}
	return one, fit
}

// fits reports whether a key agrees with every part of words that is not empty.
func (k AlarmKey) fits(words AlarmKey) bool {
	mine, theirs := k.parts(), words.parts()
	for i := range mine {
		if *theirs[i] != "" && *theirs[i] != *mine[i] {
			return false
		}
	}
	return true
}
