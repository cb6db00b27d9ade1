package sms

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"strings"
	"sync"
	"time"

	"undersheet/alert"
	"undersheet/alert/sms/pdu"
	"undersheet/logbook"
	"undersheet/sensor/port"
	"undersheet/trust"
)

// Modes in a site file.
const (
	ModePDU  = "pdu" // the default
	ModeText = "text"
)

// defaultBaud is the line's speed when the site file gives none.
const defaultBaud = 115200

// Options are what the site file does not say. The waits are on the wire's own
// clock, whatever the depot's clock does.
type Options struct {
	Logger *slog.Logger // nil = slog.Default()

	Ready    time.Duration // longest wait of Deliver for a modem that is not ready; 0 = 10 s
	Whole    time.Duration // longest that all parts of one message may take; 0 = 2 min
	Command  time.Duration // longest wait for the answer to a command or for the prompt; 0 = 5 s
	Send     time.Duration // longest wait for a part to be taken charge of; 0 = 60 s
	Register time.Duration // longest wait of a message for the network; 0 = 20 s
	Again    time.Duration // between two questions while something is waited for; 0 = 1 s
	Quiet    time.Duration // silence after which nothing more of a late answer is expected; 0 = 300 ms
	Look     time.Duration // how often registration and signal are looked at; 0 = 1 min
	Pause    time.Duration // first pause after a modem failed, doubling to 16 times; 0 = 2 s
}

// withDefaults returns o with every zero replaced.
func (o Options) withDefaults() Options {
	if o.Logger == nil {
		o.Logger = slog.Default()
	}
	for d, usual := range map[*time.Duration]time.Duration{&o.Ready: 10 * time.Second, &o.Whole: 2 * time.Minute, &o.Command: 5 * time.Second,
		&o.Send: time.Minute, &o.Register: 20 * time.Second, &o.Again: time.Second, &o.Quiet: 300 * time.Millisecond, &o.Look: time.Minute, &o.Pause: 2 * time.Second} {
		if *d <= 0 {
			*d = usual
		}
	}
	return o
}

// Stats say how the modem is.
type Stats struct {
	Ready       bool   // the modem answers and its SIM is open
	Registered  bool   // in a network that takes messages
	Network     string // registration in words; empty before it was asked
	SignalKnown bool   // the modem told how strong the signal is:
	SignalDBm   int    // dBm
	Sent        uint64 // messages that the service centre took charge of, since start
	Parts       uint64 // parts of them
	Failed      uint64 // attempts that failed, since start
	Trouble     string // why it cannot send now; empty = it can, as far as is known
	Attention   bool   // somebody has to put the trouble right
	LastError   string // of the last attempt or look that failed; empty = none
}

// Modem is a GSM modem that takes letters. Make one with New.
type Modem struct {
	conf    logbook.SMS
	port    port.Config
	opts    Options
	jobs    chan *job         // unbuffered: who is taken is worked off
	refused map[string]string // PINs that are not tried again, and why; only Run's goroutine uses it

	mu        sync.Mutex // guards what follows
	reference byte       // of the last message of several parts
	stats     Stats
	trouble   *alert.Failure // nil while ready
}

// job is one letter to be sent.
type job struct {
	ctx   context.Context
	parts []part
	done  chan error // has room for the one result
}

// New checks the modem's part of a site file. It opens nothing. The errors name
// the field to put right.
func New(conf logbook.SMS, o Options) (*Modem, error) {
	if conf.Mode == "" {
		conf.Mode = ModePDU
	}
	if conf.Baud == 0 {
		conf.Baud = defaultBaud
	}
	m := &Modem{conf: conf, port: port.Config{Device: conf.Port, Baud: conf.Baud}, opts: o.withDefaults(), jobs: make(chan *job),
		refused: map[string]string{}, reference: byte(rand.Uint32()), trouble: temporary(errors.New("the modem was not opened yet"))}
	m.stats.Trouble = m.trouble.Error()
	if err := m.check(); err != nil {
		return nil, err
	}
	return m, nil
}

