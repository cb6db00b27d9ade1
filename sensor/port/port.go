// Package port is a serial port that survives its cable: it opens a device for
// this process alone, never blocks for ever, and opens again after the device
// was unplugged and came back.
//
//	p := port.New(port.Config{Device: "/dev/ttyUSB0", Baud: 9600}, port.Options{})
//	defer p.Close()
//	if err := p.Open(ctx, report); err != nil { … }   // waits until there is a device
//	p.Write(request)
//	p.SetReadDeadline(time.Now().Add(300 * time.Millisecond))
//	n, err := p.Read(buf)
//
// Read and Write answer with one of four errors, to be told apart with
// errors.Is: [os.ErrDeadlineExceeded] (nothing came in time), [ErrGone] (the
// device disappeared: call Open again), [ErrNotOpen], and [os.ErrClosed].
//
// One goroutine may read while another writes. It refuses to open a device that
// another program holds. It does not steer an RS-485 transmitter: use an
// adapter, or a driver setting, that switches direction by itself.
package port

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"sync"
	"time"

	"github.com/cenkalti/backoff/v5"
	"go.bug.st/serial"
)

var (
	// ErrGone says that the device disappeared; Open waits for it to come back.
	ErrGone = errors.New("the device disappeared")
	// ErrNotOpen says that Open was not called, or not called again after ErrGone.
	ErrNotOpen = errors.New("not open")
	// ErrBusy says that another program holds the device.
	ErrBusy = errors.New("device busy")
)

const (
	// slice is the longest single wait for a device. Close waits for it, so
	// that no descriptor is closed under a read.
	slice = 50 * time.Millisecond

	defaultMaxRead  = 10 * time.Second
	defaultMaxWrite = 2 * time.Second
	defaultFirst    = 500 * time.Millisecond
	defaultLongest  = 30 * time.Second
)

// Options are a Port's settings that are not the line's.
type Options struct {
	OpenDevice func(Config) (Device, error)           // opens the device; nil = OpenDevice of this package
	After      func(d time.Duration) <-chan time.Time // waits between two tries to open; nil = time.After
	MaxRead    time.Duration                          // longest Read without a deadline of its own; 0 = 10 s
	MaxWrite   time.Duration                          // longest Write; 0 = 2 s; then the device is taken for gone
	FirstWait  time.Duration                          // mean wait after the first failure; 0 = 0.5 s
	LongWait   time.Duration                          // mean wait never grows beyond; 0 = 30 s
	Tap        func(sent bool, b []byte)              // is shown all bytes that were sent and read, and must not keep b; nil = nobody
}

// withDefaults returns o with every zero replaced by its default.
func (o Options) withDefaults() Options {
	if o.OpenDevice == nil {
		o.OpenDevice = OpenDevice
	}
	if o.After == nil {
		o.After = time.After
	}
	set := func(d *time.Duration, def time.Duration) {
		if *d == 0 {
			*d = def
		}
	}
	set(&o.MaxRead, defaultMaxRead)
	set(&o.MaxWrite, defaultMaxWrite)
	set(&o.FirstWait, defaultFirst)
	set(&o.LongWait, defaultLongest)
	return o
}

// Port is a serial port with reopen. Make one with New.
type Port struct {
	cfg  Config
	opt  Options
	done chan struct{} // closed by Close

	use    sync.RWMutex // held for reading while the device is used, for writing to change it
	dev    Device       // nil while not open
	closed bool

	mu       sync.Mutex // guards what follows
	deadline time.Time  // of Read; zero = none
	backoff  *backoff.ExponentialBackOff
	pause    time.Duration   // to be waited before the next try to open
	stuck    <-chan struct{} // closed when a write that had been given up ends; nil = none
}

// New makes a port of c. It opens nothing: call Open.
func New(c Config, o Options) *Port {
	o = o.withDefaults()
	b := backoff.NewExponentialBackOff()
	b.InitialInterval, b.MaxInterval, b.Multiplier, b.RandomizationFactor = o.FirstWait, o.LongWait, 2, 0.5
	b.Reset()
	return &Port{cfg: c.WithDefaults(), opt: o, done: make(chan struct{}), backoff: b}
}

// Config returns the port's settings, defaults filled in.
func (p *Port) Config() Config { return p.cfg }

// Open returns nil once the port is open, at once if it already is. Until then
// it tries again and again, waiting longer each time (exponential backoff with
// jitter, Options.FirstWait to Options.LongWait); the waits shorten again only
// after the device gave a byte. failed, which may be nil, is called for each
// new reason why the device cannot be opened.
//
// It gives up when ctx ends (its error) or the port is closed (os.ErrClosed).
func (p *Port) Open(ctx context.Context, failed func(error)) error {
	said := ""
	for {
		if err := p.waitTurn(ctx); err != nil {
			return err
		}
		err := p.tryOpen()
		if err == nil || errors.Is(err, os.ErrClosed) {
			return err
		}
		if failed != nil && err.Error() != said {
			said = err.Error()
			failed(err)
		}
	}
}

// waitTurn waits the pause that the last failure made due.
func (p *Port) waitTurn(ctx context.Context) error {
	p.mu.Lock()
	pause := p.pause
	p.pause = 0
	p.mu.Unlock()
	if pause > 0 {
		select {
		case <-ctx.Done():
		case <-p.done:
		case <-p.opt.After(pause):
		}
	}
	return ctx.Err()
}

// tryOpen tries once. A failure makes a pause due.
func (p *Port) tryOpen() error {
	p.use.Lock()
	defer p.use.Unlock()
	if p.closed {
		return p.fail("open", os.ErrClosed)
	}
	if p.dev != nil {
		return nil
	}
	dev, err := p.openDevice()
	if err != nil {
		p.punish()
		return err
	}
	p.dev = dev
	return nil
}

