package sqlite

import (
	"context"
	"crypto/rand"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"strconv"
	"sync"
	"syscall"
	"time"

	"undersheet/logbook"
)

// Options say how a logbook is opened. The zero value is right for a daemon.
type Options struct {
	Now      func() time.Time // wall clock; nil: time.Now
	ReadOnly bool             // takes no lock, creates nothing, reads beside a running writer
	LogID    string           // log id of a logbook that is created, 32 hexadecimal digits; empty: random
}

// Head is the end of the log.
type Head struct {
	Seq      uint64       // of the newest entry; 0 = none yet
	Hash     string       // of the newest block's header, hexadecimal; empty = none yet
	LogID    string       // under which the next entry is written
	Received logbook.Time // of the newest entry
}

// Store is an open logbook. Its methods may be called from many goroutines.
type Store struct {
	path  string
	now   func() time.Time
	lock  *os.File // nil when read-only
	write *sql.DB  // one connection; nil when read-only
	read  *sql.DB
	stmts statements

	turn     chan struct{}    // holds one token while somebody writes; guards channels and stale
	channels map[string]int64 // ids in table channels
	stale    bool             // the outcome of a commit is not known: read the head again

	mu      sync.Mutex
	head    head
	changed chan struct{} // closed when head moves
	queue   []*request    // waiting for a commit
	closed  chan struct{}
}

// head is the end of the log as the writer needs it.
type head struct {
	seq      uint64
	hash     logbook.Hash
	id       logbook.LogID
	received logbook.Time
}

// export returns h in the form that callers get.
func (h head) export() Head {
	x := Head{Seq: h.seq, LogID: h.id.String(), Received: h.received}
	if h.seq > 0 {
		x.Hash = h.hash.String()
	}
	return x
}

// Open opens the logbook at path and creates it when there is none, unless
// o.ReadOnly. Another writer gives a *LockedError, a file that is not whole a
// *Damage, a newer program's file logbook.ErrNewer; then nothing was changed.
func Open(path string, o Options) (*Store, error) {
	path, err := resolve(path)
	if err != nil {
		return nil, err
	}
	s := &Store{path: path, now: o.Now, turn: make(chan struct{}, 1), channels: map[string]int64{},
		changed: make(chan struct{}), closed: make(chan struct{})}
	if s.now == nil {
		s.now = time.Now
	}
	if err := s.open(o); err != nil {
		s.release()
		return nil, s.inWords(err)
	}
	return s, nil
}

// resolve returns path as an absolute one without symbolic links, so that one
// logbook has one lock.
func resolve(path string) (string, error) {
	abs, err := filepath.Abs(path)
	if err != nil {
		return "", fmt.Errorf("open logbook %q: %w", path, err)
	}
	if real, err := filepath.EvalSymlinks(abs); err == nil {
		return real, nil
	}
	if dir, err := filepath.EvalSymlinks(filepath.Dir(abs)); err == nil {
		return filepath.Join(dir, filepath.Base(abs)), nil
	}
	return abs, nil
}

// open does the work of Open; what it opened is released by its caller after an error.
func (s *Store) open(o Options) (err error) {
	if !o.ReadOnly {
		if s.lock, err = lock(s.path); err != nil {
			return err
		}
	}
	switch err := inspect(s.path); {
	case errors.Is(err, fs.ErrNotExist) && !o.ReadOnly:
		if err := create(s.path, o.LogID); err != nil {
			return fmt.Errorf("create logbook %q: %w", s.path, inWords(s.path, err))
		}
	case err != nil:
		return err
	}
	s.read = connect(s.path, readOnly(s.path))
	if err := s.start(s.read); err != nil || o.ReadOnly {
		return err
	}
	if err := s.read.Close(); err != nil { // it was looked at without a change; now it is ours
		return err
	}
	s.write = connect(s.path, url.Values{"_pragma": {"busy_timeout(5000)", "journal_mode(WAL)", "synchronous(FULL)"},
		"_txlock": {"immediate"}})
	s.write.SetMaxOpenConns(1)
	s.read = connect(s.path, url.Values{"_pragma": {"busy_timeout(5000)", "query_only(1)"}})
	s.read.SetMaxOpenConns(4) // pages, report, forward and the fold read side by side
	if err := s.checkDurable(); err != nil {
		return err
	}
	if err := s.start(s.write); err != nil {
		return err
	}
	return s.stmts.prepare(s.write)
}

