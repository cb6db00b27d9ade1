package port_test

import (
	"context"
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"testing/synctest"
	"time"

	"github.com/creack/pty"
	"github.com/stretchr/testify/require"

	"undersheet/sensor/port"
	"undersheet/sensor/port/porttest"
)

func soon() time.Time { return time.Now().Add(5 * time.Second) }

func open(t *testing.T, device string, o port.Options) *port.Port {
	t.Helper()
	p := port.New(port.Config{Device: device}, o)
	t.Cleanup(func() { p.Close() })
	require.NoError(t, p.Open(t.Context(), func(err error) { t.Log(err) }))
	return p
}

func readAll(t *testing.T, p *port.Port, n int) string {
	t.Helper()
	require.NoError(t, p.SetReadDeadline(soon()))
	var got []byte
	buf := make([]byte, 64)
	for len(got) < n {
		k, err := p.Read(buf)
		require.NoError(t, err)
		got = append(got, buf[:k]...)
	}
	return string(got)
}

func TestBytesGoThrough(t *testing.T) {
	pair := porttest.NewPair(t)
	a, b := open(t, pair.A, port.Options{}), open(t, pair.B, port.Options{})
	n, err := a.Write([]byte("\x00\x11\x13\r\nhello\xff"))
	require.NoError(t, err)
	require.Equal(t, 11, n)
	require.Equal(t, "\x00\x11\x13\r\nhello\xff", readAll(t, b, 11), "raw: no byte is eaten or changed")
}

func TestTapShowsBothWays(t *testing.T) {
	pair := porttest.NewPair(t)
	var shown []string
	a := open(t, pair.A, port.Options{Tap: func(sent bool, b []byte) {
		shown = append(shown, map[bool]string{true: "> ", false: "< "}[sent]+string(b))
	}})
	b := open(t, pair.B, port.Options{})
	_, err := a.Write([]byte("ask"))
	require.NoError(t, err)
	require.Equal(t, "ask", readAll(t, b, 3))
	_, err = b.Write([]byte("!"))
	require.NoError(t, err)
	require.Equal(t, "!", readAll(t, a, 1))
	require.Equal(t, []string{"> ask", "< !"}, shown)
}

func TestReadGivesUpAtItsDeadline(t *testing.T) {
	p := open(t, porttest.NewPair(t).A, port.Options{MaxRead: 20 * time.Millisecond})
	for _, deadline := range []time.Time{{}, time.Now().Add(-time.Hour), time.Now().Add(120 * time.Millisecond)} {
		require.NoError(t, p.SetReadDeadline(deadline))
		_, err := p.Read(make([]byte, 1))
		require.ErrorIs(t, err, os.ErrDeadlineExceeded)
		require.False(t, time.Now().Before(deadline))
	}
}

func TestDiscardDropsWhatCame(t *testing.T) {
	pair := porttest.NewPair(t)
	a, b := open(t, pair.A, port.Options{}), open(t, pair.B, port.Options{})
	_, err := a.Write([]byte("noise"))
	require.NoError(t, err)
	require.Equal(t, "n", readAll1(t, b), "the noise is there")
	require.NoError(t, b.Discard())
	_, err = a.Write([]byte("frame"))
	require.NoError(t, err)
	require.Equal(t, "frame", readAll(t, b, 5))
}

// readAll1 reads one byte and leaves the rest.
func readAll1(t *testing.T, p *port.Port) string {
	t.Helper()
	require.NoError(t, p.SetReadDeadline(soon()))
	one := make([]byte, 1)
	_, err := p.Read(one)
	require.NoError(t, err)
	return string(one)
}

func TestCloseUnblocksRead(t *testing.T) {
	p := open(t, porttest.NewPair(t).A, port.Options{MaxRead: time.Hour})
	ended := make(chan error)
	go func() {
		_, err := p.Read(make([]byte, 1))
		ended <- err
	}()
	require.NoError(t, p.Close())
	select {
	case err := <-ended:
		require.ErrorIs(t, err, os.ErrClosed)
	case <-time.After(2 * time.Second):
		t.Fatal("Read still blocks 2 s after Close")
	}
	require.NoError(t, p.Close(), "a second Close does nothing")
	require.ErrorIs(t, p.Open(t.Context(), nil), os.ErrClosed)
	_, err := p.Write([]byte("x"))
	require.ErrorIs(t, err, os.ErrClosed)
}

