package sqlite

import (
	"context"
	"database/sql"
	"fmt"

	"undersheet/logbook"
)

// tx is a database transaction that uses the writer's prepared statements.
type tx struct{ *sql.Tx }

// stmt returns s as part of the transaction.
func (t tx) stmt(s *sql.Stmt) *sql.Stmt { return t.Stmt(s) }

// writable reports why nothing can be written.
func (s *Store) writable(verb string) error {
	if s.write == nil {
		return fmt.Errorf("%s: the logbook %q is open for reading only", verb, s.path)
	}
	return nil
}

// exclusive takes the turn and runs do in one transaction.
func (s *Store) exclusive(ctx context.Context, verb string, do func(*txn) error) error {
	if err := s.writable(verb); err != nil {
		return err
	}
	select {
	case s.turn <- struct{}{}:
	case <-s.closed:
		return ErrClosed
	case <-ctx.Done():
		return ctx.Err()
	}
	defer func() { <-s.turn }()
	if err := s.transact(do); err != nil {
		return fmt.Errorf("%s: %w", verb, err)
	}
	return nil
}

// transact runs do in one transaction and moves the head. The caller has the
// turn. It is not cut short by a caller's context: others may share the commit.
func (s *Store) transact(do func(*txn) error) error {
	if s.stale {
		h, err := s.loadHead(context.Background(), s.write)
		if err != nil {
			return s.inWords(err)
		}
		s.stale = false
		s.publish(h)
	}
	x, err := s.write.Begin()
	if err != nil {
		return s.inWords(err)
	}
	t := &txn{s: s, tx: tx{x}, head: s.head}
	t.received = max(t.head.received, logbook.At(s.now()))
	if err = do(t); err == nil {
		err = t.flush()
	}
	if err == nil {
		if err = x.Commit(); err == nil {
			s.publish(t.head)
			return nil
		}
		err = fmt.Errorf("commit, its outcome is not known: %w", err)
	}
	x.Rollback()
	for _, undo := range t.undo {
		undo()
	}
	s.stale = true
	clear(s.channels)
	return s.inWords(err)
}

// publish moves the head and wakes those who wait for it.
func (s *Store) publish(h head) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if h.seq == s.head.seq {
		return
	}
	s.head = h
	close(s.changed)
	s.changed = make(chan struct{})
}