// readOnly returns the settings of a reader that runs beside a writer, or on a
// file on a medium that cannot be written.
func readOnly(path string) url.Values {
	q := url.Values{"mode": {"ro"}, "_pragma": {"busy_timeout(5000)", "query_only(1)"}}
	wal, err := os.Stat(path + "-wal")
	const writable = 2
	if (err != nil || wal.Size() == 0) && syscall.Access(filepath.Dir(path), writable) != nil {
		q.Set("immutable", "1")
	}
	return q
}

// connect returns the database at path; it is opened at the first use.
func connect(path string, q url.Values) *sql.DB {
	db, err := sql.Open("sqlite", "file:"+(&url.URL{Path: path}).EscapedPath()+"?"+q.Encode())
	if err != nil {
		panic(err) // only when the driver is not linked in
	}
	return db
}

// checkDurable makes sure that a commit is on the disk when it returns.
func (s *Store) checkDurable() error {
	var mode string
	var sync int
	if err := s.write.QueryRow("PRAGMA journal_mode").Scan(&mode); err != nil {
		return err
	}
	if err := s.write.QueryRow("PRAGMA synchronous").Scan(&sync); err != nil {
		return err
	}
	if mode != "wal" || sync != 2 {
		return fmt.Errorf("open logbook %q: it runs with journal_mode %s and synchronous %d, want wal and 2 (FULL): put it on a local disk", s.path, mode, sync)
	}
	return nil
}

// start reads the versions and the head, and refuses what it cannot go on from.
func (s *Store) start(db *sql.DB) error {
	var v int
	if err := db.QueryRow("PRAGMA user_version").Scan(&v); err != nil {
		return err
	}
	if err := checkVersion(s.path, v); err != nil {
		return err
	}
	entries, err := metaNumber(context.Background(), db, "entries")
	if err != nil {
		return err
	}
	if entries > logbook.Version {
		return fmt.Errorf("open logbook %q: its entries have version %d, this program knows %d: %w", s.path, entries, logbook.Version, logbook.ErrNewer)
	}
	if s.head, err = s.loadHead(context.Background(), db); err != nil {
		return err
	}
	if s.write == nil {
		return nil
	}
	if entries < logbook.Version {
		_, err = db.Exec("UPDATE meta SET value = ? WHERE key = 'entries'", strconv.Itoa(logbook.Version))
	}
	return err
}

// querier is a database or a transaction.
type querier interface {
	QueryRowContext(ctx context.Context, query string, args ...any) *sql.Row
	QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error)
}

// metaNumber reads a number of the table meta.
func metaNumber(ctx context.Context, q querier, key string) (n uint64, err error) {
	if err = q.QueryRowContext(ctx, "SELECT value FROM meta WHERE key = ?", key).Scan(&n); err != nil {
		return 0, fmt.Errorf("read %s of the logbook: %w", key, err)
	}
	return n, nil
}

