package rules

import (
	"cmp"
	"iter"
	"maps"
	"slices"

	"undersheet/logbook"
	"undersheet/rules/correction"
	"undersheet/rules/treatment"
)

// corrected takes a correction. What it changes lies in the past, so the state as it is
// cannot follow: it becomes Outdated, and whoever folds calls Refold.
func (s *State) corrected(e *logbook.Corrected) {
	switch {
	case e.Of >= e.Seq:
		s.refuse(e, "correction-of-nothing", nil)
		return
	case correction.Ahead(e, s.At):
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
	fixes, misfit, err := correction.Of(past)
	if err != nil {
		return nil, err
	}
	fresh := New()
	fresh.remade = true
	for e, err := range fixes.Apply(past) {
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
			before = old.Treatment.EndLevels(-1)
		}
		for _, e := range k.Treatment.EndLevels(-1) {
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
