package forward

import (
	"context"
	"errors"
	"fmt"
	"iter"
	"log/slog"
	"strings"
	"sync"
	"time"

	"github.com/cenkalti/backoff/v5"

	"undersheet/forward/lines"
	"undersheet/logbook"
	"undersheet/logbook/sqlite"
)

// Log is the logbook as it is copied out.
type Log interface {
	Head(ctx context.Context) (sqlite.Head, error)
	Wait(ctx context.Context, after uint64) error
	Entries(ctx context.Context, from uint64) iter.Seq2[logbook.Entry, error]
	// Repeated tells readings whose channel and time have an earlier entry.
	Repeated(ctx context.Context, readings []*logbook.Reading) ([]bool, error)
	Cursors
}

// Cursors keep how far each destination has come.
type Cursors interface {
	Cursor(ctx context.Context, name string) (sqlite.Cursor, error)
	SetCursor(ctx context.Context, name string, c sqlite.Cursor) error
}

// Options say how a Forwarder works. The zero value is right for a daemon.
type Options struct {
	Clock   func() time.Time // for ages in Stats and for Settle; nil: time.Now
	Logger  *slog.Logger     // nil: slog.Default()
	Lines   int              // most entries of a batch; 0 = 5000
	Bytes   int              // size above which a batch ends, before compression; 0 = 1 MiB
	Gather  time.Duration    // how long entries are gathered before a batch that is not full; 0 = 10 s
	Timeout time.Duration    // deadline of one request; 0 = 30 s
	Settle  time.Duration    // how long a server may take to put what it took on its disk; 0 = 10 s. Not for files
}

// withDefaults fills in what is 0.
func (o Options) withDefaults() Options {
	if o.Clock == nil {
		o.Clock = time.Now
	}
	if o.Logger == nil {
		o.Logger = slog.Default()
	}
	for _, d := range []struct {
		set     *time.Duration
		usually time.Duration
	}{{&o.Gather, 10 * time.Second}, {&o.Timeout, 30 * time.Second}, {&o.Settle, 10 * time.Second}} {
		if *d.set <= 0 {
			*d.set = d.usually
		}
	}
	if o.Lines <= 0 {
		o.Lines = 5000
	}
	if o.Bytes <= 0 {
		o.Bytes = 1 << 20
	}
	return o
}

// destination is a file or a server.
type destination interface {
	// begin returns where to go on, given the head and the cursor of the logbook.
	begin(head sqlite.Head, c sqlite.Cursor) (sqlite.Cursor, error)
	// send hands over a batch that has lines.
	send(ctx context.Context, b *batch) sent
	// end frees what is held open.
	end()
}

// sent says what became of a batch.
type sent struct {
	err     *failure // nil: it was taken, but for the refused lines
	refused int      // lines that the destination will never take
	why     error    // of the last one refused
	smaller bool     // it was too much at once: make the next ones smaller
	broken  bool     // the connection was lost since the batch before, or now
}

// failure is why a batch was not taken.
type failure struct {
	err   error
	slow  bool          // somebody must put it right
	after time.Duration // the server asks to be left alone for so long; 0 = it does not say
	anew  bool          // the destination changed: find out again where to go on
}

// Forwarder copies the logbook to one destination. Stats may be called from
// many goroutines.
type Forwarder struct {
	name string
	log  Log
	dest destination
	opts Options

	// Only Run's goroutine uses these.
	enc    *lines.Encoder
	site   uint64        // seq of the configuration that enc holds
	at     sqlite.Cursor // up to which all was sent
	caught bool          // at was the head of the log
	limit  int           // entries of a batch now
	settle settling
	quick  *backoff.ExponentialBackOff
	slow   *backoff.ExponentialBackOff

	mu    sync.Mutex
	stats Stats
	since logbook.Time // when the oldest entry that is not copied was received; 0 = none
}

