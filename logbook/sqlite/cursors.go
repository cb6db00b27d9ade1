package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"strings"

	"undersheet/logbook"
)

// Cursor says how far a reader of the log has come, for example one that copies
// it out. It lives in the logbook's own file, so a backup carries the cursor of
// its moment, and a logbook restored from it goes on from there.
type Cursor struct {
	Seq  uint64 // of the last entry that the reader is done with; 0 = none
	Site uint64 // of the site-configured entry in force there; 0 = none
}

// cursorKey returns where a cursor stands in the table meta. No other key has a blank.
func cursorKey(name string) string { return "cursor " + name }

// Cursor returns the cursor that was set last under name; the zero Cursor when
// there is none.
func (s *Store) Cursor(ctx context.Context, name string) (c Cursor, err error) {
	var v string
	err = s.read.QueryRowContext(ctx, "SELECT value FROM meta WHERE key = ?", cursorKey(name)).Scan(&v)
	if errors.Is(err, sql.ErrNoRows) {
		return c, nil
	}
	if err != nil {
		return c, fmt.Errorf("read cursor %q: %w", name, s.inWords(err))
	}
	if _, err := fmt.Sscanf(v, "%d %d", &c.Seq, &c.Site); err != nil {
		return Cursor{}, &Damage{Path: s.path, What: fmt.Sprintf("the cursor %q holds %q", name, v), Do: doRestore, Err: err}
	}
	return c, nil
}

// SetCursor sets the cursor under name, durably. It may go back, but never past
// the head.
func (s *Store) SetCursor(ctx context.Context, name string, c Cursor) error {
	if strings.TrimSpace(name) == "" {
		return errors.New("set cursor: it has no name")
	}
	return s.exclusive(ctx, fmt.Sprintf("set cursor %q", name), func(t *txn) error {
		if c.Seq > t.head.seq || c.Site > c.Seq {
			return fmt.Errorf("it cannot stand at seq %d with the site of seq %d, the log ends at %d", c.Seq, c.Site, t.head.seq)
		}
		_, err := t.tx.ExecContext(ctx, "INSERT INTO meta VALUES (?, ?) ON CONFLICT (key) DO UPDATE SET value = excluded.value",
			cursorKey(name), fmt.Sprintf("%d %d", c.Seq, c.Site))
		return err
	})
}

// Repeated returns, for each committed reading, whether the log has an earlier
// entry (a lower seq) for its channel and time. The first of them is the one
// that is used.
func (s *Store) Repeated(ctx context.Context, readings []*logbook.Reading) ([]bool, error) {
	if len(readings) == 0 {
		return nil, nil
	}
	stmt, err := s.read.PrepareContext(ctx, `SELECT EXISTS (SELECT 1 FROM times
		WHERE channel = (SELECT id FROM channels WHERE name = ?) AND time = ? AND seq < ?)`)
	if err != nil {
		return nil, fmt.Errorf("look for repeated readings: %w", s.inWords(err))
	}
	defer stmt.Close()
	repeated := make([]bool, len(readings))
	for i, r := range readings {
		if err := stmt.QueryRowContext(ctx, r.Channel, int64(r.Time), int64(r.Seq)).Scan(&repeated[i]); err != nil {
			return nil, fmt.Errorf("look for repeated readings of channel %q: %w", r.Channel, s.inWords(err))
		}
	}
	return repeated, nil
}
