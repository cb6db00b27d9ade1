package sqlite

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"fmt"
	"math"

	"undersheet/logbook"
)

// maxGroup bounds the entries of calls that are committed together. One call's
// entries are always committed together, however many they are.
const maxGroup = 4 * logbook.MaxBlockEntries

// Stored says what became of one entry.
type Stored struct {
	Seq       uint64 // of the entry; of the first one when it is a duplicate
	Duplicate bool   // the same entry was there already, nothing was written
	Differs   bool   // with Duplicate: the client id was used before for something else, so this entry was NOT kept
}

// key is how a repeated entry is known.
type key struct {
	identity [20]byte
	body     []byte // set when the identity comes from a client id
}

// request is one caller's entries on their way into a commit.
type request struct {
	entries []logbook.Entry
	keys    []key
	stored  []Stored
	err     error
	done    chan struct{} // closed when stored and err are final
}

// Append commits inputs and returns when they are durable. Calls that wait at
// the same time are committed together. The entries of one call are kept all or
// none, in their order; duplicates (logbook.Identity) are dropped and told. Each
// entry that was kept has got its Seq, Received and V.
//
// An error means that nothing of this call was kept, except one that says that
// the outcome is not known: then append the same again, duplicates are dropped.
// Records are refused: they go with [Store.AppendRecords].
func (s *Store) Append(ctx context.Context, entries []logbook.Entry) ([]Stored, error) {
	if err := s.writable("append"); err != nil || len(entries) == 0 {
		return nil, err
	}
	for i, e := range entries {
		if logbook.IsRecord(e.Head().Kind) {
			return nil, fmt.Errorf("append entry %d: the kind %q is a record, which only the program itself makes", i, e.Head().Kind)
		}
	}
	keys, err := prepare(entries)
	if err != nil {
		return nil, fmt.Errorf("append: %w", err)
	}
	r := &request{entries: entries, keys: keys, stored: make([]Stored, len(entries)), done: make(chan struct{})}
	s.mu.Lock()
	s.queue = append(s.queue, r)
	s.mu.Unlock()
	if err := s.see(ctx, r); err != nil {
		return nil, err
	}
	return r.stored, nil
}

// Known returns, for each of stored that Differs, the entry that has its id, in
// its place; nil in the others' places, and nothing at all when none differs.
func (s *Store) Known(ctx context.Context, stored []Stored) ([]logbook.Entry, error) {
	var known []logbook.Entry
	for i, st := range stored {
		if !st.Differs {
			continue
		}
		es, err := s.Read(ctx, st.Seq, 1)
		if err == nil && len(es) == 0 {
			err = errors.New("the log ends before it")
		}
		if err != nil {
			return nil, fmt.Errorf("read entry %d, which has the id of another: %w", st.Seq, err)
		}
		if known == nil {
			known = make([]logbook.Entry, len(stored))
		}
		known[i] = es[0]
	}
	return known, nil
}

// see waits until r is committed, doing the commit when it is this caller's turn.
func (s *Store) see(ctx context.Context, r *request) error {
	for {
		select {
		case <-r.done:
			return r.err
		default:
		}
		select {
		case <-r.done:
			return r.err
		case s.turn <- struct{}{}:
			s.commitWaiting()
			<-s.turn
		case <-s.closed:
			if s.withdraw(r) {
				return ErrClosed
			}
			<-r.done
		case <-ctx.Done():
			if s.withdraw(r) {
				return ctx.Err()
			}
			<-r.done
		}
	}
}

// withdraw takes r out of the queue; false when its commit is under way.
func (s *Store) withdraw(r *request) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	for i, q := range s.queue {
		if q == r {
			s.queue = append(s.queue[:i], s.queue[i+1:]...)
			return true
		}
	}
	return false
}

// commitWaiting commits what is waiting now, up to maxGroup. The caller has the turn.
func (s *Store) commitWaiting() {
	s.mu.Lock()
	n, sum := 0, 0
	for n < len(s.queue) && (n == 0 || sum+len(s.queue[n].entries) <= maxGroup) {
		sum += len(s.queue[n].entries)
		n++
	}
	group := s.queue[:n:n]
	s.queue = append([]*request(nil), s.queue[n:]...)
	s.mu.Unlock()
	if n == 0 {
		return
	}
	err := s.transact(func(t *txn) error {
		for _, r := range group {
			for i, e := range r.entries {
				var err error
				if r.stored[i], err = t.add(e, r.keys[i]); err != nil {
					return err
				}
			}
		}
		return nil
	})
	for _, r := range group {
		r.err = err
		close(r.done)
	}
}