// openDevice opens the device, unless a write given up earlier still hangs in it.
func (p *Port) openDevice() (Device, error) {
	p.mu.Lock()
	stuck := p.stuck
	p.mu.Unlock()
	if stuck != nil {
		select {
		case <-stuck:
		default:
			return nil, p.fail("open", errors.New("an earlier write still hangs in the driver; unplug the adapter"))
		}
	}
	return p.opt.OpenDevice(p.cfg)
}

// punish makes the next, longer pause due.
func (p *Port) punish() {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.pause = p.backoff.NextBackOff()
}

// reward shortens the pauses again: the device gave a byte.
func (p *Port) reward() {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.backoff.Reset()
}

// SetReadDeadline sets the time (of the process's own clock) after which Read
// gives up; the zero time stands for Options.MaxRead after the call of Read.
// It never fails; the error is there for the usual form.
func (p *Port) SetReadDeadline(t time.Time) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.deadline = t
	return nil
}

// readDeadline is when a Read that starts now gives up.
func (p *Port) readDeadline() time.Time {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.deadline.IsZero() {
		return time.Now().Add(p.opt.MaxRead)
	}
	return p.deadline
}

// Read reads at least one byte into b, or returns an error of those named in
// the package doc. Bytes that already came are given even when the deadline has
// passed. Close ends it within 50 ms.
func (p *Port) Read(b []byte) (int, error) {
	if len(b) == 0 {
		return 0, nil
	}
	deadline := p.readDeadline()
	for {
		left := time.Until(deadline)
		n, err := p.readSlice(b, max(0, min(left, slice)))
		if n > 0 || err != nil {
			return n, err
		}
		if left <= slice {
			return 0, p.fail("read", os.ErrDeadlineExceeded)
		}
	}
}

// readSlice reads what comes within wait; 0 and nil when nothing came.
func (p *Port) readSlice(b []byte, wait time.Duration) (int, error) {
	n := 0
	err := p.with("read", func(dev Device) (err error) {
		if err = dev.SetReadTimeout(wait); err == nil {
			n, err = dev.Read(b)
		}
		return err
	})
	if n > 0 {
		p.reward()
		p.tap(false, b[:n])
	}
	return n, err
}

// Discard drops every byte that came and was not read.
func (p *Port) Discard() error {
	return p.with("discard input of", Device.ResetInputBuffer)
}

// Write sends all of b. It waits no longer than Options.MaxWrite; a device that
// took nothing for so long is given up with ErrGone.
func (p *Port) Write(b []byte) (int, error) {
	n := 0
	err := p.with("write", func(dev Device) (err error) {
		n, err = p.writeWithin(dev, b)
		return err
	})
	if n > 0 {
		p.tap(true, b[:n])
	}
	return n, err
}

// tap shows bytes to whoever listens in.
func (p *Port) tap(sent bool, b []byte) {
	if p.opt.Tap != nil {
		p.opt.Tap(sent, b)
	}
}

// writeWithin writes b to dev. The write runs on its own, because nothing can
// end a write(2) to a serial device from outside; it works on a copy of b.
func (p *Port) writeWithin(dev Device, b []byte) (int, error) {
	var (
		kept  = append([]byte(nil), b...)
		ended = make(chan struct{})
		n     int // n and err belong to the goroutine until ended is closed
		err   error
	)
	go func() {
		defer close(ended)
		n, err = dev.Write(kept)
	}()
	timer := time.NewTimer(p.opt.MaxWrite)
	defer timer.Stop()
	select {
	case <-ended:
		if err == nil && n < len(b) {
			err = io.ErrShortWrite
		}
		return n, err
	case <-timer.C:
		p.mu.Lock()
		p.stuck = ended
		p.mu.Unlock()
		return 0, fmt.Errorf("took nothing for %v", p.opt.MaxWrite)
	}
}

// with runs do on the open device. Any error of do means that the device is
// not usable any more: it is closed, a pause made due, and ErrGone returned.
func (p *Port) with(op string, do func(Device) error) error {
	p.use.RLock()
	dev, closed := p.dev, p.closed
	var err error
	if dev != nil {
		err = do(dev)
	}
	p.use.RUnlock()
	switch {
	case closed:
		return p.fail(op, os.ErrClosed)
	case dev == nil:
		return p.fail(op, ErrNotOpen)
	case err != nil:
		p.drop(dev)
		return p.gone(op, err)
	}
	return nil
}

// drop closes dev unless that was done already, and makes a pause due.
func (p *Port) drop(dev Device) {
	p.use.Lock()
	defer p.use.Unlock()
	if p.dev != dev {
		return
	}
	p.dev = nil
	_ = dev.Close()
	p.punish()
}

// gone words the loss of the device.
func (p *Port) gone(op string, err error) error {
	var pe *serial.PortError
	if errors.As(err, &pe) && pe.Code() == serial.PortClosed {
		return p.fail(op, ErrGone) // the library's word for a hang-up
	}
	return p.fail(op, fmt.Errorf("%w: %w", ErrGone, err))
}

// fail wraps err with what was being done and to which device.
func (p *Port) fail(op string, err error) error {
	return fmt.Errorf("%s serial port %q: %w", op, p.cfg.Device, err)
}

// Close closes the port for good. Reads, writes and Open end with os.ErrClosed:
// reads within 50 ms, a hanging write within Options.MaxWrite.
func (p *Port) Close() error {
	p.use.Lock()
	defer p.use.Unlock()
	if p.closed {
		return nil
	}
	p.closed = true
	close(p.done)
	if p.dev == nil {
		return nil
	}
	dev := p.dev
	p.dev = nil
	if err := dev.Close(); err != nil {
		return p.fail("close", err)
	}
	return nil
}
