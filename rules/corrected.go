package rules

import (
	"cmp"
	"slices"

	"undersheet/logbook"
)

// corrected remembers a correction. What it changes lies behind: whoever folds calls
// Refold when Outdated says so.
func (s *State) corrected(e *logbook.Corrected) {
	if s.rewrite != nil {
		return // it was known before the state was made again
	}
	if e.Of >= e.Seq {
		s.refuse(e, "correction-of-nothing", nil)
		return
	}
	if s.Corrections == nil {
		s.Corrections = map[uint64]*logbook.Corrected{}
	}
	s.Corrections[e.Of] = e
	s.outdated = true
	s.put(&logbook.Accepted{Entry: logbook.KindCorrected}, logbook.KindAccepted)
}

// Outdated reports whether a correction came in that the state does not show yet: it
// must be made again from the first entry, by Refold, before it is shown or kept.
func (s *State) Outdated() bool { return s.outdated }

// rewrite is how a state is made again: with the right entries at their own times, and
// without those that they correct.
type rewrite struct {
	right  []logbook.Entry // in order of time
	misfit []uint64        // corrections whose act is no act of theirs
}

// newRewrite takes the right entries of all corrections.
func newRewrite(cs map[uint64]*logbook.Corrected) *rewrite {
	w := &rewrite{}
	for _, c := range cs {
		if e, err := c.Right(); !c.Withdrawn && err == nil {
			h := e.Head()
			h.Seq, h.Received = c.Of, 0
			w.right = append(w.right, e)
		}
	}
	slices.SortFunc(w.right, func(a, b logbook.Entry) int {
		return cmp.Or(cmp.Compare(a.Head().Time, b.Head().Time), cmp.Compare(a.Head().Seq, b.Head().Seq))
	})
	return w
}

// until lets right entries take effect whose time has come.
func (s *State) until(now logbook.Time) {
	for w := s.rewrite; w != nil && len(w.right) > 0 && w.right[0].Head().Time <= now; {
		e := w.right[0]
		w.right = w.right[1:]
		s.At = max(s.At, e.Head().Time)
		s.take(e)
		s.pass()
	}
}

// replaced reports whether another entry stands in the place of e, or none.
func (s *State) replaced(e logbook.Entry) bool {
	h := e.Head()
	c := s.Corrections[h.Seq]
	if s.rewrite == nil || c == nil || logbook.IsRecord(h.Kind) {
		return false
	}
	right, err := c.Right()
	if !logbook.Correctable(h.Kind) || !c.Withdrawn && (err != nil || right.Head().Kind != h.Kind) {
		s.rewrite.misfit = append(s.rewrite.misfit, h.Seq)
		return false
	}
	return true
}

// Refold makes the state again: play folds every entry into the fresh state, up to
// the correction. It returns records of what is different from what was recorded:
// alarms, phases, gates, end levels. What was recorded before stays as it is, and
// nothing of it is told again.
func (s *State) Refold(play func(fresh *State) error) ([]logbook.Recorded, error) {
	fresh := New()
	fresh.Corrections, fresh.rewrite = s.Corrections, newRewrite(s.Corrections)
	if err := play(fresh); err != nil {
		return nil, err
	}
	fresh.until(fresh.At)
	if misfit := fresh.rewrite.misfit; len(misfit) > 0 {
		for _, seq := range misfit {
			delete(s.Corrections, seq)
		}
		out, err := s.Refold(play)
		s.out = nil
		for _, seq := range misfit {
			s.find(logbook.Finding{Code: "correction-does-not-fit", Value: logbook.Number(seq)})
		}
		return append(out, s.flush(s.LastSeq)...), err
	}
	fresh.rewrite, fresh.out = nil, nil
	fresh.differences(s)
	*s = *fresh
	return s.flush(s.LastSeq), nil
}

// differences proposes records of what stands otherwise than it was recorded.
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
	for _, name := range sorted(s.Stacks) {
		k, old := s.Stacks[name], was.Stacks[name]
		if old == nil {
			continue
		}
		k.Told = old.Told
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
	for _, name := range sorted(s.Stores) {
		if old := was.Stores[name]; old != nil {
			s.Stores[name].Gate = old.Gate
		}
	}
	s.pass()
}