// prepare checks entries as far as one caller's own, so that a bad one fails its
// caller alone.
func prepare(entries []logbook.Entry) ([]key, error) {
	keys := make([]key, len(entries))
	for i, e := range entries {
		var err error
		if keys[i], err = prepareOne(e); err != nil {
			return nil, fmt.Errorf("entry %d, %s: %w", i, e.Head().Kind, err)
		}
	}
	return keys, nil
}

// prepareOne checks e and returns the key by which it is known again.
func prepareOne(e logbook.Entry) (k key, err error) {
	if err := logbook.Check(e); err != nil {
		return k, err
	}
	sum, err := logbook.Identity(e)
	if err != nil {
		return k, err
	}
	h := e.Head()
	copy(k.identity[8:], sum[:])
	if h.ID == "" {
		// The time stands first, so that new entries touch neighbouring pages: far
		// less is written than with keys all over the tree. The sign is flipped
		// for order.
		binary.BigEndian.PutUint64(k.identity[:], uint64(h.Time)^1<<63)
		return k, nil
	}
	binary.BigEndian.PutUint64(k.identity[:], math.MaxUint64)
	id := h.ID
	h.ID = ""
	body, err := logbook.Identity(e)
	h.ID = id
	k.body = body[:]
	return k, err
}

// txn is one transaction that adds entries. The entries of a block are gathered
// in open and written together.
type txn struct {
	s        *Store
	tx       tx
	head     head
	received logbook.Time
	open     []logbook.Entry
	size     int // bytes of open, about
	undo     []func()
}

// add gives e its place in the log, unless it is there already.
func (t *txn) add(e logbook.Entry, k key) (Stored, error) {
	seq := t.head.seq + uint64(len(t.open)) + 1
	res, err := t.tx.stmt(t.s.stmts.identity).Exec(k.identity[:], int64(seq), k.body)
	if err != nil {
		return Stored{}, err
	}
	if n, err := res.RowsAffected(); err != nil || n == 0 {
		return t.known(k, err)
	}
	h := e.Head()
	before := *h
	t.undo = append(t.undo, func() { *h = before })
	h.Seq, h.Received, h.V = seq, t.received, logbook.Version
	if r, ok := e.(*logbook.Reading); ok {
		if err := t.index(r); err != nil {
			return Stored{}, err
		}
		t.size += 64 + len(r.Channel) + len(r.Fault) + len(r.ID)
	} else {
		b, err := logbook.Encode(e)
		if err != nil {
			return Stored{}, err
		}
		t.size += len(b)
	}
	t.open = append(t.open, e)
	if len(t.open) == logbook.MaxBlockEntries || t.size > logbook.MaxBlockContent/4 {
		return Stored{Seq: seq}, t.flush()
	}
	return Stored{Seq: seq}, nil
}

// known answers for an entry that is there already.
func (t *txn) known(k key, err error) (Stored, error) {
	if err != nil {
		return Stored{}, err
	}
	var seq int64
	var body []byte
	if err := t.tx.stmt(t.s.stmts.known).QueryRow(k.identity[:]).Scan(&seq, &body); err != nil {
		return Stored{}, err
	}
	return Stored{Seq: uint64(seq), Duplicate: true, Differs: k.body != nil && !bytes.Equal(body, k.body)}, nil
}

// index makes a reading findable by channel and time.
func (t *txn) index(r *logbook.Reading) error {
	id, ok := t.s.channels[r.Channel]
	if !ok {
		if _, err := t.tx.stmt(t.s.stmts.channel).Exec(r.Channel); err != nil {
			return err
		}
		if err := t.tx.stmt(t.s.stmts.channelID).QueryRow(r.Channel).Scan(&id); err != nil {
			return err
		}
		t.s.channels[r.Channel] = id
	}
	_, err := t.tx.stmt(t.s.stmts.time).Exec(id, int64(r.Time), int64(r.Seq))
	return err
}

// flush writes the open entries as one block.
func (t *txn) flush() error {
	if len(t.open) == 0 {
		return nil
	}
	h, content, err := logbook.EncodeBlock(t.head.id, t.head.hash, t.open)
	if err != nil {
		return err
	}
	header := h.Encode()
	if _, err := t.tx.stmt(t.s.stmts.block).Exec(int64(h.First), int64(h.Last), header, content); err != nil {
		return err
	}
	if _, err := t.tx.stmt(t.s.stmts.written).Exec(fmt.Sprint(h.Last)); err != nil {
		return err
	}
	t.head.seq, t.head.hash, t.head.received = h.Last, sha256.Sum256(header), h.Received
	t.open, t.size = nil, 0
	return nil
}