// loadHead reads the log id and the last block, whose content it checks: a log
// whose end is not whole must not be gone on with.
func (s *Store) loadHead(ctx context.Context, q querier) (h head, err error) {
	var id string
	if err := q.QueryRowContext(ctx, "SELECT value FROM meta WHERE key = 'log'").Scan(&id); err != nil {
		return h, fmt.Errorf("read log id of the logbook: %w", err)
	}
	if h.id, err = logbook.ParseLogID(id); err != nil {
		return h, &Damage{Path: s.path, What: "its log id cannot be read", Do: doRestore, Err: err}
	}
	known, err := knownSeq(ctx, q)
	if err != nil {
		return h, err
	}
	b, err := scanBlock(q.QueryRowContext(ctx, "SELECT first, last, header, content FROM blocks ORDER BY first DESC LIMIT 1"))
	if errors.Is(err, sql.ErrNoRows) {
		b, err = block{}, nil
	}
	if err == nil && b.last > 0 {
		_, err = b.open()
	}
	switch {
	case errors.Is(err, logbook.ErrNewer):
		return h, fmt.Errorf("open logbook %q: %w", s.path, err)
	case errors.Is(err, logbook.ErrBlockDamaged):
		return h, &Damage{Path: s.path, Seq: b.first, What: "its last block is not whole", Do: doRestore, Err: err}
	case err != nil:
		return h, err
	case b.last < known:
		return h, &Damage{Path: s.path, Seq: b.last + 1, Do: doRestore,
			What: fmt.Sprintf("its end is torn off: entries up to seq %d were committed, the last block ends at %d", known, b.last)}
	case b.last == 0:
		return h, nil
	}
	h.seq, h.hash, h.received = b.last, b.header.Hash(), b.header.Received
	return h, nil
}

// knownSeq returns the highest seq that anything beside the blocks speaks of.
func knownSeq(ctx context.Context, q querier) (uint64, error) {
	judged, err := metaNumber(ctx, q, "judged")
	if err != nil {
		return 0, err
	}
	written, err := metaNumber(ctx, q, "written")
	return max(judged, written), err
}

// create makes an empty logbook at path, whole or not at all.
func create(path, id string) error {
	if id == "" {
		var l logbook.LogID
		rand.Read(l[:]) // never fails: it ends the program instead
		id = l.String()
	}
	if _, err := logbook.ParseLogID(id); err != nil {
		return err
	}
	temp := path + ".new"
	sweep(temp)
	defer sweep(temp)
	db := connect(temp, url.Values{"_pragma": {"synchronous(FULL)"}})
	_, err := db.Exec(schema, "log", id, "entries", strconv.Itoa(logbook.Version), "judged", "0", "written", "0")
	if err := errors.Join(err, db.Close()); err != nil {
		return err
	}
	if err := os.Chmod(temp, 0o640); err != nil {
		return err
	}
	return publish(temp, path)
}

// Close waits for a commit that is under way and closes the logbook.
func (s *Store) Close() error {
	s.mu.Lock()
	select {
	case <-s.closed:
		s.mu.Unlock()
		return nil
	default:
		close(s.closed)
	}
	s.mu.Unlock()
	s.turn <- struct{}{} // never given back: nobody writes again
	return s.release()
}

// release closes what is open, the lock last.
func (s *Store) release() error {
	var errs []error
	s.stmts.close()
	for _, db := range []*sql.DB{s.read, s.write} { // the writer last: it tidies the log away
		if db != nil {
			errs = append(errs, db.Close())
		}
	}
	if s.lock != nil {
		errs = append(errs, s.lock.Close())
	}
	return errors.Join(errs...)
}

// Path returns the path of the logbook, absolute and without symbolic links.
func (s *Store) Path() string { return s.path }

// Head returns the end of the log.
func (s *Store) Head(ctx context.Context) (Head, error) {
	if s.write == nil {
		h, err := s.loadHead(ctx, s.read)
		return h.export(), s.inWords(err)
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.head.export(), nil
}

// Wait returns when the log has entries after seq after. A read-only Store
// cannot wait.
func (s *Store) Wait(ctx context.Context, after uint64) error {
	if s.write == nil {
		return fmt.Errorf("wait for entries of logbook %q: it is open for reading only: %w", s.path, errors.ErrUnsupported)
	}
	for {
		s.mu.Lock()
		seq, changed := s.head.seq, s.changed
		s.mu.Unlock()
		if seq > after {
			return nil
		}
		select {
		case <-changed:
		case <-s.closed:
			return ErrClosed
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}

// ClockBehind reports whether the wall clock stands before the newest entry's
// received time, as on a board without a battery clock. Entries are still taken
// and get that received time; every gate must stay shut meanwhile.
func (s *Store) ClockBehind() bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	return logbook.At(s.now()) < s.head.received
}
