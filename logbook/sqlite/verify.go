package sqlite

import (
	"context"
	"database/sql"
	"encoding/hex"
	"errors"
	"fmt"
	"strings"

	"undersheet/logbook"
)

// maxFaults is how many faults Verify tells before it gives up.
const maxFaults = 20

// Span is the part of a logbook that was written under one log id.
type Span struct {
	LogID       string
	First, Last uint64
}

// Report is what Verify found in a logbook that is whole.
type Report struct {
	Blocks   int
	Entries  uint64
	Readings uint64
	Logs     []Span // oldest first; more than one after a restore
	Head     Head
}

// Verify walks all blocks: it recomputes the hash of every content, the chain of
// headers and the seqs, and holds the tables beside the blocks against them. With
// head, the hash of a header as printed on a report or a mail, it also proves
// that the log still holds that block, so that no tail was cut since.
//
// The error joins a *Damage for every fault found, up to 20. progress, when not
// nil, is told how far the walk is.
func (s *Store) Verify(ctx context.Context, head string, progress func(seq, of uint64)) (*Report, error) {
	head = strings.ToLower(strings.TrimSpace(head))
	if b, err := hex.DecodeString(head); head != "" && (err != nil || len(b) != len(logbook.Hash{})) {
		return nil, fmt.Errorf("verify: %q is no hash: want all %d hexadecimal digits", head, 2*len(logbook.Hash{}))
	}
	if err := s.quickCheck(ctx); err != nil {
		return nil, err
	}
	w := &walk{s: s, head: head, next: 1}
	end, err := s.lastSeq(ctx)
	if err != nil {
		return nil, s.inWords(err)
	}
	for len(w.faults) < maxFaults {
		page, err := s.blocksFrom(ctx, w.next, pageBlocks)
		if err != nil {
			return nil, s.inWords(fmt.Errorf("verify from seq %d: %w", w.next, err))
		}
		if len(page) == 0 || page[0].first > end {
			break
		}
		for i := range page {
			w.block(&page[i])
		}
		if progress != nil {
			progress(w.next-1, max(end, w.next-1))
		}
	}
	if err := w.finish(ctx); err != nil {
		return nil, err
	}
	return &w.report, nil
}

// quickCheck asks the database whether its own pages are whole.
func (s *Store) quickCheck(ctx context.Context) error {
	var said string
	if err := s.read.QueryRowContext(ctx, "PRAGMA quick_check(1)").Scan(&said); err != nil {
		return s.inWords(fmt.Errorf("check the pages of logbook %q: %w", s.path, err))
	}
	if said != "ok" {
		return &Damage{Path: s.path, What: "pages of the database file are missing or overwritten: " + said, Do: doRestore}
	}
	return nil
}

// lastSeq returns the last seq of all blocks, 0 when there are none.
func (s *Store) lastSeq(ctx context.Context) (uint64, error) {
	var n sql.NullInt64
	err := s.read.QueryRowContext(ctx, "SELECT max(last) FROM blocks").Scan(&n)
	return uint64(n.Int64), err
}

// walk is the state of one Verify.
type walk struct {
	s        *Store
	head     string // hash to be found; empty = none
	found    bool
	next     uint64 // seq that the next block must begin with
	prev     logbook.Hash
	id       logbook.LogID
	received logbook.Time
	lost     bool // the block before is missing or cannot be read: its hash is not known
	report   Report
	faults   []error
}

// fault notes damage at an entry.
func (w *walk) fault(seq uint64, err error, what string, args ...any) {
	w.faults = append(w.faults, &Damage{Path: w.s.path, Block: w.report.Blocks, Seq: seq, What: fmt.Sprintf(what, args...), Do: doRestore, Err: err})
}

