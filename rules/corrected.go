package rules

import (
	"cmp"
	"iter"
	"maps"
	"slices"

	"undersheet/logbook"
	"undersheet/rules/reading"
	"undersheet/rules/treatment"
)

// corrected takes a correction. What it changes lies in the past, so the state as it is
// cannot follow: it becomes Outdated, and whoever folds calls Refold.
func (s *State) corrected(e *logbook.Corrected) {
	switch {
	case e.Of >= e.Seq:
		s.refuse(e, "correction-of-nothing", nil)
		return
	case ahead(e, s.At):
		s.refuse(e, "future-dated", nil)
		return
	}
	s.outdated = e.Seq
	s.put(&logbook.Accepted{Entry: logbook.KindCorrected}, logbook.KindAccepted)
}

// Outdated reports whether a correction came in that the state does not show yet. It must
// then be made again by Refold before it is shown or kept.
func (s *State) Outdated() bool { return s.outdated != 0 }

// Refold makes the state again from past, which is every entry from the first to the
// correction, with all corrections put in. It returns records of what now differs from
// what is on record: alarms, phases, gates, end levels. Older records stay as they are, and
// nobody is told of them again. After an error the state is as it was, still Outdated.
//
// A correction never opens a gate. A permission whose conditions did not hold, with the
// history put right, counts for nothing even if its recorded verdict accepted it; and no
// clearance stands now that did not stand before.
//
// Among the entries of a logbook stand the verdicts on permissions. Hand-written entries
// have none: with byHand the verdicts take effect as they are made.
func (s *State) Refold(past iter.Seq2[logbook.Entry, error], byHand bool) ([]logbook.Recorded, error) {
	cs, misfit, err := corrections(past)
	if err != nil {
		return nil, err
	}
	fresh := New()
	fresh.remade = true
	for e, err := range cs.apply(past) {
		if err != nil {
			return nil, err
		}
		if byHand {
			play(fresh, e)
		} else {
			fresh.Fold(e)
		}
	}
	fresh.At, fresh.LastSeq, fresh.out = max(fresh.At, s.At), s.LastSeq, nil
	if slices.Contains(misfit, s.outdated) {
		fresh.find(logbook.Finding{Code: "correction-does-not-fit", Value: logbook.Number(s.outdated)})
	}
	fresh.outdated, fresh.remade = 0, false
	fresh.differences(s)
	*s = *fresh
	return s.flush(s.LastSeq), nil
}

// Corrected yields entries with the corrections among them put in: each wrong entry is
// replaced by the right one. It goes through entries twice.
func Corrected(entries iter.Seq2[logbook.Entry, error]) iter.Seq2[logbook.Entry, error] {
	return func(yield func(logbook.Entry, error) bool) {
		cs, _, err := corrections(entries)
		if err != nil {
			yield(nil, err)
			return
		}
		for e, err := range cs.apply(entries) {
			if !yield(e, err) || err != nil {
				return
			}
		}
	}
}

// fixes holds the newest valid correction of each act, by the seq of that act.
type fixes map[uint64]*logbook.Corrected

// corrections finds the valid corrections among entries. misfit lists the seq of those that
// are not: they name no earlier act, or one of another kind, or their right entry is dated
// ahead. Entries without a seq are numbered from 1.
func corrections(entries iter.Seq2[logbook.Entry, error]) (cs fixes, misfit []uint64, err error) {
	cs = fixes{}
	kinds, now, n := map[uint64]logbook.Kind{}, logbook.Time(0), uint64(0)
	for e, err := range entries {
		if err != nil {
			return nil, nil, err
		}
		n++
		now = nowAfter(now, e)
		seq := seqOf(e, n)
		if c, ok := e.(*logbook.Corrected); ok {
			if kind, known := kinds[c.Of]; known && fits(c, kind) && !ahead(c, now) {
				cs[c.Of] = c
			} else {
				misfit = append(misfit, seq)
			}
		} else if _, act := e.(logbook.Acting); act {
			kinds[seq] = e.Head().Kind
		}
	}
	return cs, misfit, nil
}

// seqOf is the seq of an entry, or its place among entries that have none.
func seqOf(e logbook.Entry, place uint64) uint64 {
	if h := e.Head(); h.Seq != 0 {
		return h.Seq
	}
	return place
}

