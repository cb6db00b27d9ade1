package modem

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"sync"
	"time"

	"undersheet/sensor/modbus/slave"
)

// What a SIM and a network say; the values of <stat> in +CREG (TS 27.007, 7.2).
const (
	Idle      = 0 // neither registered nor searching
	Home      = 1
	Searching = 2
	Denied    = 3
	Roaming   = 5
)

// Message is a short message that the modem was given, all its parts together.
type Message struct {
	To    string
	Text  string
	Parts int
}

// Options say what modem it is.
type Options struct {
	PIN      string        // of the SIM; empty: it asks for none
	Tries    int           // how often a wrong PIN may be given; 0 = 3
	PUK      bool          // the SIM is locked and asks for its PUK
	Network  int           // Home, Roaming …; 0 = Home. SetNetwork can change it, to Idle too
	Signal   int           // <rssi> of +CSQ, 0 to 31 or 99; 0 = 17
	Missing  []string      // commands that this modem does not know, e.g. "+CPINR"
	Faults   []Fault       // misbehaviours, the first that fits strikes
	Received func(Message) // called for each message by Run's goroutine; nil: none
}

// most is how many messages and command lines are kept to be looked at.
const most = 1000

// Modem is a modem made by software. Make one with New; its methods may be
// called from any goroutine.
type Modem struct {
	opts   Options
	dir    string        // holds the link that is the device's lasting name
	back   chan struct{} // holds one token: the device is plugged in again
	sim    sim           // this and the two below: only Run's goroutine uses them
	line   settings
	joiner joiner

	mu      sync.Mutex // guards what follows
	term    *terminal  // nil while unplugged
	network int
	faults  []Fault
	sent    []Message
	seen    []string
}

// New makes a modem whose device can be opened at once; it answers while Run
// runs. Run must be called, for it gives back what New took.
func New(o Options) (*Modem, error) {
	if o.Tries == 0 {
		o.Tries = 3
	}
	if o.Network == 0 {
		o.Network = Home
	}
	if o.Signal == 0 {
		o.Signal = 17
	}
	dir, err := os.MkdirTemp("", "modem")
	if err != nil {
		return nil, fmt.Errorf("make modem: %w", err)
	}
	m := &Modem{opts: o, dir: dir, back: make(chan struct{}, 1), network: o.Network, faults: append([]Fault(nil), o.Faults...), // one token is enough: Run looks at the device itself
		sim: sim{tries: o.Tries, puk: o.PUK, open: o.PIN == "" && !o.PUK}}
	m.line.reset()
	if err := m.Plug(); err != nil {
		return nil, errors.Join(err, os.RemoveAll(dir))
	}
	return m, nil
}

// Device is the path of the serial device. It stays the same when the modem is
// unplugged and plugged in again.
func (m *Modem) Device() string { return filepath.Join(m.dir, "modem") }

// Sent returns the messages that the modem was given, the last thousand.
func (m *Modem) Sent() []Message {
	m.mu.Lock()
	defer m.mu.Unlock()
	return append([]Message(nil), m.sent...)
}

// Seen returns the command lines and message bodies that came, the last thousand.
func (m *Modem) Seen() []string {
	m.mu.Lock()
	defer m.mu.Unlock()
	return append([]string(nil), m.seen...)
}

// SetNetwork changes what the network says.
func (m *Modem) SetNetwork(stat int) {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.network = stat
}

// Say sends raw bytes unasked, as a modem does when a call comes in. Nothing
// happens while it is unplugged.
func (m *Modem) Say(raw string) {
	m.mu.Lock()
	t := m.term
	m.mu.Unlock()
	if t != nil {
		t.write(raw)
	}
}

// Unplug makes the device disappear.
func (m *Modem) Unplug() {
	m.mu.Lock()
	t := m.term
	m.mu.Unlock()
	m.drop(t)
}

// drop makes the device disappear if it is still t.
func (m *Modem) drop(t *terminal) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if t == nil || m.term != t {
		return
	}
	_ = os.Remove(m.Device())
	_ = m.term.Close()
	m.term = nil
}

// Plug makes it appear again under its old name; the SIM asks for its PIN again.
func (m *Modem) Plug() error {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.term != nil {
		return nil
	}
	pts, err := slave.OpenTerminal()
	if err != nil {
		return err
	}
	t := &terminal{pts}
	if err := os.Symlink(t.Name(), m.Device()); err != nil {
		_ = t.Close()
		return fmt.Errorf("name modem: %w", err)
	}
	m.term = t
	select {
	case m.back <- struct{}{}:
	default: // Run has not taken the last token yet
	}
	return nil
}

// Run answers until ctx is done, then removes the device and returns nil.
func (m *Modem) Run(ctx context.Context) error {
	stop := context.AfterFunc(ctx, m.Unplug)
	defer stop()
	for ctx.Err() == nil {
		m.mu.Lock()
		t := m.term
		m.mu.Unlock()
		if t == nil {
			select {
			case <-ctx.Done():
			case <-m.back:
			}
			continue
		}
		m.serve(ctx, t)
	}
	m.Unplug()
	if err := os.RemoveAll(m.dir); err != nil {
		return fmt.Errorf("remove modem: %w", err)
	}
	return nil
}

// serve answers on one terminal until that is unplugged.
func (m *Modem) serve(ctx context.Context, t *terminal) {
	m.restart()
	buf := make([]byte, 256)
	for {
		n, err := t.Read(buf)
		if err != nil {
			m.drop(t) // in case the terminal failed by itself
			return
		}
		for _, b := range buf[:n] {
			m.take(ctx, t, b)
		}
	}
}

// restart forgets the settings and closes the SIM.
func (m *Modem) restart() {
	m.line.reset()
	m.sim.open = m.opts.PIN == "" && !m.sim.puk
}

// note keeps a line to be looked at.
func (m *Modem) note(line string) {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.seen = append(m.seen, line)
	m.seen = m.seen[max(0, len(m.seen)-most):]
}

// wait waits for d, or less when ctx ends.
func wait(ctx context.Context, d time.Duration) {
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-ctx.Done():
	case <-timer.C:
	}
}
