package report

import (
	"errors"
	"fmt"
	"iter"
	"maps"
	"slices"
	"strings"

	"undersheet/logbook"
	"undersheet/rules/correction"
)

// ErrUnknown marks a treatment that the log does not hold.
type ErrUnknown struct {
	Treatment string
	Known     []string // names that it holds, sorted
}

// Error implements error.
func (e *ErrUnknown) Error() string {
	if len(e.Known) == 0 {
		return fmt.Sprintf("find treatment %q: the log holds none that has started", e.Treatment)
	}
	quoted := make([]string, len(e.Known))
	for i, n := range e.Known {
		quoted[i] = fmt.Sprintf("%q", n)
	}
	return fmt.Sprintf("find treatment %q: the log holds %s", e.Treatment, strings.Join(quoted, ", "))
}

// Make folds the entries and gathers what belongs to the treatment of that name: all
// of the stack and its store until it is closed or the stack is treated again, and
// after that what is still said of this treatment. site, when not nil, stands for a
// site-configured before the first entry.
//
// The entries are gone through once; again, with what corrections put right, where
// there are any. An error is of type [*ErrUnknown], or comes from the entries.
func Make(entries iter.Seq2[logbook.Entry, error], site *logbook.Site, name string, src Source) (*Report, error) {
	m := newMaker(site, name)
	err := m.all(entries)
	if errors.Is(err, errCorrected) {
		m = newMaker(site, name)
		err = m.all(correction.Applied(m.fixes.watch(entries)))
	}
	if err != nil {
		return nil, fmt.Errorf("read entries: %w", err)
	}
	return m.report(src)
}

// report is what was gathered so far.
func (m *maker) report(src Source) (*Report, error) {
	if m.found == nil {
		return nil, &ErrUnknown{Treatment: m.name, Known: slices.Sorted(maps.Keys(m.names))}
	}
	m.found.corrected(&m.fixes)
	return m.found.finish(m.player.State, src), nil
}

// errCorrected ends a pass over entries among which is a correction.
var errCorrected = errors.New("corrected")

// all takes every entry.
func (m *maker) all(entries iter.Seq2[logbook.Entry, error]) error {
	for e, err := range entries {
		if err != nil {
			return err
		}
		if _, ok := e.(*logbook.Corrected); ok {
			return errCorrected
		}
		m.take(e)
	}
	return nil
}

// Until yields entries up to the one with that seq; 0 = all.
func Until(entries iter.Seq2[logbook.Entry, error], seq uint64) iter.Seq2[logbook.Entry, error] {
	return func(yield func(logbook.Entry, error) bool) {
		for e, err := range entries {
			if err == nil && seq != 0 && e.Head().Seq > seq || !yield(e, err) {
				return
			}
		}
	}
}

// fixes are the corrections of a log, which whoever reads it as it was put right does
// not see, and the acts that they may be of.
type fixes struct {
	acts map[uint64]logbook.Acting
	all  []*logbook.Corrected
	last uint64 // seq of the newest that is known
}

// watch yields entries and notes the corrections among them; they may be gone through
// more than once.
func (f *fixes) watch(entries iter.Seq2[logbook.Entry, error]) iter.Seq2[logbook.Entry, error] {
	f.acts = map[uint64]logbook.Acting{}
	return func(yield func(logbook.Entry, error) bool) {
		n := uint64(0)
		for e, err := range entries {
			if err == nil {
				n++
				f.note(e, n)
			}
			if !yield(e, err) {
				return
			}
		}
	}
}

func (f *fixes) note(e logbook.Entry, place uint64) {
	seq := e.Head().Seq
	if seq == 0 {
		seq = place
	}
	if c, ok := e.(*logbook.Corrected); ok {
		if seq > f.last {
			f.all, f.last = append(f.all, c), seq
		}
	} else if a, ok := e.(logbook.Acting); ok {
		f.acts[seq] = a
	}
}

// corrected lists among the acts the corrections of what the report tells; the range
// of the report reaches to them.
func (d *draft) corrected(f *fixes) {
	for _, c := range f.all {
		was := f.acts[c.Of]
		if was == nil || c.Of > d.r.LastSeq && d.r.LastSeq != 0 || c.Time < d.r.Dosed {
			continue
		}
		store, stack := was.Place()
		instrument := was.Head().Kind == logbook.KindInstrumentChecked || was.Head().Kind == logbook.KindInstrumentSwapped
		if stack != d.stack && (store == "" || store != d.store) && !instrument {
			continue
		}
		a := d.list(c)
		a.Before, a.before = written(was), was
		d.r.LastSeq, d.r.Made = max(d.r.LastSeq, c.Seq), max(d.r.Made, c.Received)
	}
}