// New returns a Forwarder of log to the destination that conf describes. It
// starts nothing and opens nothing but the certificates.
func New(conf logbook.Forward, log Log, o Options) (*Forwarder, error) {
	o = o.withDefaults()
	if strings.TrimSpace(conf.Name) == "" {
		return nil, errors.New("forward.name: is missing: the cursor is kept by it")
	}
	f := &Forwarder{name: conf.Name, log: log, opts: o, enc: lines.New(), limit: o.Lines,
		quick: waits(time.Second, 2*time.Minute), slow: waits(30*time.Second, 10*time.Minute)}
	f.stats.Name = conf.Name
	switch {
	case (conf.File == "") == (conf.URL == ""):
		return nil, fmt.Errorf("forward %q: give either file or url", conf.Name)
	case conf.File != "":
		f.dest = &file{path: conf.File, logger: o.Logger}
	default:
		s, err := newServer(conf, o)
		if err != nil {
			return nil, fmt.Errorf("forward %q: %w", conf.Name, err)
		}
		f.dest, f.settle.within = s, o.Settle
	}
	return f, nil
}

// waits returns waits from first on, doubling up to most, with jitter.
func waits(first, most time.Duration) *backoff.ExponentialBackOff {
	b := backoff.NewExponentialBackOff()
	b.InitialInterval, b.MaxInterval, b.Multiplier = first, most, 2
	b.Reset()
	return b
}

// Run copies until ctx is done, and then returns nil; a closed logbook is an error.
func (f *Forwarder) Run(ctx context.Context) error {
	defer f.dest.end()
	for begun := false; ctx.Err() == nil; {
		var err *failure
		if !begun {
			err = f.begin(ctx)
			begun = err == nil
		} else if err = f.round(ctx); err != nil {
			begun = !err.anew
		}
		if err != nil && errors.Is(err.err, sqlite.ErrClosed) {
			return fmt.Errorf("forward %q: %w", f.name, err.err)
		}
		if err != nil && ctx.Err() == nil {
			f.pause(ctx, err)
		}
	}
	f.leave(ctx)
	return nil
}

// begin finds out where to go on.
func (f *Forwarder) begin(ctx context.Context) *failure {
	head, err := f.log.Head(ctx)
	if err != nil {
		return &failure{err: fmt.Errorf("look at the logbook: %w", err)}
	}
	c, err := f.log.Cursor(ctx, f.name)
	if err != nil {
		return &failure{err: err, slow: true}
	}
	f.settle.kept = c
	if c, err = f.dest.begin(head, c); err != nil {
		return &failure{err: err, slow: true}
	}
	f.at, f.caught = c, false
	f.settle.begin(c)
	f.note(func(s *Stats) { s.Cursor = c.Seq })
	return nil
}

// round copies one batch, when there is one.
func (f *Forwarder) round(ctx context.Context) *failure {
	if c, again := f.settle.again(f.opts.Clock()); again {
		f.opts.Logger.Info("the connection was lost: what may not have settled is sent again", "destination", f.name, "from", c.Seq+1, "to", f.at.Seq)
		f.at, f.caught = c, false
	}
	if f.caught {
		if err := f.log.Wait(ctx, f.at.Seq); err != nil {
			return &failure{err: fmt.Errorf("wait for entries: %w", err)}
		}
		sleep(ctx, f.opts.Gather)
	}
	b, err := f.build(ctx)
	if err != nil {
		return &failure{err: err}
	}
	var s sent
	if len(b.ends) > 0 {
		s = f.dest.send(ctx, b)
		f.resize(s, b)
		f.settle.broken = f.settle.broken || s.broken
		if s.err != nil {
			return s.err
		}
	}
	f.took(ctx, b, s)
	return nil
}

// resize makes later batches smaller when one was too much, and slowly larger again.
func (f *Forwarder) resize(s sent, b *batch) {
	switch {
	case s.smaller:
		f.limit = max(1, f.limit/2)
	case s.err == nil && b.full:
		f.limit = min(f.opts.Lines, f.limit+f.opts.Lines/16+1)
	}
}

// seldom is how far the cursor of a log without lines may run ahead of the one
// that is kept.
const seldom = 10000

