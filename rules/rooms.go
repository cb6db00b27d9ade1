package rules

import (
	"maps"
	"slices"
	"time"

	"undersheet/logbook"
	"undersheet/rules/alarm"
	"undersheet/rules/people"
	"undersheet/rules/reading"
)

// afterWork is how long doors may stay open after people on record there have finished their
// work: common practice.
const afterWork = 5 * time.Minute

// roomAlarms looks at the doors and water sensors of a store. While a new contact has not been
// read yet, the alarm of the one that it replaced stays as it is. Where no stack is in
// exposure any more, an open door is an alarm only after afterWork: whoever opens the doors to
// go on with a paused airing needs time to say so.
func (s *State) roomAlarms(name string, st *Store, site *logbook.Store) {
	expected, slow := s.doorsExpected(name, st), time.Duration(0)
	if len(site.Doors) > 0 && s.exposedSince(name) == 0 {
		slow = afterWork
	}
	for _, d := range site.Doors {
		open, known, since := s.contact(d)
		of := logbook.Alarm{Alarm: alarm.DoorOpened, Store: name, Point: d.Name, Channel: d.Channel, Onset: since}
		if len(st.Inside) > 0 {
			of.Code = alarm.CodeOverdue
		}
		if known {
			of.Value = logbook.Number(max(0, s.At.Sub(since).Minutes()))
		}
		s.alarm(condition{of: of, active: (known && open || !known && s.raised(&of)) && !expected, slow: slow})
		s.sensorAlarms(name, d)
	}
	for _, w := range site.Water {
		wet, known, since := s.contact(w)
		of := logbook.Alarm{Alarm: alarm.Fire, Code: alarm.CodeWater, Store: name, Point: w.Name, Channel: w.Channel, Onset: since}
		s.alarm(condition{of: of, active: (known && wet || !known && s.raised(&of)) && s.phosphideIn(name)})
		s.sensorAlarms(name, w)
	}
}

// doorsExpected reports whether the doors of a store may well be open on purpose: somebody is
// inside by masked entry and not overdue, or has just come out; or a stack of the store is
// being dosed or aired.
func (s *State) doorsExpected(name string, st *Store) bool {
	inTime := func(m people.Masked) bool { return !m.Overdue }
	s.again(st.WorkedAt.Add(afterWork))
	if slices.ContainsFunc(st.Inside, inTime) || st.WorkedAt != 0 && s.At.Sub(st.WorkedAt) < afterWork {
		return true
	}
	for _, stack := range s.stacksIn(name) {
		t := s.Stacks[stack].Treatment
		if t != nil && (t.Phase == logbook.PhaseDosing || t.Phase == logbook.PhaseAiring && !t.Paused) {
			return true
		}
	}
	return false
}

// phosphideIn reports whether phosphide, or what is left of it, may be in a store. It counts as
// there until withholding is over, even if residue was recorded as taken out: spent residue
// still holds some, and may lie in the store.
func (s *State) phosphideIn(store string) bool {
	return s.can(alarm.UntilHandled, &logbook.Alarm{Store: store})
}

// worked notes when people who had the doors of a store open had finished.
func (s *State) worked(store string, at logbook.Time) {
	st := s.store(store)
	st.WorkedAt = max(st.WorkedAt, at)
}

// sensorAlarms says that a contact or a pump's own channel tells nothing any more,
// or nothing that is to be trusted.
func (s *State) sensorAlarms(store string, c logbook.Contact) {
	of := logbook.Alarm{Store: store, Point: c.Name, Channel: c.Channel}
	h := s.channel(c.Channel)
	silent := of
	silent.Alarm = alarm.SensorSilent
	began := s.exposedSince(store)
	s.silenceAlarm(silent, began != 0, h, began)
	if began != 0 || s.raised(&logbook.Alarm{Alarm: alarm.Fault, Store: store, Point: c.Name, Channel: c.Channel}) {
		s.faultAlarm(h, of)
	}
}

// exposedSince returns when the longest exposure began that is running in a store, or, with
// an empty name, at the site; 0 = none is running.
func (s *State) exposedSince(store string) logbook.Time {
	since := logbook.Time(0)
	for _, k := range s.Stacks {
		t := k.Treatment
		if t != nil && t.Phase == logbook.PhaseExposure && (store == "" || k.Store == store) && (since == 0 || t.Started < since) {
			since = t.Started
		}
	}
	return since
}

