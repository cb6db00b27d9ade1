package ingest

import (
	"context"
	"fmt"
	"time"

	"undersheet/logbook"
)

const (
	// Silence is how long a logbook goes without an entry before a clock entry
	// says that time has passed.
	Silence = 30 * time.Second
	// Step is the difference between wall and monotonic clock, from one look to
	// the next (at most Silence later), beyond which the wall clock was set.
	Step = time.Minute
	// Behind is how long the wall clock may stand before the newest entry, from the
	// start on, until a clock-stepped entry says so: a board without a battery
	// clock is set by its time server soon after it starts. Common practice.
	Behind = 5 * time.Minute
	// Fresh is how long after the machine started its clock may have been wrong until it is set: then
	// a step says what time it is, and not that the clock was set wrongly. From memory.
	Fresh = 15 * time.Minute
	// BehindAgain is how long it then stands there until that is said again.
	BehindAgain = 24 * time.Hour
)

// Clock is the time of the depot.
type Clock interface {
	Now() time.Time
	After(d time.Duration) <-chan time.Time
}

// wall is the machine's own clock.
type wall struct{}

// Now implements Clock.
func (wall) Now() time.Time { return time.Now() }

// After implements Clock.
func (wall) After(d time.Duration) <-chan time.Time { return time.After(d) }

// Head returns the seq and the received time of the newest entry; zeros when
// there is none.
type Head func(ctx context.Context) (seq uint64, received time.Time, err error)

// ClockOptions are a Clockwork's settings.
type ClockOptions struct {
	Clock     Clock                // nil: the machine's
	Monotonic func() time.Duration // a clock that nobody sets; nil: the monotonic reading in Clock's times
	Running   func() time.Duration // how long the machine has run, sleep included; nil, or 0: not known
}

// Clockwork appends a clock entry when nothing else was written for Silence, and
// a clock-stepped entry when the wall clock was set by more than Step, or has stood
// before the newest entry for Behind, once a day. A machine that slept looks like a clock that
// was set ahead, and should; how much of the step it slept is said beside it.
type Clockwork struct {
	in    *Ingest
	head  Head
	clock Clock
	mono  func() time.Duration // nil: not given
	ran   func() time.Duration // 0: not known

	looked  time.Time     // at the last look
	elapsed time.Duration // mono at the last look
	ranFor  time.Duration // ran at the last look
	seq     uint64        // newest entry at the last look
	moved   time.Time     // when it came, as far as can be told
	behind  time.Duration // for how long the wall clock has stood before it
	tell    time.Duration // at how much of that it is said next
}

// NewClockwork makes a Clockwork that appends through in. It starts nothing.
func NewClockwork(in *Ingest, head Head, o ClockOptions) *Clockwork {
	if o.Clock == nil {
		o.Clock = wall{}
	}
	if o.Running == nil {
		o.Running = func() time.Duration { return 0 }
	}
	return &Clockwork{in: in, head: head, clock: o.Clock, mono: o.Monotonic, ran: o.Running, tell: Behind}
}

// Run looks at the clock until ctx ends; then it returns nil.
func (c *Clockwork) Run(ctx context.Context) error {
	for {
		next, err := c.Look(ctx)
		if ctx.Err() != nil {
			return nil
		}
		if err != nil {
			return fmt.Errorf("run clockwork: %w", err)
		}
		select {
		case <-c.clock.After(next):
		case <-ctx.Done():
			return nil
		}
	}
}

// Look appends what is to be said of the clock now, and returns how long from
// now the next look is due. Run does this by itself; whoever drives the clock
// calls it instead.
func (c *Clockwork) Look(ctx context.Context) (next time.Duration, err error) {
	now := c.clock.Now()
	step, passed, slept := c.step(now)
	if step > Step || step < -Step {
		if err := c.stepped(ctx, now, step, slept); err != nil {
			return 0, err
		}
		c.tell = c.behind + BehindAgain // if it stands before the newest entry now, that says so
	}
	seq, received, err := c.head(ctx)
	if err != nil {
		return 0, fmt.Errorf("read the head of the logbook: %w", err)
	}
	if by := now.Sub(received); by < -Step {
		if c.behind += passed; c.behind >= c.tell {
			c.tell = c.behind + BehindAgain
			if err := c.stepped(ctx, now, by, 0); err != nil {
				return 0, err
			}
		}
	} else {
		c.behind, c.tell = 0, Behind
	}
	c.follow(now, seq, received)
	if idle := now.Sub(c.moved); idle < Silence {
		return Silence - idle, nil
	}
	e := &logbook.Clock{Header: logbook.Header{Kind: logbook.KindClock, Time: logbook.At(now)}}
	if _, err := c.in.commit(ctx, []logbook.Entry{e}); err != nil {
		return 0, fmt.Errorf("commit the time: %w", err)
	}
	if c.seq, _, err = c.head(ctx); err != nil {
		return 0, fmt.Errorf("read the head of the logbook: %w", err)
	}
	c.moved = now
	return Silence, nil
}

// stepped appends that the wall clock was set, or stands elsewhere than it should, and how much of
// a step ahead is time that passed.
func (c *Clockwork) stepped(ctx context.Context, now time.Time, by, passed time.Duration) error {
	e := &logbook.ClockStepped{Header: logbook.Header{Kind: logbook.KindClockStepped, Time: logbook.At(now)}, StepSeconds: by.Seconds(), PassedSeconds: passed.Seconds()}
	if _, err := c.in.commit(ctx, []logbook.Entry{e}); err != nil {
		return fmt.Errorf("commit a clock step of %v: %w", by, err)
	}
	return nil
}

// follow notes when the newest entry came. Its received time says so, unless the
// wall clock stands before it: then the moment at which it was seen does.
func (c *Clockwork) follow(now time.Time, seq uint64, received time.Time) {
	switch {
	case seq == c.seq && !now.Before(c.moved) && !c.moved.IsZero():
	case received.After(now) || received.IsZero():
		c.moved = now
	default:
		c.moved = received
	}
	c.seq = seq
}

// step returns how far the wall clock moved beyond the monotonic one since the last look, how long
// ago that was by the latter, and how much of a step ahead is time that passed: the machine slept,
// or has only just started, by a clock that was not set yet.
func (c *Clockwork) step(now time.Time) (step, passed, slept time.Duration) {
	before, was, ran := c.looked, c.elapsed, c.ranFor
	c.looked, c.ranFor = now, c.ran()
	if c.mono != nil {
		c.elapsed = c.mono()
	}
	if before.IsZero() {
		return 0, 0, 0
	}
	passed = now.Sub(before) // monotonic when both times carry such a reading
	if c.mono != nil {
		passed = c.elapsed - was
	}
	step = now.Round(0).Sub(before.Round(0)) - passed
	switch {
	case step <= 0 || ran <= 0 || c.ranFor < ran:
	case c.ranFor < Fresh:
		slept = step
	default:
		slept = min(max(c.ranFor-ran-passed, 0), step)
	}
	return step, passed, slept
}
