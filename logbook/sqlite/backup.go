package sqlite

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"time"

	"undersheet/logbook"
)

// Backup writes a whole copy of the logbook as it is now to dest, while it is in
// use, verifies the copy, and only then gives it its name. dest must not exist.
// progress, when not nil, is told how far the check of the copy is.
func (s *Store) Backup(ctx context.Context, dest string, progress func(seq, of uint64)) (*Report, error) {
	dest, err := vacant(dest)
	if err != nil {
		return nil, fmt.Errorf("back up logbook %q: %w", s.path, err)
	}
	temp := dest + ".new"
	sweep(temp)
	defer sweep(temp)
	if err := s.copyTo(ctx, temp); err != nil {
		return nil, fmt.Errorf("back up logbook %q: %w", s.path, err)
	}
	report, err := verifyFile(ctx, temp, progress)
	if err != nil {
		return nil, fmt.Errorf("back up logbook %q: the copy is not right, it was removed: %w", s.path, err)
	}
	if err := publish(temp, dest); err != nil {
		return nil, fmt.Errorf("back up logbook %q: %w", s.path, err)
	}
	return report, nil
}

// vacant returns path resolved, or an error when something stands there.
func vacant(path string) (string, error) {
	path, err := resolve(path)
	if err != nil {
		return "", err
	}
	for _, end := range []string{"", "-wal"} {
		if _, err := os.Lstat(path + end); err == nil {
			return "", fmt.Errorf("%q exists already and is not replaced: choose another name or move it away", path+end)
		} else if !errors.Is(err, fs.ErrNotExist) {
			return "", err
		}
	}
	return path, nil
}

// copyTo writes the logbook as one file, which is not durable yet.
func (s *Store) copyTo(ctx context.Context, temp string) error {
	q := readOnly(s.path)
	q.Set("_pragma", "busy_timeout(5000)") // query_only would forbid the copy, too
	db := connect(s.path, q)
	_, err := db.ExecContext(ctx, "VACUUM INTO ?", temp)
	if err := errors.Join(err, db.Close()); err != nil {
		return inWords(temp, err)
	}
	return os.Chmod(temp, 0o640)
}

// verifyFile verifies the logbook at path, which nobody else uses.
func verifyFile(ctx context.Context, path string, progress func(seq, of uint64)) (*Report, error) {
	s, err := Open(path, Options{ReadOnly: true})
	if err != nil {
		return nil, err
	}
	report, err := s.Verify(ctx, "", progress)
	return report, errors.Join(err, s.Close())
}

// Restore makes a logbook at dest of the backup src: all its blocks as they are,
// then a new log id under which it goes on, its first entry a logbook-restored.
// Messages that were waiting in the backup are in doubt: they may have been
// handed over since. src is verified first and not changed; dest must not exist.
func Restore(ctx context.Context, src, dest string, now func() time.Time, progress func(seq, of uint64)) (*Report, error) {
	dest, err := vacant(dest)
	if err != nil {
		return nil, fmt.Errorf("restore logbook: %w", err)
	}
	from, err := Open(src, Options{ReadOnly: true})
	if err != nil {
		return nil, fmt.Errorf("restore logbook: %w", err)
	}
	defer from.Close()
	if _, err := from.Verify(ctx, "", progress); err != nil {
		return nil, fmt.Errorf("restore logbook: the backup is not whole, use another one: %w", err)
	}
	temp := dest + ".new"
	sweep(temp)
	defer sweep(temp)
	if err := from.copyTo(ctx, temp); err != nil {
		return nil, fmt.Errorf("restore logbook: %w", err)
	}
	if err := goOn(ctx, temp, now); err != nil {
		return nil, fmt.Errorf("restore logbook: %w", err)
	}
	report, err := verifyFile(ctx, temp, nil)
	if err != nil {
		return nil, fmt.Errorf("restore logbook: %w", err)
	}
	if err := publish(temp, dest); err != nil {
		return nil, fmt.Errorf("restore logbook: %w", err)
	}
	return report, nil
}

// goOn gives the copy at path a new log id, chained to its head, and folds its
// write-ahead log into the one file.
func goOn(ctx context.Context, path string, now func() time.Time) error {
	s, err := Open(path, Options{Now: now})
	if err != nil {
		return err
	}
	err = errors.Join(s.exclusive(ctx, "begin a new log", func(t *txn) error { return t.restart(ctx) }), s.Close())
	if err != nil {
		return err
	}
	db := connect(path, url.Values{"_pragma": {"synchronous(FULL)"}})
	_, err = db.ExecContext(ctx, "PRAGMA journal_mode = DELETE")
	return errors.Join(err, db.Close())
}

// restart begins a new log id in a restored logbook.
func (t *txn) restart(ctx context.Context) error {
	var id logbook.LogID
	rand.Read(id[:]) // never fails: it ends the program instead
	was := t.head
	for _, q := range []string{
		"DELETE FROM snapshots",
		"UPDATE outbox SET begun = 1 WHERE state = 'waiting'",
		"UPDATE meta SET value = '" + id.String() + "' WHERE key = 'log'",
	} {
		if _, err := t.tx.ExecContext(ctx, q); err != nil {
			return err
		}
	}
	t.head.id = id
	if was.seq == 0 {
		return nil // nothing to go on from: just a new logbook
	}
	e := &logbook.Restored{Header: logbook.Header{Kind: logbook.KindRestored, Time: t.received},
		Log: id.String(), Was: was.id.String(), From: was.hash.String()}
	k, err := prepareOne(e)
	if err != nil {
		return err
	}
	_, err = t.add(e, k)
	return err
}
