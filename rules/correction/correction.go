// Package correction puts corrections in their place: among entries as they were
// written, the right entry stands where the wrong one stood.
//
//	for e, err := range correction.Applied(entries) {
//
// [Applied] is all that a report needs. Who folds also asks [Of] which corrections fit no
// act. Entries themselves are never changed, and no permission can be corrected: see
// logbook.Correctable.
package correction

import (
	"cmp"
	"iter"
	"slices"

	"undersheet/logbook"
	"undersheet/rules/reading"
)

// Applied yields entries with the corrections among them put in: each wrong entry is
// replaced by the right one. It goes through entries twice.
func Applied(entries iter.Seq2[logbook.Entry, error]) iter.Seq2[logbook.Entry, error] {
	return func(yield func(logbook.Entry, error) bool) {
		fixes, _, err := Of(entries)
		if err != nil {
			yield(nil, err)
			return
		}
		for e, err := range fixes.Apply(entries) {
			if !yield(e, err) || err != nil {
				return
			}
		}
	}
}

// Fixes holds the newest valid correction of each act, by the seq of that act.
type Fixes map[uint64]*logbook.Corrected

// Of finds the valid corrections among entries. misfit lists the seq of those that
// are not: they name no earlier act, or one of another kind, or their right entry is dated
// ahead. Entries without a seq are numbered from 1.
func Of(entries iter.Seq2[logbook.Entry, error]) (fixes Fixes, misfit []uint64, err error) {
	fixes = Fixes{}
	kinds, now, n := map[uint64]logbook.Kind{}, logbook.Time(0), uint64(0)
	for e, err := range entries {
		if err != nil {
			return nil, nil, err
		}
		n++
		now = reading.NowAfter(now, e)
		seq := seqOf(e, n)
		if c, ok := e.(*logbook.Corrected); ok {
			if kind, known := kinds[c.Of]; known && fits(c, kind) && !Ahead(c, now) {
				fixes[c.Of] = c
			} else {
				misfit = append(misfit, seq)
			}
		} else if _, act := e.(logbook.Acting); act {
			kinds[seq] = e.Head().Kind
		}
	}
	return fixes, misfit, nil
}

// seqOf is the seq of an entry, or its place among entries that have none.
func seqOf(e logbook.Entry, place uint64) uint64 {
	if h := e.Head(); h.Seq != 0 {
		return h.Seq
	}
	return place
}

// Apply yields entries with the right ones in the place of the wrong ones. A right entry
// whose time is later than that of the entries around the wrong one is held back until its
// own time has come, at the latest to the end.
func (fixes Fixes) Apply(entries iter.Seq2[logbook.Entry, error]) iter.Seq2[logbook.Entry, error] {
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
			now = reading.NowAfter(now, e)
			if !due() {
				return
			}
			_, correction := e.(*logbook.Corrected)
			_, act := e.(logbook.Acting)
			c := fixes[seqOf(e, n)]
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

// Ahead reports whether the right entry of a correction is dated ahead of now.
func Ahead(c *logbook.Corrected, now logbook.Time) bool {
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
