package sqlite

import (
	"context"
	"fmt"
	"strconv"

	"undersheet/logbook"
)

// AppendRecords commits, in one transaction, the records that the fold made of
// the inputs up to seq judged, the judged cursor, and the messages that the
// records ask for. Records that are there already and messages whose key is
// there already are dropped, so a fold that runs again writes nothing twice.
// The cursor never moves back and never passes the head.
func (s *Store) AppendRecords(ctx context.Context, judged uint64, recs []logbook.Recorded, out []Outgoing) error {
	entries := make([]logbook.Entry, len(recs))
	for i, r := range recs {
		if entries[i] = r; !logbook.IsRecord(r.Head().Kind) {
			return fmt.Errorf("append records: entry %d of kind %q is no record", i, r.Head().Kind)
		}
	}
	keys, err := prepare(entries)
	if err != nil {
		return fmt.Errorf("append records: %w", err)
	}
	return s.exclusive(ctx, "append records", func(t *txn) error {
		if err := t.moveCursor(ctx, judged); err != nil {
			return err
		}
		for i, e := range entries {
			if _, err := t.add(e, keys[i]); err != nil {
				return err
			}
		}
		for _, o := range out {
			if err := t.queue(o); err != nil {
				return err
			}
		}
		return nil
	})
}

// moveCursor sets the judged cursor.
func (t *txn) moveCursor(ctx context.Context, judged uint64) error {
	was, err := metaNumber(ctx, t.tx, "judged")
	switch {
	case err != nil:
		return err
	case judged < was:
		return fmt.Errorf("the inputs up to seq %d are judged already, the cursor cannot go back to %d", was, judged)
	case judged > t.head.seq:
		return fmt.Errorf("cannot have judged seq %d, the log ends at %d", judged, t.head.seq)
	case judged == was:
		return nil
	}
	_, err = t.tx.ExecContext(ctx, "UPDATE meta SET value = ? WHERE key = 'judged'", strconv.FormatUint(judged, 10))
	return err
}

// Judged returns the cursor: the highest seq whose records are committed.
func (s *Store) Judged(ctx context.Context) (uint64, error) {
	n, err := metaNumber(ctx, s.read, "judged")
	return n, s.inWords(err)
}
