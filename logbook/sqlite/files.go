package sqlite

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"

	"undersheet/logbook"
)

// Marks of the database file.
const (
	applicationID = 0x55534C42 // "USLB"
	fileVersion   = 1
)

// SocketPath returns the path of the unix socket beside the logbook at path.
func SocketPath(path string) string { return path + ".sock" }

// LockPath returns the path of the lock file beside the logbook at path.
func LockPath(path string) string { return path + ".lock" }

// lock takes the lock file of the logbook at path for the life of the returned file.
func lock(path string) (*os.File, error) {
	f, err := os.OpenFile(LockPath(path), os.O_RDWR|os.O_CREATE, 0o660)
	if err != nil {
		return nil, fmt.Errorf("lock logbook %q: %w", path, err)
	}
	if err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB); err != nil {
		defer f.Close()
		if !errors.Is(err, syscall.EWOULDBLOCK) {
			return nil, fmt.Errorf("lock logbook %q: %w", path, err)
		}
		b, _ := io.ReadAll(io.LimitReader(f, 32))
		pid, _ := strconv.Atoi(strings.TrimSpace(string(b)))
		return nil, &LockedError{Path: path, PID: pid}
	}
	err = f.Truncate(0)
	if err == nil {
		_, err = f.WriteAt([]byte(strconv.Itoa(os.Getpid())+"\n"), 0)
	}
	if err != nil {
		f.Close()
		return nil, fmt.Errorf("lock logbook %q: write the process id: %w", path, err)
	}
	return f, nil
}

// inspect looks at the first bytes of the file at path, without the database.
// A missing file gives fs.ErrNotExist.
func inspect(path string) error {
	f, err := os.Open(path)
	if errors.Is(err, fs.ErrNotExist) {
		if _, werr := os.Stat(path + "-wal"); werr == nil {
			return &Damage{Path: path, What: fmt.Sprintf("the file is gone but %q is still there", path+"-wal"), Do: doRestore}
		}
	}
	if err != nil {
		return fmt.Errorf("open logbook: %w", err)
	}
	defer f.Close()
	b := make([]byte, 100)
	n, err := io.ReadFull(f, b)
	switch {
	case n == 0 && err == io.EOF:
		return &Damage{Path: path, What: "the file is empty, and this program never leaves an empty file", Do: doRestore}
	case err != nil && !errors.Is(err, io.ErrUnexpectedEOF):
		return fmt.Errorf("open logbook: %w", err)
	case n < len(b) || string(b[:16]) != "SQLite format 3\x00" || binary.BigEndian.Uint32(b[68:]) != applicationID:
		return &Damage{Path: path, What: "the file does not begin like a logbook", Do: "Check the path. If it is the right one: " + doRestore}
	}
	return checkVersion(path, int(int32(binary.BigEndian.Uint32(b[60:]))))
}

// checkVersion refuses a file that a newer program wrote.
func checkVersion(path string, v int) error {
	if v > fileVersion {
		return fmt.Errorf("open logbook %q: file version %d, this program knows %d: %w", path, v, fileVersion, logbook.ErrNewer)
	}
	return nil
}

// syncFile makes the file at path durable.
func syncFile(path string) error {
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		return fmt.Errorf("sync: %w", err)
	}
	defer f.Close()
	return f.Sync()
}

// publish makes the finished file temp durable under its name path, which must
// not exist yet.
func publish(temp, path string) error {
	if err := syncFile(temp); err != nil {
		return err
	}
	// A link, unlike a rename, never replaces a file that came meanwhile.
	if err := os.Link(temp, path); err != nil {
		if errors.Is(err, fs.ErrExist) {
			return fmt.Errorf("write %q: the file exists already", path)
		}
		if err := os.Rename(temp, path); err != nil { // a file system without links
			return err
		}
	}
	os.Remove(temp)
	d, err := os.Open(filepath.Dir(path))
	if err != nil {
		return fmt.Errorf("sync folder: %w", err)
	}
	defer d.Close()
	return d.Sync()
}

// sweep removes a temporary database and what stands beside it.
func sweep(temp string) {
	for _, end := range []string{"", "-wal", "-shm", "-journal", ".lock"} {
		os.Remove(temp + end)
	}
}