// check reports everything that is wrong with the configuration.
func (m *Modem) check() error {
	var faults []error
	if err := m.port.Validate(); err != nil {
		for line := range strings.SplitSeq(err.Error(), "\n") {
			faults = append(faults, errors.New("sms."+strings.Replace(line, "device:", "port:", 1)))
		}
	}
	if m.conf.Mode != ModePDU && m.conf.Mode != ModeText {
		faults = append(faults, fmt.Errorf("sms.mode: must be pdu or text (got %q)", m.conf.Mode))
	}
	if m.conf.Centre != "" {
		n, err := pdu.Number(m.conf.Centre)
		if err != nil {
			faults = append(faults, fmt.Errorf("sms.centre: %w", err))
		}
		m.conf.Centre = n
	}
	if _, err := m.pin(); err != nil {
		faults = append(faults, err)
	}
	return errors.Join(faults...)
}

// pin reads the PIN from where the site file says; empty when it says nothing.
// The PIN itself is in none of the errors.
func (m *Modem) pin() (string, error) {
	p, err := trust.Secret("sms.pin", m.conf.PINEnv, m.conf.PINFile)
	if err != nil || m.conf.PINEnv == "" && m.conf.PINFile == "" {
		return "", err
	}
	p = strings.TrimSpace(p)
	if len(p) < 4 || len(p) > 8 || strings.Trim(p, "0123456789") != "" { // TS 31.101, section 9.5.1: four to eight digits
		return "", errors.New("sms.pin_env, sms.pin_file: there is no PIN of 4 to 8 digits")
	}
	return p, nil
}

// Name implements alert.Messenger.
func (*Modem) Name() string { return "sms" }

// Stats returns how the modem is.
func (m *Modem) Stats() Stats {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.stats
}

// Deliver implements alert.Messenger. It needs Run. The letter's text is its
// Short, or else its heading; its address a telephone number.
func (m *Modem) Deliver(ctx context.Context, d *alert.Delivery) error {
	parts, err := m.compose(d)
	if err != nil {
		return m.failed(&alert.Failure{Err: fmt.Errorf("write SMS to %q: %w", d.Person, err), Permanent: true})
	}
	ctx, cancel := context.WithTimeout(ctx, m.opts.Whole)
	defer cancel()
	if err := m.hand(ctx, parts); err != nil {
		f := *asFailure(err)
		f.Err = fmt.Errorf("send SMS to %q through modem %q: %w", d.Person, m.conf.Port, f.Err)
		return m.failed(&f)
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	m.stats.Sent++
	m.stats.Parts += uint64(len(parts))
	return nil
}

// compose writes the letter for the modem's mode.
func (m *Modem) compose(d *alert.Delivery) ([]part, error) {
	number, err := pdu.Number(d.Address)
	if err != nil {
		return nil, err
	}
	if m.conf.Mode == ModeText {
		return inTexts(number, sayable(d)), nil
	}
	m.mu.Lock()
	m.reference++ // another one for each attempt: a telephone joins parts by it
	reference := m.reference
	m.mu.Unlock()
	return inPDUs(number, sayable(d), reference)
}

// hand gives the parts to Run and returns how it went.
func (m *Modem) hand(ctx context.Context, parts []part) error {
	if f := m.why(); f != nil && f.Permanent {
		return f
	}
	wait := time.NewTimer(m.opts.Ready)
	defer wait.Stop()
	j := &job{ctx: ctx, parts: parts, done: make(chan error, 1)}
	select {
	case m.jobs <- j:
		return <-j.done // Run answers soon after ctx is done
	case <-ctx.Done():
		return temporary(ctx.Err())
	case <-wait.C:
	}
	if f := m.why(); f != nil {
		return f
	}
	return temporary(errors.New("the modem is busy with other messages"))
}

// why returns why the modem cannot send; nil when it can.
func (m *Modem) why() *alert.Failure {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.trouble
}

// failed counts and remembers a failed attempt, and returns it.
func (m *Modem) failed(f *alert.Failure) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.stats.Failed++
	m.stats.LastError = f.Error()
	return f
}

// temporary is a failure of the modem itself that may pass.
func temporary(err error) *alert.Failure { return &alert.Failure{Err: err, Everyone: true} }

// lasting is a failure of the modem itself that somebody has to put right.
func lasting(err error) *alert.Failure {
	return &alert.Failure{Err: err, Everyone: true, Permanent: true}
}

// asFailure returns err as what the sender looks at.
func asFailure(err error) *alert.Failure {
	var f *alert.Failure
	if errors.As(err, &f) {
		return f
	}
	return temporary(err)
}

// asLasting returns err as a failure, a lasting one unless it is one already.
func asLasting(err error) *alert.Failure {
	var f *alert.Failure
	if errors.As(err, &f) {
		return f
	}
	return lasting(err)
}
