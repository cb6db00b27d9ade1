package modbus_test

import (
	"context"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/sensor"
	"undersheet/sensor/modbus"
	"undersheet/sensor/port"
)

// wire is a serial device in memory. Inside a synctest bubble its time is fake.
// What the master writes goes to answer, which sends what the test wants.
type wire struct {
	answer func(w *wire, frame []byte)

	mu      sync.Mutex
	came    []byte // not yet read by the master
	arrived chan struct{}
	timeout time.Duration
	asked   []modbus.Request
	at      []time.Time // when each request was written
	last    time.Time   // when the last byte was sent to the master
	tooSoon int         // requests written before t3.5 of silence
}

func newWire(answer func(*wire, []byte)) *wire {
	return &wire{answer: answer, arrived: make(chan struct{}, 1)}
}

// send gives the master b after d.
func (w *wire) send(d time.Duration, b []byte) {
	put := func() {
		w.mu.Lock()
		defer w.mu.Unlock()
		w.came = append(w.came, b...)
		w.last = time.Now()
		select {
		case w.arrived <- struct{}{}:
		default:
		}
	}
	if d == 0 {
		put()
		return
	}
	time.AfterFunc(d, put)
}

func (w *wire) take(b []byte) int {
	w.mu.Lock()
	defer w.mu.Unlock()
	n := copy(b, w.came)
	w.came = w.came[n:]
	return n
}

func (w *wire) Read(b []byte) (int, error) {
	timer := time.NewTimer(w.timeout)
	defer timer.Stop()
	for {
		if n := w.take(b); n > 0 {
			return n, nil
		}
		select {
		case <-w.arrived:
		case <-timer.C:
			return w.take(b), nil
		}
	}
}

func (w *wire) Write(b []byte) (int, error) {
	w.mu.Lock()
	q, err := modbus.DecodeRequest(b)
	if err != nil {
		w.mu.Unlock()
		return 0, err
	}
	if time.Since(w.last) < modbus.Silence(port.Config{}) {
		w.tooSoon++
	}
	w.asked = append(w.asked, q)
	w.at = append(w.at, time.Now())
	w.mu.Unlock()
	w.answer(w, b)
	return len(b), nil
}

func (w *wire) SetReadTimeout(d time.Duration) error { w.timeout = d; return nil }
func (w *wire) ResetInputBuffer() error              { w.take(make([]byte, 1<<16)); return nil }
func (w *wire) Close() error                         { return nil }

func (w *wire) options() modbus.Options {
	return modbus.Options{Port: port.Options{OpenDevice: func(port.Config) (port.Device, error) { return w, nil }}}
}

// request reads the frame that a wire was asked with.
func request(t testing.TB, frame []byte) modbus.Request {
	q, err := modbus.DecodeRequest(frame)
	require.NoError(t, err)
	return q
}

// words are n registers that say their own number: 100, 101, … at address 0.
func words(q modbus.Request) []uint16 {
	ws := make([]uint16, q.Count)
	for i := range ws {
		ws[i] = 100 + q.Address + uint16(i)
	}
	return ws
}

// sink records what a master delivers; err, if set, refuses readings.
type sink struct {
	mu       sync.Mutex
	polls    [][]sensor.Reading
	statuses []sensor.Status
	refused  []sensor.Refused
	err      error
	told     chan struct{} // gets a token after each call, if there is room
}

func newSink() *sink { return &sink{told: make(chan struct{}, 1)} }

func (s *sink) keep(do func()) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	do()
	select {
	case s.told <- struct{}{}:
	default:
	}
	return s.err
}

func (s *sink) Readings(_ context.Context, rs []sensor.Reading) error {
	return s.keep(func() { s.polls = append(s.polls, rs) })
}

func (s *sink) Status(_ context.Context, st sensor.Status) error {
	return s.keep(func() { s.statuses = append(s.statuses, st) })
}

func (s *sink) Refused(_ context.Context, r sensor.Refused) error {
	return s.keep(func() { s.refused = append(s.refused, r) })
}

// wait returns when ok says so of what was delivered, or fails the test.
func (s *sink) wait(t testing.TB, what string, ok func(*sink) bool) {
	t.Helper()
	limit := time.After(10 * time.Second)
	for {
		s.mu.Lock()
		done := ok(s)
		s.mu.Unlock()
		if done {
			return
		}
		select {
		case <-s.told:
		case <-limit:
			t.Fatalf("not within 10 s: %s; statuses %+v", what, s.statuses)
		}
	}
}

// unitStatuses are the statuses of unit name, as "ok" or the detail.
func (s *sink) unitStatuses(name string) []string {
	s.mu.Lock()
	defer s.mu.Unlock()
	var all []string
	for _, st := range s.statuses {
		switch {
		case st.Unit != name:
		case st.OK:
			all = append(all, "ok")
		default:
			all = append(all, st.Detail)
		}
	}
	return all
}

// values are the values of the last poll by channel.
func (s *sink) values() map[string]float64 {
	s.mu.Lock()
	defer s.mu.Unlock()
	vs := map[string]float64{}
	if len(s.polls) > 0 {
		for _, r := range s.polls[len(s.polls)-1] {
			vs[r.Channel] = r.Value
		}
	}
	return vs
}

// uint16s are registers at the given addresses, channels "r<address>".
func uint16s(unit byte, addresses ...uint16) modbus.Unit {
	u := modbus.Unit{Address: unit}
	for _, a := range addresses {
		u.Registers = append(u.Registers, modbus.Register{Channel: channel(unit, a), Function: 4, Address: a, Type: "uint16"})
	}
	return u
}