// silenceAlarm raises the alarm of a channel that has been silent for longer than half an
// hour, or than is usual for it, whichever is longer; watched says whether anybody needs its
// readings. The silence is counted from its newest reading, from began, or from the first
// entry of the record, whichever is latest.
func (s *State) silenceAlarm(of logbook.Alarm, watched bool, h *Channel, began logbook.Time) {
	since := max(h.Newest, began, s.Begun)
	of.Value, of.Onset = logbook.Number(s.At.Sub(since).Minutes()), since
	after, slow := s.quiet(of.Alarm, of.Channel, h)
	s.again(since.Add(after) + 1)
	s.alarm(condition{of: of, active: watched && s.At.Sub(since) > after, slow: slow, cause: cause{of: alarm.Instrument, channel: of.Channel}})
}

// quiet returns after how much silence the condition of a silence alarm begins, and for how
// long it must then hold: one usual interval at least, since a reading may just be due.
func (s *State) quiet(name, channel string, h *Channel) (after, slow time.Duration) {
	ch := s.Site.Channels[channel]
	slow = max(alarm.Of(s.Site, name).On, h.Usual(ch))
	return max(silentLine, h.Patience(ch)) - slow, slow
}

// passCauses looks at what silences others: mains, pumps, clocks that run ahead, and
// instruments that do not answer.
func (s *State) passCauses() {
	s.passSiteOwed()
	for _, m := range s.Site.Mains {
		there, known, since := s.contact(m)
		of := logbook.Alarm{Alarm: alarm.PowerLost, Point: m.Name, Channel: m.Channel, Onset: since}
		s.alarm(condition{of: of, active: known && !there, also: s.onMains})
		s.sensorAlarms("", m)
	}
	for i := range s.Site.Pumps {
		if s.Site.Pumps[i].Channel != "" {
			s.pumpAlarms(&s.Site.Pumps[i])
		}
	}
	s.passClocks()
	s.passBehind()
	for _, key := range slices.Sorted(maps.Keys(s.Instruments)) {
		i := s.Instruments[key]
		of := logbook.Alarm{Alarm: alarm.Instrument, Channel: instrumentKey(i.Name, i.Unit).Channel, Code: i.Unit, Onset: i.Since,
			Value: logbook.Number(s.At.Sub(i.Since).Minutes())}
		s.alarm(condition{of: of, active: !i.OK, cause: cause{of: alarm.Instrument, name: i.Name, unit: i.Unit},
			also: func() []string { return s.silenced(s.wires.FedBy(i.Name, i.Unit)) }})
	}
}

// onMains lists the alarms that lost mains may bring. The site file does not say which devices
// need mains, so it names none of them.
func (s *State) onMains() []string {
	names := []string{alarm.LineSilent, alarm.PointSilent}
	if len(s.Site.Instruments) > 0 {
		names = append(names, alarm.Instrument)
	}
	if len(s.Site.Pumps) > 0 {
		names = append(names, alarm.PumpOff)
	}
	return names
}

// pumpAlarms looks at a sampling pump that is watched.
func (s *State) pumpAlarms(p *logbook.Pump) {
	state, since := s.pump(p)
	key := pumpKey(p)
	of := logbook.Alarm{Alarm: key.Alarm, Point: key.Point, Channel: key.Channel, Onset: since, Limit: 1}
	if s.Site.Channels[p.Channel].Unit == logbook.LMin {
		of.Limit = logbook.Number(p.LeastFlow())
	}
	if sig := s.Signals[p.Channel]; sig != nil {
		of.Value = logbook.Number(sig.Value)
	}
	s.alarm(condition{of: of, active: state == PumpOff && s.wanted(p), cause: cause{of: alarm.PowerLost}, also: func() []string { return s.silenced(p.Draws) }})
	s.sensorAlarms("", logbook.Contact{Name: p.Name, Channel: p.Channel})
}

// wanted reports whether a pump draws from a store in which something is under gas,
// being aired or withheld.
func (s *State) wanted(p *logbook.Pump) bool {
	return slices.ContainsFunc(p.Draws, func(channel string) bool {
		f, fed := s.wires.Feed(channel)
		return fed && s.phosphideIn(f.Store)
	})
}

// trusted reports whether what a channel read at a time was air drawn at that time, as far as
// is known: no pump that is watched draws it, or its pump has run from before then until now.
func (s *State) trusted(channel string, at logbook.Time) bool {
	p := s.wires.Pump(channel)
	if p == nil {
		return true
	}
	state, since := s.pump(p)
	return state == PumpNotWatched || state == PumpRuns && at >= since
}

// stale reports whether a judged reading only looks stuck because its pump is off.
func (s *State) stale(channel string, j *reading.Judged) bool {
	return j.State == reading.Stuck && s.drawn(channel) == PumpOff
}
