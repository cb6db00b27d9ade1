package port

import (
	"errors"
	"fmt"
	"io/fs"
	"syscall"
	"time"

	"go.bug.st/serial"
)

// maxDescriptor is the highest file descriptor with which a serial device is
// opened. The serial library waits with select(2), which cannot take
// descriptors from 1024 on; some room is left for those it opens itself.
const maxDescriptor = 1000

// Device is an open serial device. Read returns 0 and nil when the read timeout passed.
type Device interface {
	Read(b []byte) (int, error)
	Write(b []byte) (int, error)
	SetReadTimeout(d time.Duration) error
	ResetInputBuffer() error
	Close() error
}

// exclusive is a serial device that holds an advisory lock on itself.
type exclusive struct {
	serial.Port
	lock int // descriptor that holds the lock
}

// OpenDevice opens the device of c for this process alone. Its errors say what
// a person at the machine can do.
//
// A flock(2) on the device itself keeps a second opener out: the lock follows
// every name of the device and ends with the process, and it also stops root,
// which TIOCEXCL (set by the serial library as well) lets pass.
func OpenDevice(c Config) (Device, error) {
	lock, err := lockDevice(c.Device)
	if err != nil {
		return nil, explain(c.Device, err)
	}
	p, err := serial.Open(c.Device, c.mode())
	if err != nil {
		_ = syscall.Close(lock)
		return nil, explain(c.Device, err)
	}
	return &exclusive{Port: p, lock: lock}, nil
}

// lockDevice opens path without waiting for a carrier and locks it; the lock
// lasts until the returned descriptor is closed.
func lockDevice(path string) (int, error) {
	fd, err := syscall.Open(path, syscall.O_RDWR|syscall.O_NOCTTY|syscall.O_NONBLOCK|syscall.O_CLOEXEC, 0)
	if err != nil {
		return 0, err
	}
	if fd > maxDescriptor {
		_ = syscall.Close(fd)
		return 0, syscall.EMFILE
	}
	if err := syscall.Flock(fd, syscall.LOCK_EX|syscall.LOCK_NB); err != nil {
		_ = syscall.Close(fd)
		return 0, err
	}
	return fd, nil
}

// Close drops what is not yet sent, so that the kernel does not wait for it to
// drain, closes the device and gives the lock back.
func (e *exclusive) Close() error {
	_ = e.ResetOutputBuffer()
	err := e.Port.Close()
	_ = syscall.Close(e.lock)
	return err
}

// explain words why the device at path could not be opened, and what to do.
func explain(path string, err error) error {
	var pe *serial.PortError
	code := serial.PortErrorCode(-1)
	if errors.As(err, &pe) {
		code = pe.Code()
	}
	wrap := func(hint string, cause error) error {
		return fmt.Errorf("open serial port %q: %w; %s", path, cause, hint)
	}
	switch {
	case errors.Is(err, fs.ErrNotExist), errors.Is(err, syscall.ENXIO), errors.Is(err, syscall.ENODEV):
		return wrap("check the plug and the name (ls -l /dev/serial/by-id)", err)
	case errors.Is(err, fs.ErrPermission), code == serial.PermissionDenied:
		return wrap("add the user to group dialout (usermod -aG dialout USER) and start again", fs.ErrPermission)
	case errors.Is(err, syscall.EBUSY), errors.Is(err, syscall.EWOULDBLOCK), code == serial.PortBusy:
		return wrap("another program uses it (fuser -v "+path+")", ErrBusy)
	case errors.Is(err, syscall.EMFILE):
		return wrap("too many open files in this process for a serial port", err)
	case code == serial.InvalidSerialPort:
		return wrap("it is no serial device, or its driver refuses these line settings", err)
	}
	return fmt.Errorf("open serial port %q: %w", path, err)
}
