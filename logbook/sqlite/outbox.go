package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"undersheet/logbook"
)

// Outgoing is one message that is to be handed over to one recipient.
type Outgoing struct {
	Key       string    // unique and stable: the same message has the same key in every run
	Messenger string    // which way it goes
	To        string    // recipient
	Body      []byte    // in the messenger's own form; dropped once the message is done
	NotBefore time.Time // when it is due; kept to the microsecond

	// Set by Due and Begin, ignored by AppendRecords.
	Attempts int  // begun so far
	InDoubt  bool // an attempt was begun and its end is not known: a repeat must say that it may be one
}

// Outcome says how an attempt ended.
type Outcome string

// Outcomes of an attempt.
const (
	HandedOver Outcome = "handed-over"
	Retry      Outcome = "retry"
	GivenUp    Outcome = "given-up"
)

// Result is the end of an attempt.
type Result struct {
	Outcome Outcome
	RetryAt time.Time // with Retry: not before this
	InDoubt bool      // with Retry: the other side may have taken the message all the same
}

// ErrNotWaiting says that a message is unknown or done.
var ErrNotWaiting = errors.New("no such message is waiting")

// queue adds a message unless its key is known.
func (t *txn) queue(o Outgoing) error {
	if o.Key == "" || o.Messenger == "" || o.To == "" {
		return fmt.Errorf("a message needs key, messenger and recipient (got %q, %q, %q)", o.Key, o.Messenger, o.To)
	}
	if o.Body == nil {
		o.Body = []byte{}
	}
	_, err := t.tx.Exec("INSERT INTO outbox (key, messenger, recipient, body, not_before) VALUES (?, ?, ?, ?, ?) ON CONFLICT (key) DO NOTHING",
		o.Key, o.Messenger, o.To, o.Body, int64(logbook.At(o.NotBefore)))
	return err
}

const selectOutgoing = "SELECT key, messenger, recipient, body, not_before, attempts, begun FROM outbox WHERE state = 'waiting' AND "

// scanOutgoing reads a row of selectOutgoing.
func scanOutgoing(row interface{ Scan(...any) error }) (o Outgoing, err error) {
	var at int64
	err = row.Scan(&o.Key, &o.Messenger, &o.To, &o.Body, &at, &o.Attempts, &o.InDoubt)
	o.NotBefore = logbook.Time(at).Std()
	return o, err
}

// Due returns up to limit messages that are waiting and due at now, oldest first.
func (s *Store) Due(ctx context.Context, now time.Time, limit int) ([]Outgoing, error) {
	return s.due(ctx, "not_before <= ? ORDER BY id LIMIT ?", int64(logbook.At(now)), limit)
}

// DueFor is Due for one way and, unless to is empty, one recipient of it: however
// many messages wait for others, they do not stand before these. What was tried before is due
// also where it waits for longer than longest, the longest wait for a repeat: the clock has gone back since.
func (s *Store) DueFor(ctx context.Context, messenger, to string, now time.Time, longest time.Duration, limit int) ([]Outgoing, error) {
	return s.due(ctx, "messenger = ? AND (? = '' OR recipient = ?) AND (not_before <= ? OR attempts > 0 AND not_before > ?) ORDER BY id LIMIT ?",
		messenger, to, to, int64(logbook.At(now)), int64(logbook.At(now.Add(longest))), limit)
}

// due returns the waiting messages that a condition chooses.
func (s *Store) due(ctx context.Context, which string, args ...any) ([]Outgoing, error) {
	rows, err := s.read.QueryContext(ctx, selectOutgoing+which, args...)
	if err != nil {
		return nil, s.inWords(err)
	}
	defer rows.Close()
	var due []Outgoing
	for rows.Next() {
		o, err := scanOutgoing(rows)
		if err != nil {
			return nil, s.inWords(err)
		}
		due = append(due, o)
	}
	return due, s.inWords(rows.Err())
}

// Begin marks that an attempt starts now, durably, and counts it. The Outgoing
// that it returns has this attempt in Attempts; its InDoubt speaks of the
// attempts before. A message that is not waiting gives ErrNotWaiting.
func (s *Store) Begin(ctx context.Context, key string) (o Outgoing, err error) {
	err = s.exclusive(ctx, "begin to hand over", func(t *txn) error {
		if o, err = scanOutgoing(t.tx.QueryRowContext(ctx, selectOutgoing+"key = ?", key)); err != nil {
			return notWaiting(key, err)
		}
		o.Attempts++
		_, err := t.tx.ExecContext(ctx, "UPDATE outbox SET attempts = ?, begun = 1 WHERE key = ?", o.Attempts, key)
		return err
	})
	return o, err
}

// Finish ends an attempt, durably, and appends record, when there is one, in the
// same transaction. A message that is not waiting gives ErrNotWaiting and
// appends nothing.
func (s *Store) Finish(ctx context.Context, key string, r Result, record *logbook.Message) error {
	var entries []logbook.Entry
	if record != nil {
		entries = append(entries, record)
	}
	keys, err := prepare(entries)
	if err != nil {
		return fmt.Errorf("finish handing over: %w", err)
	}
	return s.exclusive(ctx, "finish handing over", func(t *txn) error {
		var id int64
		if err := t.tx.QueryRowContext(ctx, "SELECT id FROM outbox WHERE state = 'waiting' AND key = ?", key).Scan(&id); err != nil {
			return notWaiting(key, err)
		}
		if err := t.settle(ctx, id, r); err != nil || record == nil {
			return err
		}
		_, err := t.add(record, keys[0])
		return err
	})
}

// notWaiting turns "no such row" into ErrNotWaiting.
func notWaiting(key string, err error) error {
	if errors.Is(err, sql.ErrNoRows) {
		return fmt.Errorf("message %q: %w", key, ErrNotWaiting)
	}
	return err
}

// settle notes in the outbox how a hand-over ended.
func (t *txn) settle(ctx context.Context, id int64, r Result) error {
	var err error
	switch r.Outcome {
	case HandedOver, GivenUp:
		_, err = t.tx.ExecContext(ctx, "UPDATE outbox SET state = ?, begun = 0, body = NULL WHERE id = ?", string(r.Outcome), id)
	case Retry:
		_, err = t.tx.ExecContext(ctx, "UPDATE outbox SET not_before = ?, begun = ? WHERE id = ?", int64(logbook.At(r.RetryAt)), r.InDoubt, id)
	default:
		err = fmt.Errorf("unknown outcome %q", r.Outcome)
	}
	return err
}
