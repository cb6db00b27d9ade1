package modem

import (
	"fmt"
	"os"
	"syscall"
	"time"

	"github.com/creack/pty"
	"golang.org/x/term"
)

// writeWithin is how long a reader may leave bytes lying before they are dropped.
const writeWithin = 2 * time.Second

// terminal is a pseudo-terminal in raw mode.
type terminal struct {
	file *os.File // the near end
	far  *os.File // held open, so that the device stays when its user closes it
}

// openTerminal makes a pseudo-terminal.
func openTerminal() (*terminal, error) {
	near, far, err := pty.Open()
	if err != nil {
		return nil, fmt.Errorf("open pseudo-terminal: %w", err)
	}
	defer near.Close() // its descriptor blocks, and a close would not end a read; a copy takes its place
	fd, err := nonblocking(near)
	if err == nil {
		_, err = term.MakeRaw(int(far.Fd()))
	}
	if err != nil {
		_ = far.Close()
		return nil, fmt.Errorf("open pseudo-terminal: %w", err)
	}
	return &terminal{file: os.NewFile(uintptr(fd), near.Name()), far: far}, nil
}

// nonblocking returns a copy of f's descriptor that a close can interrupt.
func nonblocking(f *os.File) (int, error) {
	fd, err := syscall.Dup(int(f.Fd()))
	if err != nil {
		return 0, err
	}
	syscall.CloseOnExec(fd)
	return fd, syscall.SetNonblock(fd, true)
}

// name is the path of the device.
func (t *terminal) name() string { return t.far.Name() }

// write sends raw; what is not taken in time, or by nobody, is lost, as on a wire.
func (t *terminal) write(raw string) {
	_ = t.file.SetWriteDeadline(time.Now().Add(writeWithin))
	_, _ = t.file.WriteString(raw)
}

// close removes the device; a program that has it open sees it disappear.
func (t *terminal) close() {
	_ = t.far.Close()
	_ = t.file.Close()
}