// took goes on after a batch that was taken.
func (f *Forwarder) took(ctx context.Context, b *batch, s sent) {
	now := f.opts.Clock()
	f.at, f.caught = b.upTo, !b.full
	f.settle.took(b.upTo, now)
	f.pending(0)
	f.note(func(st *Stats) {
		st.Cursor = b.upTo.Seq
		st.Sent += uint64(len(b.ends) - s.refused)
		st.Refused += uint64(s.refused + b.unfit)
	})
	if b.why != nil {
		f.passedOver(b.unfit, b.why)
	}
	if s.why != nil {
		f.passedOver(s.refused, s.why)
	}
	far := uint64(seldom)
	if len(b.ends) > 0 {
		f.quick.Reset()
		f.slow.Reset()
		f.note(func(st *Stats) { st.LastTaken, st.Attention = now, false })
		far = 1
	}
	f.keep(ctx, far)
}

// passedOver says which lines will not be at the destination.
func (f *Forwarder) passedOver(n int, why error) {
	f.opts.Logger.Error("lines are passed over", "destination", f.name, "lines", n, "error", why)
	f.note(func(st *Stats) { st.LastError = fmt.Sprintf("%d lines are passed over: %v", n, why) })
}

// keep writes down what has settled when that is at least far entries ahead of
// what is written already.
func (f *Forwarder) keep(ctx context.Context, far uint64) {
	c := f.settle.settled(f.opts.Clock())
	if c == f.settle.kept || c.Seq > f.settle.kept.Seq && c.Seq-f.settle.kept.Seq < far {
		return
	}
	if err := f.log.SetCursor(ctx, f.name, c); err != nil {
		if ctx.Err() == nil {
			f.opts.Logger.Error("the cursor cannot be kept: after a restart more is sent again", "destination", f.name, "error", err)
			f.note(func(s *Stats) { s.LastError = err.Error() })
		}
		return
	}
	f.settle.kept = c
}

// pause waits after a failure.
func (f *Forwarder) pause(ctx context.Context, why *failure) {
	wait := f.quick.NextBackOff()
	if why.slow {
		wait = f.slow.NextBackOff()
	}
	wait = max(wait, why.after)
	f.opts.Logger.Warn("copying the logbook out waits", "destination", f.name, "again_in", wait.Round(time.Millisecond), "error", why.err)
	f.note(func(s *Stats) {
		s.Failed++
		s.LastError = why.err.Error()
		s.Attention = why.slow
	})
	sleep(ctx, wait)
}

// sleep returns after d or when ctx is done.
func sleep(ctx context.Context, d time.Duration) {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
	case <-ctx.Done():
	}
}

// leaveWithin is for writing the cursor after a stop.
const leaveWithin = 5 * time.Second

// leave writes the cursor down when Run ends.
func (f *Forwarder) leave(ctx context.Context) {
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), leaveWithin)
	defer cancel()
	f.keep(ctx, 1)
}

// Stats say how copying goes.
type Stats struct {
	Name      string        // of the destination
	Cursor    uint64        // seq up to which all was sent
	Lag       uint64        // entries that are not sent yet
	Oldest    time.Duration // since the oldest of them was received; 0 = none is due
	Sent      uint64        // lines taken since start, those sent again among them
	Refused   uint64        // lines that will not be at the destination, since start
	Failed    uint64        // attempts that failed since start
	LastError string        // empty = none yet
	LastTaken time.Time     // when the last batch was taken; zero = none yet
	Attention bool          // somebody must put something right; LastError says what
}

// Stats returns how copying goes.
func (f *Forwarder) Stats() Stats {
	f.mu.Lock()
	s, since := f.stats, f.since
	f.mu.Unlock()
	if head, err := f.log.Head(context.Background()); err == nil && head.Seq > s.Cursor {
		s.Lag = head.Seq - s.Cursor
		if since != 0 {
			s.Oldest = max(0, f.opts.Clock().Sub(since.Std()))
		}
	}
	return s
}

// note changes the stats.
func (f *Forwarder) note(change func(*Stats)) {
	f.mu.Lock()
	defer f.mu.Unlock()
	change(&f.stats)
}

// pending notes when the oldest entry that is not copied was received; 0: there is none.
func (f *Forwarder) pending(since logbook.Time) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.since = since
}
