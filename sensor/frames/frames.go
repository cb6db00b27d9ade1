package frames

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"time"

	"golang.org/x/sync/errgroup"

	"undersheet/sensor"
	"undersheet/sensor/port"
)

const (
	// lull is how long a line must have been silent, in the wire's own time, for
	// the next byte to count as the beginning of a line: longer than instruments
	// pause amid one. From memory.
	lull = time.Second
	// leastSilence is the least time without a reading after which an instrument
	// counts as silent, however often it speaks.
	leastSilence = 30 * time.Second
	// queued is how many lines wait while the sink is at work; then the reader
	// waits, and what the kernel cannot hold is lost.
	queued = 256
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

// Options are a Reader's settings that are not the instrument's.
type Options struct {
	Clock   Clock             // depot time; nil = the machine's clock. Waits on the wire never use it
	Port    port.Options      // of the serial port
	Alike   time.Duration     // least depot time between two refusals for the same reason; 0 = 1 min, negative = none
	Ignored func(line []byte) // is told of each line that is ignored; nil = nobody
}

// Reader reads one instrument. Make one with New.
type Reader struct {
	cfg   Config
	dec   *Decoder
	sink  sensor.Sink
	o     Options
	port  *port.Port
	heard chan event
	watch watch
}

// event is what the wire gives: a line, or a change of the port.
type event struct {
	line  *line
	open  bool  // the device is open
	ready bool  // the next line will be whole
	gone  error // the device cannot be opened, or disappeared
}

// New makes a reader of c, which must be valid (Config.Validate; New panics on a
// pattern that does not compile). It opens and starts nothing: call Run, once.
func New(c Config, sink sensor.Sink, o Options) *Reader {
	if o.Clock == nil {
		o.Clock = wall{}
	}
	if o.Alike == 0 {
		o.Alike = time.Minute
	}
	c = c.WithDefaults()
	dec, err := Compile(c.Format)
	if err != nil {
		panic("frames: New with a Config that is not valid: " + err.Error())
	}
	return &Reader{cfg: c, dec: dec, sink: sink, o: o, port: port.New(c.Port, o.Port), heard: make(chan event, queued),
		watch: watch{alike: o.Alike, refused: map[Reason]*tally{}}}
}

// Run reads the instrument until ctx ends; then it returns nil. It returns an
// error only when the sink does.
func (r *Reader) Run(ctx context.Context) error {
	g, inner := errgroup.WithContext(ctx)
	stop := context.AfterFunc(inner, func() { _ = r.port.Close() }) // ends a read at once
	defer stop()
	g.Go(func() error { r.listen(inner); return nil })
	g.Go(func() error { return r.attend(inner) })
	err := g.Wait()
	_ = r.port.Close()
	if err != nil && ctx.Err() == nil {
		return fmt.Errorf("run frames instrument %q: %w", r.cfg.Name, err)
	}
	return nil
}

// listen gives heard what comes over the wire, opening the port again and again,
// until ctx ends.
func (r *Reader) listen(ctx context.Context) {
	for ctx.Err() == nil {
		if r.port.Open(ctx, func(cause error) { r.tell(ctx, event{gone: cause}) }) != nil {
			return
		}
		r.tell(ctx, event{open: true})
		err := r.port.Discard() // what came before: nobody knows when
		if err == nil {
			err = r.lines(ctx)
		}
		if ctx.Err() == nil {
			r.tell(ctx, event{gone: err})
		}
	}
}

// lines reads lines until the port fails.
func (r *Reader) lines(ctx context.Context) error {
	s, buf := newSplitter(r.cfg.End), make([]byte, 512)
	ready := false
	for {
		if err := r.port.SetReadDeadline(time.Now().Add(lull)); err != nil {
			return err
		}
		n, err := r.port.Read(buf)
		now := r.o.Clock.Now()
		if errors.Is(err, os.ErrDeadlineExceeded) {
			if l, torn := s.quiet(now); torn {
				r.tell(ctx, event{line: &l})
			}
		} else if err != nil {
			return err
		}
		for _, l := range s.take(buf[:n], now) {
			r.tell(ctx, event{line: &l})
		}
		if s.whole && !ready {
			ready = true
			r.tell(ctx, event{ready: true})
		}
	}
}

// tell gives heard an event.
func (r *Reader) tell(ctx context.Context, e event) {
	select {
	case r.heard <- e:
	case <-ctx.Done():
	}
}

// attend takes what was heard to the sink, and asks and judges by the clock,
// until ctx ends or the sink fails. It keeps one waiter at the clock.
func (r *Reader) attend(ctx context.Context) error {
	r.watch.start(r.o.Clock.Now())
	var wake <-chan time.Time
	var at time.Time
	for ctx.Err() == nil {
		now := r.o.Clock.Now()
		if err := r.due(ctx, now); err != nil {
			return err
		}
		if next := r.next(now); wake == nil || next.Before(at) {
			wake, at = r.o.Clock.After(next.Sub(now)), next
		}
		select {
		case <-ctx.Done():
		case <-wake:
			wake = nil
		case e := <-r.heard:
			if err := r.take(ctx, e); err != nil {
				return err
			}
		}
	}
	return nil
}

// take takes an event, and the lines that are there already, to the sink.
func (r *Reader) take(ctx context.Context, e event) error {
	var rs []sensor.Reading
	for n := 1; e.line != nil; n++ {
		got, err := r.read(*e.line)
		rs = append(rs, got...)
		if err := r.refuse(ctx, *e.line, err); err != nil {
			return err
		}
		if n == queued {
			e = event{}
			break
		}
		select {
		case e = <-r.heard:
		default:
			e = event{}
		}
	}
	if len(rs) > 0 {
		if err := r.sink.Readings(ctx, rs); err != nil {
			return fmt.Errorf("deliver %d readings: %w", len(rs), err)
		}
		if err := r.well(ctx, rs[len(rs)-1].Time); err != nil {
			return err
		}
	}
	switch {
	case e.gone != nil:
		return r.gone(ctx, e.gone)
	case e.open:
		r.watch.open(r.o.Clock.Now())
	case e.ready:
		r.watch.ready(r.o.Clock.Now())
	}
	return nil
}

// read decodes a line; an echo of what the instrument was asked is no reading.
func (r *Reader) read(l line) ([]sensor.Reading, error) {
	switch {
	case l.long:
		return nil, tooLong
	case r.dec.ignores(l.text), r.cfg.Ask != "" && bytes.Equal(bytes.TrimSpace(l.text), bytes.TrimSpace([]byte(r.cfg.Ask))):
		return nil, ErrIgnored
	case l.torn:
		return nil, &Refusal{Torn, "the line broke off: no line end came (is end right?)"}
	}
	rs, err := r.dec.Decode(l.text)
	for i := range rs {
		rs[i].Time, rs[i].Source = l.at, r.cfg.Name
	}
	return rs, err
}
