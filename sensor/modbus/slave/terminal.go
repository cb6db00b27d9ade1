package slave

import (
	"fmt"
	"os"
	"syscall"

	"github.com/creack/pty"
	"golang.org/x/term"
)

// Terminal is a pseudo-terminal in raw mode: a serial device made by software.
// A master opens it by its Name; what it writes is read here, and the other way
// round. Close ends a Read.
type Terminal struct {
	*os.File          // the near end
	far      *os.File // held open, so that the device stays when a master closes it
}

// OpenTerminal makes a new pseudo-terminal.
func OpenTerminal() (*Terminal, error) {
	near, far, err := pty.Open()
	if err != nil {
		return nil, fmt.Errorf("open pseudo-terminal: %w", err)
	}
	defer near.Close() // its descriptor blocks, and Close would not end a Read; a copy takes its place
	fd, err := nonblocking(near)
	if err == nil {
		_, err = term.MakeRaw(int(far.Fd()))
	}
	if err != nil {
		_ = far.Close()
		return nil, fmt.Errorf("open pseudo-terminal: %w", err)
	}
	return &Terminal{File: os.NewFile(uintptr(fd), near.Name()), far: far}, nil
}

// nonblocking returns a copy of f's descriptor that a Close can interrupt.
func nonblocking(f *os.File) (int, error) {
	fd, err := syscall.Dup(int(f.Fd()))
	if err != nil {
		return 0, err
	}
	syscall.CloseOnExec(fd)
	return fd, syscall.SetNonblock(fd, true)
}

// Name is the path of the device for the master, e.g. "/dev/pts/3".
func (t *Terminal) Name() string { return t.far.Name() }

// Close removes the device; a master that has it open sees it disappear.
func (t *Terminal) Close() error {
	_ = t.far.Close()
	return t.File.Close()
}