func TestUnpluggedDeviceIsOpenedAgain(t *testing.T) {
	pair := porttest.NewPair(t)
	p := open(t, pair.A, port.Options{FirstWait: time.Millisecond, LongWait: 20 * time.Millisecond})
	pair.Unplug()
	require.NoError(t, p.SetReadDeadline(soon()))
	_, err := p.Read(make([]byte, 1))
	require.ErrorIs(t, err, port.ErrGone)
	_, err = p.Write([]byte("x"))
	require.ErrorIs(t, err, port.ErrNotOpen)
	require.ErrorIs(t, p.Discard(), port.ErrNotOpen)

	ctx, cancel := context.WithCancel(t.Context())
	var reasons []error
	err = p.Open(ctx, func(err error) { reasons = append(reasons, err); cancel() })
	require.ErrorIs(t, err, context.Canceled)
	require.Len(t, reasons, 1)
	require.ErrorIs(t, reasons[0], os.ErrNotExist)

	pair.Plug()
	require.NoError(t, p.Open(t.Context(), nil))
	other := open(t, pair.B, port.Options{})
	_, err = other.Write([]byte("back"))
	require.NoError(t, err)
	require.Equal(t, "back", readAll(t, p, 4))
}

func TestWriteToAnUnpluggedDevice(t *testing.T) {
	pair := porttest.NewPair(t)
	p := open(t, pair.A, port.Options{})
	pair.Unplug()
	_, err := p.Write([]byte("x"))
	require.ErrorIs(t, err, port.ErrGone)
}

func TestASecondOpenerIsKeptOut(t *testing.T) {
	pair := porttest.NewPair(t)
	p := open(t, pair.A, port.Options{})
	link := filepath.Join(t.TempDir(), "other name")
	require.NoError(t, os.Symlink(pair.A, link))
	for _, name := range []string{pair.A, link} {
		_, err := port.OpenDevice(port.Config{Device: name})
		require.ErrorIs(t, err, port.ErrBusy)
		require.ErrorContains(t, err, "another program uses it")
	}
	require.NoError(t, p.Close())
	d, err := port.OpenDevice(port.Config{Device: pair.A})
	require.NoError(t, err, "free again after Close")
	require.NoError(t, d.Close())
}

func TestOpenErrorsSayWhatToDo(t *testing.T) {
	dir := t.TempDir()
	file := filepath.Join(dir, "file")
	require.NoError(t, os.WriteFile(file, nil, 0o600))
	_, err := port.OpenDevice(port.Config{Device: filepath.Join(dir, "none")})
	require.ErrorIs(t, err, os.ErrNotExist)
	require.ErrorContains(t, err, "check the plug and the name")
	_, err = port.OpenDevice(port.Config{Device: file})
	require.ErrorContains(t, err, "it is no serial device")
	if os.Getuid() != 0 { // root may open everything; the wording is pinned in TestExplain
		require.NoError(t, os.Chmod(file, 0))
		_, err = port.OpenDevice(port.Config{Device: file})
		require.ErrorContains(t, err, "dialout")
	}
}

// A write that hangs in the driver for longer than the device is held.
func TestHangingWriteEnds(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		h := &hanging{release: make(chan struct{})}
		p := port.New(port.Config{Device: "stuck"}, port.Options{OpenDevice: h.open})
		require.NoError(t, p.Open(t.Context(), nil))
		start := time.Now()
		_, err := p.Write([]byte("x"))
		require.ErrorIs(t, err, port.ErrGone)
		require.Equal(t, 2*time.Second, time.Since(start))

		var reason error
		time.AfterFunc(time.Minute, func() { close(h.release) })
		require.NoError(t, p.Open(t.Context(), func(err error) { reason = err }))
		require.ErrorContains(t, reason, "an earlier write still hangs")
		require.Equal(t, 2, h.opened, "no second device while the first write hangs")
		require.NoError(t, p.Close())
	})
}

// The same on a pseudo-terminal whose other end does not read, so that the
// kernel's buffer fills.
func TestHangingWriteOnARealTerminal(t *testing.T) {
	master, tty, err := pty.Open()
	require.NoError(t, err)
	defer master.Close()
	defer tty.Close()
	p := open(t, tty.Name(), port.Options{MaxWrite: 100 * time.Millisecond, FirstWait: time.Millisecond})
	_, err = p.Write(make([]byte, 1<<20))
	require.ErrorIs(t, err, port.ErrGone)

	go io.Copy(io.Discard, master) // ends when the terminal is closed
	require.NoError(t, p.Open(t.Context(), func(err error) { t.Log(err) }))
	_, err = p.Write([]byte("x"))
	require.NoError(t, err)
}

// hanging is a device whose first write hangs until release is closed.
type hanging struct {
	release chan struct{}
	opened  int
}

