package main

import (
	"context"
	"fmt"
	"time"

	"undersheet/logbook"
	"undersheet/logbook/sqlite"
	"undersheet/rules/proof"
	"undersheet/rules/reading"
	"undersheet/sensor"
)

const (
	queuedFresh = 256                    // readings that wait for the dialogue
	provePace   = 2 * time.Second        // how often instruments are asked during proofs
	lookEvery   = 500 * time.Millisecond // how often a logbook is looked at
)

// feeds are where the dialogue's readings come from: the logbook while a daemon
// holds the instruments, else the instruments themselves.
func (c *listenCmd) feeds(ctx context.Context, con *console, site *logbook.Site, store *sqlite.Store, daemon bool, to chan<- proof.Reading, busy func(error)) ([]runner, error) {
	if daemon {
		head, err := store.Head(ctx)
		if err != nil {
			return nil, err
		}
		fmt.Fprintln(con.out, "A daemon watches this depot: readings come from its logbook, as often as the site file says.")
		return []runner{&logFeed{site: site, store: store, next: head.Seq + 1, to: to}}, nil
	}
	var ways []runner
	sink := &freshSink{site: site, to: to, out: con}
	for _, in := range site.Instruments {
		r, err := wayIn(site, in, sink, wallClock{}, &guest{pace: provePace, busy: busy})
		if err != nil {
			return nil, fmt.Errorf("instrument %q: %w", in.Name, err)
		}
		if r != nil {
			ways = append(ways, r)
		}
	}
	return ways, nil
}

// freshOf makes a fresh of a reading; false when it counts for nothing here: an
// unknown channel, or a broker's stored value.
func freshOf(site *logbook.Site, channel string, value float64, unit, fault string, retained bool, at time.Time) (proof.Reading, bool) {
	ch, ok := site.Channels[channel]
	if !ok || retained {
		return proof.Reading{}, false
	}
	f := proof.Reading{Channel: channel, Fault: fault, At: at}
	if f.Value, ok = reading.InChannelUnit(ch, value, unit); !ok && fault == "" {
		f.Fault = fmt.Sprintf("unit %s does not fit the channel's, %s", unit, ch.Unit)
	}
	return f, true
}

// freshSink gives the dialogue what instruments send.
type freshSink struct {
	site *logbook.Site
	to   chan<- proof.Reading
	out  *console
}

// Readings implements sensor.Sink.
func (s *freshSink) Readings(ctx context.Context, rs []sensor.Reading) error {
	now := time.Now()
	for _, r := range rs {
		f, ok := freshOf(s.site, r.Channel, r.Value, r.Unit, r.Fault, r.Retained, now)
		if !ok {
			continue
		}
		select {
		case s.to <- f:
		case <-ctx.Done():
			return ctx.Err()
		}
	}
	return nil
}

// Status implements sensor.Sink.
func (s *freshSink) Status(_ context.Context, st sensor.Status) error {
	if !st.OK {
		fmt.Fprintf(s.out.err, "! %s %s: %s\n", tame(st.Instrument), tame(st.Unit), tame(st.Detail))
	}
	return nil
}

// Refused implements sensor.Sink.
func (s *freshSink) Refused(_ context.Context, r sensor.Refused) error {
	fmt.Fprintf(s.out.err, "! %s: not read: %s\n", tame(r.Instrument), tame(r.Why))
	return nil
}

// logFeed gives the dialogue the readings that a daemon appends to a logbook.
type logFeed struct {
	site  *logbook.Site
	store *sqlite.Store
	next  uint64 // seq
	to    chan<- proof.Reading
}

// Run implements runner.
func (l *logFeed) Run(ctx context.Context) error {
	t := time.NewTicker(lookEvery)
	defer t.Stop()
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-t.C:
		}
		for e, err := range l.store.Entries(ctx, l.next) {
			if ctx.Err() != nil {
				return nil
			}
			if err != nil {
				return err
			}
			l.next = e.Head().Seq + 1
			if r, ok := e.(*logbook.Reading); ok {
				l.give(ctx, r)
			}
		}
	}
}

// give gives the dialogue a reading, unless it is of long ago.
func (l *logFeed) give(ctx context.Context, r *logbook.Reading) {
	// When it was received, by this machine's clock: a gateway's own clock may be off.
	f, ok := freshOf(l.site, r.Channel, r.Value, r.Unit, r.Fault, r.Retained, r.Received.Std())
	if !ok || r.Received.Sub(r.Time) > reading.MinGap {
		return
	}
	select {
	case l.to <- f:
	case <-ctx.Done():
	}
}
