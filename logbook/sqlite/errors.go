package sqlite

import (
	"errors"
	"fmt"

	sqlite "modernc.org/sqlite"
	lib "modernc.org/sqlite/lib"
)

// ErrClosed is returned by calls on a Store after Close.
var ErrClosed = errors.New("the logbook is closed")

// LockedError says that another process writes to the logbook.
type LockedError struct {
	Path string // of the logbook
	PID  int    // of the process that holds it; 0 when it does not say
}

// Error implements error.
func (e *LockedError) Error() string {
	who := "another process"
	if e.PID != 0 {
		who = fmt.Sprintf("process %d", e.PID)
	}
	return fmt.Sprintf("logbook %q is in use by %s: a logbook has one writer.\n"+
		"`undersheet act` and `undersheet import` reach it through %s; for anything else stop that process first", e.Path, who, SocketPath(e.Path))
}

// Damage says what is wrong with a logbook, where, and what to do.
type Damage struct {
	Path  string // of the logbook
	Block int    // number of the block, from 1; 0 when it is not about one block
	Seq   uint64 // first entry concerned; 0 when it is not about entries
	What  string
	Do    string
	Err   error // cause, may be nil
}

// Unwrap returns the cause.
func (d *Damage) Unwrap() error { return d.Err }

// Error implements error.
func (d *Damage) Error() string {
	s := fmt.Sprintf("logbook %q is damaged", d.Path)
	if d.Block != 0 {
		s += fmt.Sprintf(" in block %d", d.Block)
	}
	if d.Seq != 0 {
		s += fmt.Sprintf(" at seq %d", d.Seq)
	}
	s += ": " + d.What
	if d.Err != nil {
		s += ": " + d.Err.Error()
	}
	if d.Do != "" {
		s += ".\n" + d.Do
	}
	return s
}

// doRestore is what to do about most damage.
const doRestore = "Keep a copy of the file as it is, then restore the newest backup with `undersheet restore`; until then every gate counts as shut"

// inWords puts an error of the database into words for the people at the depot.
func (s *Store) inWords(err error) error { return inWords(s.path, err) }

// inWords turns what SQLite says of the file at path into what people can act on.
func inWords(path string, err error) error {
	var se *sqlite.Error
	if !errors.As(err, &se) {
		return err
	}
	switch se.Code() & 0xff {
	case lib.SQLITE_CORRUPT:
		return &Damage{Path: path, What: "pages of the database file are missing or overwritten", Do: doRestore, Err: err}
	case lib.SQLITE_NOTADB:
		return &Damage{Path: path, What: "the file is not an SQLite database", Do: doRestore, Err: err}
	case lib.SQLITE_FULL:
		return fmt.Errorf("write logbook %q: the disk is full, nothing of this commit was kept: make room: %w", path, err)
	case lib.SQLITE_IOERR:
		return fmt.Errorf("logbook %q: the disk reports an error, nothing of this commit counts as kept: check the disk: %w", path, err)
	case lib.SQLITE_READONLY, lib.SQLITE_CANTOPEN, lib.SQLITE_PERM:
		return fmt.Errorf("open logbook %q: no permission or a missing folder: %w", path, err)
	}
	return fmt.Errorf("logbook %q: %w", path, err)
}
