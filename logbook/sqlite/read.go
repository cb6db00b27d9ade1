package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"iter"
	"math"

	"undersheet/logbook"
)

// pageBlocks is how many blocks are fetched at once. Between pages no database
// connection is held, so a slow reader holds up nobody.
const pageBlocks = 16

// block is one row of table blocks.
type block struct {
	first, last uint64
	raw         []byte // header as stored
	header      logbook.BlockHeader
	content     []byte
}

// scanBlock reads a row of first, last, header, content. It does not decode.
func scanBlock(row interface{ Scan(...any) error }) (b block, err error) {
	var first, last int64
	err = row.Scan(&first, &last, &b.raw, &b.content)
	b.first, b.last = uint64(first), uint64(last)
	return b, err
}

// decodeHeader fills in header and checks it against the row.
func (b *block) decodeHeader() (err error) {
	if b.header, err = logbook.DecodeBlockHeader(b.raw); err != nil {
		return err
	}
	if b.header.First != b.first || b.header.Last != b.last {
		return fmt.Errorf("%w: it stands at entries %d to %d, its header says %d to %d",
			logbook.ErrBlockDamaged, b.first, b.last, b.header.First, b.header.Last)
	}
	return nil
}

// open decodes header and content.
func (b *block) open() ([]logbook.Entry, error) {
	if err := b.decodeHeader(); err != nil {
		return nil, err
	}
	return logbook.DecodeBlock(b.header, b.content)
}

// blocksFrom returns up to limit blocks, the first of which holds seq from or is
// the next after it.
func (s *Store) blocksFrom(ctx context.Context, from uint64, limit int) ([]block, error) {
	rows, err := s.read.QueryContext(ctx, `SELECT first, last, header, content FROM blocks
		WHERE first >= coalesce((SELECT max(first) FROM blocks WHERE first <= ?), 0) AND last >= ? ORDER BY first LIMIT ?`,
		int64(from), int64(from), limit)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var page []block
	for rows.Next() {
		b, err := scanBlock(rows)
		if err != nil {
			return nil, err
		}
		page = append(page, b)
	}
	return page, rows.Err()
}

// openBlock decodes b for a reader, with its damage in words.
func (s *Store) openBlock(b *block) ([]logbook.Entry, error) {
	entries, err := b.open()
	if errors.Is(err, logbook.ErrNewer) {
		return nil, fmt.Errorf("read logbook %q at seq %d: %w", s.path, b.first, err)
	}
	if err != nil {
		return nil, &Damage{Path: s.path, Seq: b.first, What: "a block is not whole", Do: doRestore, Err: err}
	}
	return entries, nil
}

// Entries yields the entries from seq from on, up to the head as it is when it
// gets there. After an error it yields nothing more. Blocks are checked against
// their hashes, the chain and for gaps as they are read.
func (s *Store) Entries(ctx context.Context, from uint64) iter.Seq2[logbook.Entry, error] {
	return func(yield func(logbook.Entry, error) bool) {
		f := follower{s: s, next: max(from, 1)}
		for f.next <= math.MaxInt64 { // the database counts to there
			page, err := s.blocksFrom(ctx, f.next, pageBlocks)
			if err != nil {
				yield(nil, s.inWords(fmt.Errorf("read entries from seq %d: %w", f.next, err)))
				return
			}
			for i := range page {
				entries, err := f.take(&page[i])
				if err != nil {
					yield(nil, err)
					return
				}
				for _, e := range entries {
					if !yield(e, nil) {
						return
					}
				}
			}
			if len(page) == 0 {
				return
			}
		}
	}
}

// follower goes from block to block.
type follower struct {
	s       *Store
	next    uint64       // seq of the next entry
	prev    logbook.Hash // of the header before
	started bool         // prev is known
}

