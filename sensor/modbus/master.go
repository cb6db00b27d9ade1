package modbus

import (
	"context"
	"fmt"
	"time"

	"undersheet/sensor"
	"undersheet/sensor/port"
)

// Clock tells the depot's time: the schedule and the stamps of readings.
type Clock interface {
	Now() time.Time
	After(d time.Duration) <-chan time.Time
}

// wall is the clock of the machine.
type wall struct{}

// Now implements Clock.
func (wall) Now() time.Time { return time.Now() }

// After implements Clock.
func (wall) After(d time.Duration) <-chan time.Time { return time.After(d) }

// Options are a Master's settings that are not the line's.
type Options struct {
	Clock Clock        // depot time; nil = the machine's clock. Timeouts on the wire never use it
	Port  port.Options // of the serial port
}

// Master reads the units of one line. Make one with New; its methods are for
// one goroutine.
type Master struct {
	cfg   Config
	sink  sensor.Sink
	clock Clock
	port  *port.Port
	bus   bus

	line  health // of the serial port
	units []*unit
}

// unit is a Unit and what the master knows of it.
type unit struct {
	Unit
	blocks []block
	health health
	due    time.Time // depot time of the next poll; zero = at once

	dead  bool      // it did not answer the last request
	asked Request   // the last request to it
	late  time.Time // wire time until which an answer to asked may still come
}

// health is what was last told of a unit or the line.
type health int

const (
	untold health = iota
	well
	ill
)

// New makes a master of c, which must be valid (Config.Validate). It opens and
// starts nothing: call Run, or PollOnce again and again.
func New(c Config, sink sensor.Sink, o Options) *Master {
	if o.Clock == nil {
		o.Clock = wall{}
	}
	p := port.New(c.Port, o.Port)
	m := &Master{cfg: c, sink: sink, clock: o.Clock, port: p, bus: bus{p}}
	for _, u := range c.Units {
		m.units = append(m.units, &unit{Unit: u.WithDefaults(), blocks: plan(u)})
	}
	return m
}

// Run polls every unit at its interval until ctx ends; then it returns nil. It
// returns an error only when the sink does. It closes the port at its end, so
// a master runs once.
func (m *Master) Run(ctx context.Context) error {
	defer m.Close()
	stop := context.AfterFunc(ctx, func() { _ = m.Close() }) // ends a read at once
	defer stop()
	for {
		next, err := m.PollOnce(ctx)
		if ctx.Err() != nil {
			return nil
		}
		if err != nil {
			return fmt.Errorf("run modbus instrument %q: %w", m.cfg.Name, err)
		}
		select {
		case <-ctx.Done():
			return nil
		case <-m.clock.After(next.Sub(m.clock.Now())):
		}
	}
}

// Close closes the serial port for good; a poll that goes on ends with
// os.ErrClosed. It may be called at any time, also by another goroutine.
func (m *Master) Close() error { return m.port.Close() }

// PollOnce polls each unit that is due at the clock's time, those that wait
// longest first, and returns when the next is due. It returns after the sink
// has taken everything that was read, so whoever drives the clock may move it
// to next then. It waits for the serial device as long as there is none. The
// error is the sink's, or that of ctx.
func (m *Master) PollOnce(ctx context.Context) (next time.Time, err error) {
	now := m.clock.Now()
	for _, u := range m.dueAt(now) {
		if err := m.poll(ctx, u); err != nil {
			return now, err
		}
		u.reschedule(m.clock.Now())
	}
	next = m.units[0].due
	for _, u := range m.units {
		if u.due.Before(next) {
			next = u.due
		}
	}
	return next, nil
}