// block checks one block against those before it.
func (w *walk) block(b *block) {
	w.report.Blocks++
	if b.first != w.next {
		w.fault(w.next, nil, "entries %d to %d are missing before it", w.next, b.first-1)
		w.lost = true
	}
	first := w.next == 1 && b.first == 1
	w.next = max(b.last, b.first) + 1
	if err := b.decodeHeader(); err != nil {
		w.fault(b.first, err, "its header is not whole")
		w.lost = true
		return
	}
	h := b.header
	if h.Prev != w.prev && !w.lost {
		w.fault(b.first, nil, "its header names %s as the hash of the block before it, which has %s", h.Prev, w.prev)
	}
	if h.Received < w.received {
		w.fault(b.first, nil, "it was received at %v, before the block before it at %v", h.Received, w.received)
	}
	entries, err := logbook.DecodeBlock(h, b.content)
	if err != nil {
		w.fault(b.first, err, "its content is not whole")
	} else {
		w.count(entries)
		if !first && h.LogID != w.id && !w.lost {
			w.handover(h, entries[0])
		}
	}
	w.span(h)
	w.prev, w.id, w.received, w.lost = h.Hash(), h.LogID, h.Received, false
	w.report.Head = head{seq: h.Last, hash: w.prev, id: h.LogID, received: h.Received}.export()
	w.found = w.found || w.prev.String() == w.head
}

// handover checks that a new log id comes with the entry that says so.
func (w *walk) handover(h logbook.BlockHeader, e logbook.Entry) {
	r, ok := e.(*logbook.Restored)
	if !ok || r.Log != h.LogID.String() || r.Was != w.id.String() || r.From != w.prev.String() {
		w.fault(h.First, nil, "its log id is %s, before it is %s, and no entry says that the logbook was restored", h.LogID, w.id)
	}
}

// count adds entries to the report.
func (w *walk) count(entries []logbook.Entry) {
	w.report.Entries += uint64(len(entries))
	for _, e := range entries {
		if e.Head().Kind == logbook.KindReading {
			w.report.Readings++
		}
	}
}

// span adds a block to the part of the log that was written under its log id.
func (w *walk) span(h logbook.BlockHeader) {
	logs := w.report.Logs
	if n := len(logs); n > 0 && logs[n-1].LogID == h.LogID.String() {
		logs[n-1].Last = h.Last
		return
	}
	w.report.Logs = append(logs, Span{LogID: h.LogID.String(), First: h.First, Last: h.Last})
}

// finish checks the end of the log and the tables beside the blocks.
func (w *walk) finish(ctx context.Context) error {
	if len(w.faults) == 0 {
		if err := w.beside(ctx); err != nil {
			return w.s.inWords(err)
		}
	}
	if w.head != "" && !w.found {
		w.faults = append(w.faults, &Damage{Path: w.s.path, Seq: w.next - 1,
			What: fmt.Sprintf("no block has the hash %s: the tail was cut after that hash was printed, or it is the hash of another logbook", w.head),
			Do:   "Compare site and date of the paper that the hash is from. If they are right: " + doRestore})
	}
	for _, err := range w.faults {
		if errors.Is(err, logbook.ErrNewer) {
			return fmt.Errorf("verify logbook %q: %w", w.s.path, logbook.ErrNewer)
		}
	}
	return errors.Join(w.faults...)
}

// beside holds the cursors and indexes against the blocks. On a logbook that is
// being written they may be ahead of the walk, but never behind it.
func (w *walk) beside(ctx context.Context) error {
	last := w.next - 1
	known, err := knownSeq(ctx, w.s.read)
	if err != nil {
		return err
	}
	end, err := w.s.lastSeq(ctx)
	if err != nil {
		return err
	}
	if known > end {
		w.fault(end+1, nil, "the end is torn off: entries up to seq %d were committed, the last block ends at %d", known, end)
	}
	var entries, readings uint64
	err = w.s.read.QueryRowContext(ctx, "SELECT (SELECT count(*) FROM identities WHERE seq <= ?1), (SELECT count(*) FROM times WHERE seq <= ?1)", int64(last)).
		Scan(&entries, &readings)
	if err != nil {
		return err
	}
	if entries != w.report.Entries || readings != w.report.Readings {
		w.fault(0, nil, "its blocks hold %d entries with %d readings, the indexes beside them know %d and %d",
			w.report.Entries, w.report.Readings, entries, readings)
	}
	return nil
}