// apply yields entries with the right ones in the place of the wrong ones. A right entry
// whose time is later than that of the entries around the wrong one is held back until its
// own time has come, at the latest to the end.
func (cs fixes) apply(entries iter.Seq2[logbook.Entry, error]) iter.Seq2[logbook.Entry, error] {
	return func(yield func(logbook.Entry, error) bool) {
		var waiting []logbook.Entry // in order of time
		now, n := logbook.Time(0), uint64(0)
		due := func() bool {
			for len(waiting) > 0 && waiting[0].Head().Time <= now {
				e := waiting[0]
				waiting = waiting[1:]
				if !yield(e, nil) {
					return false
				}
			}
			return true
		}
		for e, err := range entries {
			if err != nil {
				yield(nil, err)
				return
			}
			n++
			now = nowAfter(now, e)
			if !due() {
				return
			}
			_, correction := e.(*logbook.Corrected)
			_, act := e.(logbook.Acting)
			c := cs[seqOf(e, n)]
			switch {
			case correction:
				continue
			case c != nil && act:
				if right := stands(c, e); right != nil {
					at, _ := slices.BinarySearchFunc(waiting, right.Head().Time+1, func(w logbook.Entry, t logbook.Time) int { return cmp.Compare(w.Head().Time, t) })
					waiting = slices.Insert(waiting, at, right)
				}
				if !due() {
					return
				}
			case !yield(e, nil):
				return
			}
		}
		for _, e := range waiting { // dated a little ahead of the last entry, by another clock
			if e.Head().Received = now; !yield(e, nil) {
				return
			}
		}
	}
}

// stands returns the entry that takes the place of e; nil where e was withdrawn.
func stands(c *logbook.Corrected, e logbook.Entry) logbook.Entry {
	right, err := c.Right()
	if c.Withdrawn || err != nil {
		return nil
	}
	h := right.Head()
	h.Seq, h.Received = c.Of, e.Head().Received
	if h.Time > h.Received {
		h.Received = 0
	}
	return right
}

// differences proposes records of what differs from was, the state before the correction.
func (s *State) differences(was *State) {
	for _, key := range was.alarmKeys() {
		if a := was.Alarms[key]; a.Raised && (s.Alarms[key] == nil || !s.Alarms[key].Raised) {
			s.putAlarm(a, logbook.AlarmCleared)
		}
	}
	for _, key := range s.alarmKeys() {
		if a := s.Alarms[key]; a.Raised && (was.Alarms[key] == nil || !was.Alarms[key].Raised) {
			s.putAlarm(a, logbook.AlarmRaised)
		}
	}
	s.Owed = was.Owed
	for _, name := range slices.Sorted(maps.Keys(s.Stacks)) {
		k, old := s.Stacks[name], was.Stacks[name]
		if old == nil {
			continue
		}
		k.keepTold(old)
		if k.Treatment == nil {
			continue
		}
		var before []logbook.EndLevel
		if old.Treatment != nil {
			before = endLevels(old.Treatment, -1)
		}
		for _, e := range endLevels(k.Treatment, -1) {
			if !slices.Contains(before, e) {
				s.put(&e, logbook.KindEndLevel)
			}
		}
	}
	for _, name := range slices.Sorted(maps.Keys(s.Stores)) {
		s.keepStanding(name, cmp.Or(was.Stores[name], &Store{}))
	}
	s.passAll()
}

// keepTold takes over from the stack as it was what is on record of it, so that only what
// differs from that is recorded.
func (k *Stack) keepTold(old *Stack) {
	k.Owed = old.Owed
	for _, p := range k.all() {
		t := p.Treatment
		t.Told = treatment.Told{}
		for _, o := range old.all() {
			if o.Treatment.Name == t.Name && (t.Name != "" || o.Treatment.DosingAt == t.DosingAt) {
				t.Told = o.Treatment.Told
			}
		}
	}
}

// keepStanding keeps a correction from opening a gate: a clearance, or a declaration that
// nothing is under gas, which did not stand before does not stand now either. It takes a
// person who looks again.
func (s *State) keepStanding(name string, was *Store) {
	st := s.Stores[name]
	st.Declared, st.Restored = st.Declared && was.Declared, st.Restored || was.Restored
	stood := was.Cleared != nil && st.Cleared != nil && *was.Cleared == *st.Cleared
	if st.Cleared != nil && !stood {
		st.Cleared, st.HandAfter = nil, s.At
		s.oweHands(name, st)
	}
	if was.Cleared != nil && !stood {
		s.find(logbook.Finding{Code: "clearance-fell-by-correction", Store: name, About: was.Cleared.By})
	}
	st.Rebound = st.Rebound || was.Rebound
	st.Gate = was.Gate
}

// ahead reports whether the right entry of a correction is dated ahead of now.
func ahead(c *logbook.Corrected, now logbook.Time) bool {
	right, err := c.Right()
	return !c.Withdrawn && err == nil && right.Head().Time > now.Add(reading.FutureAhead)
}

// fits reports whether acts of a kind may be corrected, and the right entry is of that kind.
func fits(c *logbook.Corrected, kind logbook.Kind) bool {
	if !logbook.Correctable(kind) {
		return false
	}
	right, err := c.Right()
	return c.Withdrawn || err == nil && right.Head().Kind == kind
}