func (h *hanging) open(port.Config) (port.Device, error) { h.opened++; return h, nil }
func (h *hanging) Read([]byte) (int, error)              { return 0, nil }
func (h *hanging) Write(b []byte) (int, error)           { <-h.release; return len(b), nil }
func (h *hanging) SetReadTimeout(time.Duration) error    { return nil }
func (h *hanging) ResetInputBuffer() error               { return nil }
func (h *hanging) Close() error                          { return nil }

// Expected waits: doubling from the first to the longest, each ±50 % (the
// formula in the doc of cenkalti/backoff v5, ExponentialBackOff).
func TestWaitsGrowAndShrink(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var tries []time.Time
		missing := true
		gone := &fake{}
		open := func(port.Config) (port.Device, error) {
			tries = append(tries, time.Now())
			if missing {
				return nil, &os.PathError{Op: "open", Path: "x", Err: syscall.ENOENT}
			}
			return gone, nil
		}
		p := port.New(port.Config{Device: "x"}, port.Options{OpenDevice: open, FirstWait: time.Second, LongWait: 8 * time.Second})
		ctx, cancel := context.WithTimeout(t.Context(), 10*time.Minute)
		defer cancel()
		calls := 0
		require.ErrorIs(t, p.Open(ctx, func(error) { calls++ }), context.DeadlineExceeded)
		require.Equal(t, 1, calls, "the same reason is told once")
		require.Greater(t, len(tries), 30)
		for i, mean := range []float64{1, 2, 4, 8, 8, 8, 8} {
			wait := tries[i+1].Sub(tries[i]).Seconds()
			require.InDelta(t, mean, wait, mean/2+1e-6, "wait %d", i)
		}

		// Opened, but it dies before it gave a byte: no hot loop.
		missing = false
		require.NoError(t, p.Open(t.Context(), nil))
		_, err := p.Read(make([]byte, 1))
		require.ErrorIs(t, err, port.ErrGone)
		before := time.Now()
		require.NoError(t, p.Open(t.Context(), nil))
		require.GreaterOrEqual(t, time.Since(before), 4*time.Second)

		// It gave a byte before it died: short waits again.
		gone.bytes = 1
		_, err = p.Read(make([]byte, 1))
		require.NoError(t, err)
		_, err = p.Read(make([]byte, 1))
		require.ErrorIs(t, err, port.ErrGone)
		before = time.Now()
		require.NoError(t, p.Open(t.Context(), nil))
		require.LessOrEqual(t, time.Since(before), 1500*time.Millisecond)
		require.NoError(t, p.Close())
	})
}

// fake is a device that gives some bytes and then an error.
type fake struct{ bytes int }

func (f *fake) Read([]byte) (int, error) {
	if f.bytes == 0 {
		return 0, syscall.EIO
	}
	f.bytes--
	return 1, nil
}
func (f *fake) Write(b []byte) (int, error)        { return len(b), nil }
func (f *fake) SetReadTimeout(time.Duration) error { return nil }
func (f *fake) ResetInputBuffer() error            { return nil }
func (f *fake) Close() error                       { return nil }

func TestConfigValidate(t *testing.T) {
	require.NoError(t, port.Config{Device: "/dev/ttyUSB0"}.Validate())
	require.NoError(t, port.Config{Device: "x", Baud: 19200, Parity: "even", DataBits: 7, StopBits: 2}.Validate())
	err := port.Config{Baud: 1, DataBits: 9, Parity: "mark", StopBits: 3}.Validate()
	require.Error(t, err)
	require.Len(t, strings.Split(err.Error(), "\n"), 5, "all faults at once")
	require.ErrorContains(t, err, `parity: must be "none", "even" or "odd" (got "mark")`)
}

// A character of 11 bits (start, 8 data, parity, stop) and of 10 without
// parity: MODBUS over Serial Line V1.02, section 2.5.1.
func TestCharTime(t *testing.T) {
	require.Equal(t, time.Second, port.Config{Baud: 1100, Parity: "even"}.CharTime(100))
	require.Equal(t, time.Second, port.Config{Baud: 1000}.CharTime(100))
	require.Equal(t, time.Second, port.Config{Baud: 1100, StopBits: 2}.CharTime(100))
}

func TestOpenStopsWithItsContext(t *testing.T) {
	p := port.New(port.Config{Device: filepath.Join(t.TempDir(), "none")}, port.Options{FirstWait: time.Hour})
	ctx, cancel := context.WithCancel(t.Context())
	err := p.Open(ctx, func(error) { cancel() })
	require.True(t, errors.Is(err, context.Canceled))
}