// take returns the entries of b from next on.
func (f *follower) take(b *block) ([]logbook.Entry, error) {
	if b.first > f.next {
		return nil, &Damage{Path: f.s.path, Seq: f.next, Do: doRestore, What: fmt.Sprintf("entries %d to %d are missing", f.next, b.first-1)}
	}
	entries, err := f.s.openBlock(b)
	if err != nil {
		return nil, err
	}
	if f.started && b.header.Prev != f.prev {
		return nil, &Damage{Path: f.s.path, Seq: b.first, Do: doRestore, What: "a block does not follow from the block before it"}
	}
	entries = entries[f.next-b.first:]
	f.next, f.prev, f.started = b.last+1, b.header.Hash(), true
	return entries, nil
}

// Read returns up to limit entries from seq from on; none when the log ends before it.
func (s *Store) Read(ctx context.Context, from uint64, limit int) ([]logbook.Entry, error) {
	var got []logbook.Entry
	if limit <= 0 {
		return nil, nil
	}
	for e, err := range s.Entries(ctx, from) {
		if err != nil {
			return nil, err
		}
		if got = append(got, e); len(got) == limit {
			break
		}
	}
	return got, nil
}

// pageTimes is how many places in the log a reader of a channel fetches at once.
const pageTimes = 4096

// Readings yields the readings of a channel with from ≤ Time < to, in order of
// time and then of seq. After an error it yields nothing more.
func (s *Store) Readings(ctx context.Context, channel string, from, to logbook.Time) iter.Seq2[*logbook.Reading, error] {
	return func(yield func(*logbook.Reading, error) bool) {
		var id int64
		err := s.read.QueryRowContext(ctx, "SELECT id FROM channels WHERE name = ?", channel).Scan(&id)
		if errors.Is(err, sql.ErrNoRows) {
			return
		}
		look := &lookup{s: s}
		at, seq := from, uint64(0)
		for err == nil {
			var seqs []uint64
			if seqs, at, err = s.places(ctx, id, at, seq, to); err != nil || len(seqs) == 0 {
				break
			}
			seq = seqs[len(seqs)-1]
			for _, n := range seqs {
				var r *logbook.Reading
				if r, err = look.reading(ctx, n); err != nil {
					break
				}
				if !yield(r, nil) {
					return
				}
			}
		}
		if err != nil {
			yield(nil, s.inWords(fmt.Errorf("read readings of channel %q: %w", channel, err)))
		}
	}
}

// places returns the seqs of the next readings of a channel after (at, seq) and
// the time of the last of them.
func (s *Store) places(ctx context.Context, channel int64, at logbook.Time, seq uint64, to logbook.Time) ([]uint64, logbook.Time, error) {
	rows, err := s.read.QueryContext(ctx, "SELECT time, seq FROM times WHERE channel = ? AND (time, seq) > (?, ?) AND time < ? ORDER BY time, seq LIMIT ?",
		channel, int64(at), int64(seq), int64(to), pageTimes)
	if err != nil {
		return nil, 0, err
	}
	defer rows.Close()
	var seqs []uint64
	for rows.Next() {
		var t, n int64
		if err := rows.Scan(&t, &n); err != nil {
			return nil, 0, err
		}
		at, seqs = logbook.Time(t), append(seqs, uint64(n))
	}
	return seqs, at, rows.Err()
}

// lookup finds single entries and remembers the block that it read last.
type lookup struct {
	s       *Store
	first   uint64
	entries []logbook.Entry
}

// reading returns the reading with this seq, from the block that was opened last when it stands there.
func (l *lookup) reading(ctx context.Context, seq uint64) (*logbook.Reading, error) {
	if seq < l.first || seq-l.first >= uint64(len(l.entries)) {
		page, err := l.s.blocksFrom(ctx, seq, 1)
		if err != nil {
			return nil, err
		}
		if len(page) == 0 || page[0].first > seq {
			return nil, &Damage{Path: l.s.path, Seq: seq, What: "the entry is missing", Do: doRestore}
		}
		if l.entries, err = l.s.openBlock(&page[0]); err != nil {
			return nil, err
		}
		l.first = page[0].first
	}
	r, ok := l.entries[seq-l.first].(*logbook.Reading)
	if !ok {
		return nil, &Damage{Path: l.s.path, Seq: seq, What: "the index of channels points at an entry that is no reading", Do: doRestore}
	}
	return r, nil
}
