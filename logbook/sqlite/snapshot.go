package sqlite

import (
	"bytes"
	"context"
	"crypto/sha256"
	"database/sql"
	"errors"
	"fmt"
)

// keepSnapshots is how many snapshots stay: the newest may prove useless.
const keepSnapshots = 2

// Snapshot is a state of the fold, kept to start faster. It can be thrown away
// at any time.
type Snapshot struct {
	Build      string // names the very build of the program that made it
	ConfigHash string
	Seq        uint64 // last entry folded
	Hash       string // of the header of the block that holds Seq; empty in SaveSnapshot: looked up
	Data       []byte
}

// SaveSnapshot keeps snap and drops all but the newest two.
func (s *Store) SaveSnapshot(ctx context.Context, snap Snapshot) error {
	hash, err := s.hashAt(ctx, s.read, snap.Seq)
	if err != nil {
		return fmt.Errorf("save snapshot: %w", s.inWords(err))
	}
	if snap.Hash != "" && snap.Hash != hash {
		return fmt.Errorf("save snapshot at seq %d: its block has the hash %s, not %s", snap.Seq, hash, snap.Hash)
	}
	return s.exclusive(ctx, "save snapshot", func(t *txn) error {
		sum := sha256.Sum256(snap.Data)
		_, err := t.tx.ExecContext(ctx, "INSERT INTO snapshots (program, config, log, seq, hash, sum, data) VALUES (?, ?, ?, ?, ?, ?, ?)",
			snap.Build, snap.ConfigHash, t.head.id.String(), int64(snap.Seq), hash, sum[:], append([]byte{}, snap.Data...))
		if err != nil {
			return err
		}
		_, err = t.tx.ExecContext(ctx, "DELETE FROM snapshots WHERE id NOT IN (SELECT id FROM snapshots ORDER BY id DESC LIMIT ?)", keepSnapshots)
		return err
	})
}

// LoadSnapshot returns the newest snapshot of this build, configuration and
// log whose data is whole and whose block is still the one it was made of; nil
// when there is none. A snapshot that is not right is passed over.
func (s *Store) LoadSnapshot(ctx context.Context, build, configHash string) (*Snapshot, error) {
	h, err := s.Head(ctx)
	if err != nil {
		return nil, err
	}
	for skip := 0; ; skip++ {
		snap := &Snapshot{Build: build, ConfigHash: configHash}
		var seq int64
		var sum []byte
		err := s.read.QueryRowContext(ctx, `SELECT seq, hash, sum, data FROM snapshots WHERE program = ? AND config = ? AND log = ?
			ORDER BY seq DESC, id DESC LIMIT 1 OFFSET ?`, build, configHash, h.LogID, skip).Scan(&seq, &snap.Hash, &sum, &snap.Data)
		if errors.Is(err, sql.ErrNoRows) {
			return nil, nil
		}
		if err != nil {
			return nil, s.inWords(fmt.Errorf("load snapshot: %w", err))
		}
		snap.Seq = uint64(seq)
		want := sha256.Sum256(snap.Data)
		if hash, err := s.hashAt(ctx, s.read, snap.Seq); err == nil && hash == snap.Hash && bytes.Equal(sum, want[:]) {
			return snap, nil
		}
	}
}

// LogAt returns under which log id the entry with this seq was written, and the hash of
// the header of the block that holds it.
func (s *Store) LogAt(ctx context.Context, seq uint64) (logID, hash string, err error) {
	b, err := s.headerAt(ctx, s.read, seq)
	if err != nil {
		return "", "", s.inWords(err)
	}
	return b.header.LogID.String(), b.header.Hash().String(), nil
}

// hashAt returns the hash of the block that holds the entry with this seq.
func (s *Store) hashAt(ctx context.Context, q querier, seq uint64) (string, error) {
	b, err := s.headerAt(ctx, q, seq)
	if err != nil {
		return "", err
	}
	return b.header.Hash().String(), nil
}

// headerAt reads the block that holds the entry with this seq, without its content.
func (s *Store) headerAt(ctx context.Context, q querier, seq uint64) (block, error) {
	b, err := scanBlock(q.QueryRowContext(ctx, "SELECT first, last, header, x'' FROM blocks WHERE first <= ? ORDER BY first DESC LIMIT 1", int64(seq)))
	if errors.Is(err, sql.ErrNoRows) || err == nil && seq > b.last {
		return b, fmt.Errorf("the log has no entry with seq %d", seq)
	}
	if err == nil {
		err = b.decodeHeader()
	}
	return b, err
}
