package sms

import (
	"context"
	"errors"
	"fmt"
	"time"

	"undersheet/alert"
	"undersheet/sensor/port"
)

// Run opens the modem and keeps it ready until ctx is done, and then returns
// nil. A modem that fails or disappears is opened again after a pause.
func (m *Modem) Run(ctx context.Context) error {
	pause := m.opts.Pause
	for ctx.Err() == nil {
		wasReady, err := m.serve(ctx)
		if ctx.Err() != nil {
			break
		}
		m.down(err)
		if wasReady {
			pause = m.opts.Pause
		}
		select {
		case <-ctx.Done():
		case <-time.After(pause):
		}
		pause = min(2*pause, 16*m.opts.Pause)
	}
	m.down(errors.New("the program is being stopped"))
	return nil
}

// serve opens the modem, makes it ready and works until it fails.
func (m *Modem) serve(ctx context.Context) (wasReady bool, err error) {
	p := port.New(m.port, port.Options{FirstWait: m.opts.Pause, LongWait: 32 * m.opts.Pause})
	ctx, cancel := context.WithCancel(ctx)
	t := newTalk(p, m.opts)
	if err := p.Open(ctx, m.down); err != nil {
		cancel()
		return false, errors.Join(err, p.Close())
	}
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		t.pump(ctx)
	}()
	defer func() {
		cancel()
		_ = p.Close() // the modem is given up anyway
		<-ended
	}()
	if err := m.start(ctx, t); err != nil {
		return false, err
	}
	if err := m.look(ctx, t); err != nil {
		return false, err
	}
	m.up()
	return true, m.work(ctx, t)
}

// work sends what comes and looks at the modem in between, until it fails.
func (m *Modem) work(ctx context.Context, t *talk) error {
	tick := time.NewTicker(m.opts.Look)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return ctx.Err()
		case j := <-m.jobs:
			err := m.send(ctx, t, j)
			j.done <- err
			if err == nil {
				continue
			}
			if err := m.look(ctx, t); err != nil {
				return err
			}
		case <-tick.C:
			if err := m.look(ctx, t); err != nil {
				return err
			}
		case b, open := <-t.in: // unasked
			if !open {
				return temporary(t.err)
			}
			t.lex.feed(b)
		}
	}
}

// look asks how the SIM, the network and the signal are. An error means that the
// modem must be made ready anew.
func (m *Modem) look(ctx context.Context, t *talk) error {
	state, err := m.askSIM(ctx, t)
	switch {
	case err != nil:
		return err
	case state == "SIM PIN":
		return temporary(errors.New("the SIM asks for its PIN again; the modem is made ready anew"))
	}
	if _, err := m.registration(ctx, t); err != nil {
		return err
	}
	got, err := t.ask(ctx, "AT+CSQ", "+CSQ:")
	if err := optional(got, err); err != nil {
		return temporary(err)
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	m.stats.SignalKnown = false
	if len(got) > 0 {
		m.stats.SignalDBm, m.stats.SignalKnown = readSignal(got[0])
	}
	return nil
}

// registration asks whether the network takes messages: circuit switched first,
// then packet switched and LTE, for some modems are registered there alone.
func (m *Modem) registration(ctx context.Context, t *talk) (network, error) {
	best := network(-1)
	for _, name := range []string{"+CREG", "+CGREG", "+CEREG"} {
		got, err := t.ask(ctx, "AT"+name+"?", name+":")
		if err := optional(got, err); err != nil {
			return best, temporary(fmt.Errorf("ask for the network: %w", err))
		}
		for _, line := range got {
			if n, ok := readNetwork(line, name); ok && (best < 0 || n.registered()) {
				best = n
			}
		}
		if best.registered() {
			break
		}
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	m.stats.Registered, m.stats.Network = best.registered(), best.String()
	if m.trouble == nil {
		m.stats.Trouble, m.stats.Attention = "", false
		if f := best.failure(); f != nil {
			m.stats.Trouble, m.stats.Attention = f.Error(), f.Permanent
		}
	}
	return best, nil
}

// failure is what n means for a message; nil when it can be sent.
func (n network) failure() *alert.Failure {
	switch {
	case n.registered():
		return nil
	case n == 3 || n == 8:
		return lasting(fmt.Errorf("the network does not take this SIM: %s", n))
	}
	return temporary(fmt.Errorf("there is no network: %s", n))
}

// up notes that the modem can send.
func (m *Modem) up() {
	m.mu.Lock()
	m.trouble = nil
	m.stats.Ready, m.stats.Trouble, m.stats.Attention = true, "", false
	if !m.stats.Registered {
		m.stats.Trouble = "there is no network: " + m.stats.Network
	}
	st := m.stats
	m.mu.Unlock()
	m.opts.Logger.Info("the modem is ready", "modem", m.conf.Port, "network", st.Network, "signal_dbm", st.SignalDBm)
}

// down notes why the modem cannot send.
func (m *Modem) down(err error) {
	f := asFailure(err)
	m.mu.Lock()
	again := m.trouble != nil && m.trouble.Error() == f.Error()
	m.trouble = f
	s := &m.stats
	s.Ready, s.Registered, s.Network, s.SignalKnown, s.SignalDBm = false, false, "", false, 0
	s.Trouble, s.Attention = f.Error(), f.Permanent
	s.LastError = f.Error()
	m.mu.Unlock()
	if !again {
		m.opts.Logger.Warn("the modem cannot send", "modem", m.conf.Port, "permanent", f.Permanent, "error", f.Err)
	}
}
