package web

import (
	"context"
	"slices"
	"sync"
	"time"

	"undersheet/logbook"
)

// Bounds of what is kept of people's acts at each store.
const (
	recentKept  = 5
	recentStale = 5000 // refusals remembered while looking
)

// recentActs keeps the newest confirmations, declarations, hand readings and masked entries of
// each store. It reads each entry of the logbook at most once: the first time backwards from
// the head, for lookFor, and from then on the entries that were added.
type recentActs struct {
	mu      sync.Mutex
	seen    uint64 // newest entry looked at; 0 = none yet
	refused map[uint64]bool
	of      map[string][]logbook.Acting // by store, newest first
}

// atStore returns the store that a kept kind of act is of; "" for others.
func atStore(e logbook.Entry) string {
	switch e := e.(type) {
	case *logbook.EntryConfirmed:
		return e.Store
	case *logbook.NoGasDeclared:
		return e.Store
	case *logbook.HandReading:
		return e.Store
	case *logbook.MaskedEntry:
		return e.Store
	case *logbook.MaskedExit:
		return e.Store
	}
	return ""
}

// read brings what is kept up to the head of the log, or as far as it comes within lookFor.
func (r *recentActs) read(ctx context.Context, log Log) error {
	head, err := log.Head(ctx)
	if err != nil {
		return err
	}
	until := time.Now().Add(lookFor)
	if r.of == nil {
		r.of, r.refused = map[string][]logbook.Acting{}, map[uint64]bool{}
		for next := head.Seq + 1; next > 1 && time.Now().Before(until); {
			from := next - min(next-1, readEntries)
			es, err := log.Read(ctx, from, int(next-from))
			if err != nil {
				r.of = nil
				return err
			}
			slices.Reverse(es)
			for _, e := range es {
				r.take(e, func(kept []logbook.Acting, a logbook.Acting) []logbook.Acting {
					if len(kept) == recentKept {
						return kept
					}
					return append(kept, a)
				})
			}
			next = from
		}
		r.seen = head.Seq
	}
	for r.seen < head.Seq && time.Now().Before(until) {
		es, err := log.Read(ctx, r.seen+1, readEntries)
		if err != nil || len(es) == 0 {
			return err
		}
		for _, e := range es {
			r.take(e, func(kept []logbook.Acting, a logbook.Acting) []logbook.Acting {
				kept = slices.Insert(kept, 0, a)
				return kept[:min(len(kept), recentKept)]
			})
			r.seen = e.Head().Seq
		}
	}
	return nil
}

// take adds an entry, if it is an act to be kept, to its store's list with put; and remembers
// which acts were refused.
func (r *recentActs) take(e logbook.Entry, put func([]logbook.Acting, logbook.Acting) []logbook.Acting) {
	if no, ok := e.(*logbook.Refused); ok {
		if len(r.refused) >= recentStale {
			clear(r.refused) // old ones: the acts that they are of have long been shown
		}
		r.refused[no.Of] = true
	}
	if store := atStore(e); store != "" {
		r.of[store] = put(r.of[store], e.(logbook.Acting))
	}
}

// recentRows lists the newest acts at a store in words.
func (p *site) recentRows(ctx context.Context, f *frame, store string) []journalRow {
	if p.opts.Log == nil {
		return nil
	}
	p.recent.mu.Lock()
	defer p.recent.mu.Unlock()
	if err := p.recent.read(ctx, p.opts.Log); err != nil {
		p.unread(ctx, "read the newest acts at a store", "store", store, "error", err)
	}
	var rows []journalRow
	for _, a := range p.recent.of[store] {
		row := f.row(a)
		row.At = f.clock(a.Head().Time)
		if p.recent.refused[a.Head().Seq] {
			row.Kind = f.text("page/refused", "{act}", row.Kind)
		}
		rows = append(rows, row)
	}
	return rows
}
