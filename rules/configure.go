package rules

import (
	"maps"
	"slices"

	"undersheet/logbook"
	"undersheet/rules/alarm"
	"undersheet/rules/exposure"
	"undersheet/rules/gate"
)

// configure takes a new site. What is under gas stays known even when the new
// site no longer names it.
func (s *State) configure(site logbook.Site) {
	was, old := s.Site, s.wires
	s.Site = &site
	s.index()
	for _, st := range site.Stores {
		s.forgetPoints(was, st)
		for _, k := range st.Stacks {
			s.place(k, st.Name)
		}
	}
	maps.DeleteFunc(s.Signals, func(channel string, _ *Signal) bool {
		is, _ := s.wires.Feed(channel)
		before, _ := old.Feed(channel)
		return is.Signal == "" || is.Signal != before.Signal || was.Channels[channel].Unit != site.Channels[channel].Unit
	})
	s.endOrphans()
	if site.Limits == "" {
		s.find(logbook.Finding{Code: "no-limits-country", Limit: exposure.DefaultLimitPPM})
	}
}

// forgetPoints lets an air point begin anew when another channel reads it, its
// channel or the pump that draws it is described otherwise, or the gate did not look
// at it: what was read before was judged otherwise.
func (s *State) forgetPoints(was *logbook.Site, st logbook.Store) {
	known := s.store(st.Name)
	fed := map[string]string{}
	if was != nil {
		for _, old := range was.Stores {
			for _, p := range old.Air {
				if old.Name == st.Name && p.Gate() {
					fed[p.Name] = p.Channel
				}
			}
		}
	}
	tracks := map[string]*gate.Track{}
	for _, p := range st.Air {
		if channel, ok := fed[p.Name]; ok && channel == p.Channel && p.Gate() && sameChannel(was.Channels[channel], s.Site.Channels[channel]) &&
			samePump(was, s.Site, channel) {
			if t := known.Tracks[p.Name]; t != nil {
				tracks[p.Name] = t
			}
		}
	}
	known.Tracks = tracks
}

// sameChannel reports whether two descriptions judge a reading alike.
func sameChannel(a, b logbook.Channel) bool {
	zeroA, zeroB := a.Zero(), b.Zero()
	a.ZeroError, b.ZeroError = nil, nil
	return a == b && zeroA == zeroB
}

// samePump reports whether two sites know a channel's samples to be drawn alike.
func samePump(a, b *logbook.Site, channel string) bool {
	watched := func(s *logbook.Site) (by string, from float64) {
		for i := range s.Pumps {
			if p := &s.Pumps[i]; p.Channel != "" && slices.Contains(p.Draws, channel) {
				return p.Channel, p.LeastFlow()
			}
		}
		return "", 0
	}
	byA, fromA := watched(a)
	byB, fromB := watched(b)
	return byA == byB && fromA == fromB
}

// place puts a stack where the site has it, and its treatment's lines to their
// channels. A store that a stack under gas or in airing was said to have left
// loses all trust: sheets do not walk.
func (s *State) place(k logbook.Stack, store string) {
	stack := s.stack(k.Name)
	t := stack.Treatment
	if old := stack.Store; old != "" && old != store {
		before, now := s.store(old), s.store(store)
		now.HandOwed[k.Name] = before.HandOwed[k.Name]
		delete(before.HandOwed, k.Name)
		if t != nil && t.GasPhase() != logbook.PhaseClosed {
			s.distrust(old, before)
			s.find(logbook.Finding{Code: "stack-moved", Store: old, Stack: k.Name, About: store})
		}
	}
	stack.Store, s.inStore, s.rounds = store, nil, nil
	if t == nil || t.Phase == logbook.PhaseClosed {
		return
	}
	if n := len(t.Lines); t.Rewire(k) {
		s.find(logbook.Finding{Code: "lines-changed", Store: store, Stack: k.Name,
			Value: logbook.Number(len(k.Lines)), Limit: logbook.Number(n)})
	}
}

// endOrphans clears the alarms of points, lines and instruments that the site no
// longer has: nothing would ever clear them. Where another channel is put in the place
// of one, an alarm on which lives hang goes on under it, until that has shown that it
// is over.
func (s *State) endOrphans() {
	instruments := map[string]bool{}
	for _, in := range s.Site.Instruments {
		instruments[in.Name] = true
	}
	for _, key := range slices.Sorted(maps.Keys(s.Instruments)) {
		if i := s.Instruments[key]; !instruments[i.Name] {
			i.OK = true
		}
	}
	for _, key := range s.alarmKeys() {
		a := s.Alarms[key]
		if of := a.Record; a.Raised && (of.Point != "" && !s.hasPoint(&of) || of.Line != "" && !s.hasLine(of.Stack, of.Line)) {
			s.alarm(condition{of: of, atOnce: true})
			delete(s.Alarms, key)
			if channel, found := s.successor(&of); found && alarm.LivesHangOn(of.Alarm) {
				of.Channel, of.Also = channel, nil
				next := &Alarm{From: s.At}
				s.Alarms[keyOf(&of)] = next
				k := alarm.Of(s.Site, of.Alarm)
				s.raise(next, &condition{of: of}, &k)
			}
		}
	}
}

// successor returns the channel that now stands where that of an alarm stood.
func (s *State) successor(of *logbook.Alarm) (channel string, found bool) {
	st, _ := s.siteStore(of.Store)
	contacts := map[string][]logbook.Contact{alarm.DoorOpened: st.Doors, alarm.Fire: st.Water}[of.Alarm]
	for _, c := range contacts {
		if c.Name == of.Point {
			return c.Channel, true
		}
	}
	for _, p := range st.Air {
		if of.Alarm == alarm.AirGas && p.Name == of.Point {
			return p.Channel, true
		}
	}
	return "", false
}

// hasPoint reports whether the site has the air point, contact or pump of an alarm,
// on the same channel.
func (s *State) hasPoint(of *logbook.Alarm) bool {
	st, _ := s.siteStore(of.Store)
	for _, p := range st.Air {
		if p.Name == of.Point && p.Channel == of.Channel {
			return true
		}
	}
	f, fed := s.wires.Feed(of.Channel)
	return fed && f.Signal != "" && f.Store == of.Store && f.Name == of.Point
}

// hasLine reports whether the treatment of a stack has a line of that name.
func (s *State) hasLine(stack, line string) bool {
	k := s.Stacks[stack]
	if k == nil || k.Treatment == nil {
		return false
	}
	for i := range k.Treatment.Lines {
		if k.Treatment.Lines[i].Name == line {
			return true
		}
	}
	return false
}
