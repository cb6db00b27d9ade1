package watch

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"iter"
	"log/slog"
	"sync"
	"time"

	"undersheet/logbook"
	"undersheet/logbook/sqlite"
	"undersheet/rules"
)

// Log is the logbook as the loop uses it. Two optional abilities are looked for:
// Snapshots and a method ClockBehind() bool.
type Log interface {
	Read(ctx context.Context, from uint64, limit int) ([]logbook.Entry, error)
	Wait(ctx context.Context, after uint64) error
	Head(ctx context.Context) (sqlite.Head, error)
	Judged(ctx context.Context) (uint64, error)
	AppendRecords(ctx context.Context, judged uint64, recs []logbook.Recorded, out []sqlite.Outgoing) error
}

// Snapshots is a Log that keeps states of the fold.
type Snapshots interface {
	SaveSnapshot(ctx context.Context, s sqlite.Snapshot) error
	LoadSnapshot(ctx context.Context, build, configHash string) (*sqlite.Snapshot, error)
}

// Folder is a state that entries are folded into. encoding/json writes and reads
// it without loss.
type Folder interface {
	Fold(e logbook.Entry) []logbook.Recorded
	View() *rules.View
}

// Planner plans messages. It is folded over the same entries, after the Folder;
// now gives the view after the entry and the head of the log, and is called only
// when a message is written. encoding/json writes and reads the Planner without
// loss.
type Planner interface {
	Fold(e logbook.Entry, now func() (*rules.View, sqlite.Head)) []sqlite.Outgoing
}

// Options say how a Loop works. The zero value is right for a daemon that tells
// nobody.
type Options struct {
	Program       string           // version of the program, put into every record
	Build         string           // names this very build, as no other one, in the key of snapshots; empty: none is taken or kept
	ConfigHash    string           // hash of the site file, in the key of snapshots
	NewState      func() Folder    // nil: rules.New
	NewPlanner    func() Planner   // nil: nobody is told
	Planned       func()           // called after messages were committed; must not block
	Clock         func() time.Time // depot's clock; nil: time.Now
	Stale         time.Duration    // age of the newest entry from which every gate is shown shut; 0 = 2 min
	Batch         int              // entries folded at most before others may look at the state; 0 = 256
	SnapshotEvery uint64           // entries between snapshots; 0 = 20,000
	SnapshotAge   time.Duration    // and the longest time between them; 0 = 15 min
	Logger        *slog.Logger     // nil: slog.Default()
}

func (o Options) withDefaults() Options {
	if o.NewState == nil {
		o.NewState = func() Folder { return rules.New() }
	}
	if o.NewPlanner == nil {
		o.NewPlanner = func() Planner { return &nobody{} }
	}
	if o.Planned == nil {
		o.Planned = func() {}
	}
	if o.Clock == nil {
		o.Clock = time.Now
	}
	if o.Stale == 0 {
		o.Stale = 2 * time.Minute
	}
	if o.Batch <= 0 {
		o.Batch = 256
	}
	if o.SnapshotEvery == 0 {
		o.SnapshotEvery = 20_000
	}
	if o.SnapshotAge == 0 {
		o.SnapshotAge = 15 * time.Minute
	}
	if o.Logger == nil {
		o.Logger = slog.Default()
	}
	return o
}

// nobody is the Planner that plans nothing.
type nobody struct{}

// Fold implements Planner.
func (*nobody) Fold(logbook.Entry, func() (*rules.View, sqlite.Head)) []sqlite.Outgoing { return nil }

// Loop follows one logbook. Its methods may be called from many goroutines.
type Loop struct {
	log  Log
	opts Options

	// turn holds one token while somebody uses state and planner. A channel, not
	// a mutex, so that View can stop waiting for a commit that hangs.
	turn    chan struct{}
	state   Folder
	planner Planner
	broken  bool   // state and planner must not be used or kept again
	breach  breach // where and since when
	cursor  cursor // written by Run's goroutine only, seq under the turn

	stopped chan struct{} // closed when Run returns

	mu     sync.Mutex
	status Status
	ready  bool          // the head was reached
	fault  string        // reason code of what is wrong with the loop itself
	now    logbook.Time  // received time of the newest entry folded
	next   chan struct{} // closed when something changed
	last   *rules.View   // newest view of committed state
	shown  shown
}

// Status is how the loop stands, for metrics and health checks.
type Status struct {
	Seq        uint64    // last entry folded
	Judged     uint64    // last entry whose records are committed
	Folded     uint64    // entries folded since start
	Records    uint64    // records committed since start
	Snapshot   uint64    // seq of the newest snapshot, loaded or written; 0 = none
	SnapshotAt time.Time // how far it goes, by the depot's clock
	Shut       string    // reason code for which every gate is shown shut; empty = none
	Err        error     // newest trouble; nil when it is over
}

var (
	// ErrStopped says that the loop has stopped.
	ErrStopped = errors.New("the watch has stopped")
	// ErrBroken says that Run ended because an entry cannot be folded. People are told,
	// and every gate is shown shut.
	ErrBroken = errors.New("the fold is broken")
)

// New returns a Loop over log. It starts nothing and reads nothing.
func New(log Log, o Options) *Loop {
	return &Loop{log: log, opts: o.withDefaults(), turn: make(chan struct{}, 1), stopped: make(chan struct{}),
		next: make(chan struct{}), last: &rules.View{}}
}

// Run folds the log to its head and follows it until ctx is done, and then
// returns nil. Any other end is an error; the view stays, every gate shut. Run
// may be called once.
func (l *Loop) Run(ctx context.Context) (err error) {
	ctx, cancel := context.WithCancel(ctx)
	var guard sync.WaitGroup
	guard.Go(func() { l.guard(ctx) })
	defer func() {
		cancel()
		guard.Wait()
		l.stop(err)
	}()
	if err := l.start(ctx); err != nil {
		return l.end(ctx, err)
	}
	for {
		n, err := l.step(ctx)
		if err != nil {
			return l.end(ctx, err)
		}
		if n > 0 {
			continue
		}
		l.reached()
		if err := l.log.Wait(ctx, l.cursor.seq); err != nil {
			return l.end(ctx, fmt.Errorf("wait for entries after seq %d: %w", l.cursor.seq, err))
		}
	}
}

// start loads the newest snapshot, or begins with an empty state.
func (l *Loop) start(ctx context.Context) error {
	judged, err := l.log.Judged(ctx)
	if err != nil {
		return fmt.Errorf("read the judged cursor: %w", err)
	}
	l.turn <- struct{}{}
	defer func() { <-l.turn }()
	seq := l.load(ctx)
	if seq > 0 {
		l.mu.Lock()
		l.now = l.state.View().Now
		l.status.Snapshot, l.status.SnapshotAt = seq, l.now.Std()
		l.mu.Unlock()
	}
	l.cursor = cursor{seq: seq, judged: judged, kept: judged, keptAt: time.Now(), snapAt: time.Now(), snap: seq}
	l.note(nil, 0)
	return nil
}

// step folds the next batch and commits what it proposes. It returns how many
// entries it folded.
func (l *Loop) step(ctx context.Context) (int, error) {
	entries, err := l.log.Read(ctx, l.cursor.seq+1, l.opts.Batch)
	if err != nil {
		return 0, fmt.Errorf("read entries from seq %d: %w", l.cursor.seq+1, err)
	}
	if len(entries) == 0 {
		return 0, l.rest(ctx)
	}
	if len(entries) == l.opts.Batch {
		l.behind()
	}
	l.turn <- struct{}{}
	n, p, err := l.foldBatch(ctx, entries)
	if err == nil {
		err = l.commit(ctx, p)
	}
	<-l.turn
	if err != nil {
		return n, err
	}
	l.note(entries[:n], len(p.recs))
	if len(p.out) > 0 {
		l.opts.Planned()
	}
	return n, l.rest(ctx)
}

// proposed is what a batch asks to be committed.
type proposed struct {
	recs []logbook.Recorded
	out  []sqlite.Outgoing
}

// mostRecords ends a batch early, so that one commit stays small.
const mostRecords = 256

// foldBatch folds entries until one of them proposes a verdict, so that people
// wait for nothing but their own act. The caller holds the turn.
func (l *Loop) foldBatch(ctx context.Context, entries []logbook.Entry) (n int, p proposed, err error) {
	for _, e := range entries {
		if got := e.Head().Seq; got != l.cursor.seq+1 {
			return n, p, fmt.Errorf("read entries: seq %d follows seq %d, the logbook has a gap", got, l.cursor.seq)
		}
		recs, out, err := l.fold(ctx, e)
		if err != nil && ctx.Err() != nil {
			l.broken = true // e is folded in part; the next start does it whole
			return n, p, err
		}
		if err != nil {
			return n, p, l.broke(ctx, p, e, err)
		}
		l.cursor.seq = e.Head().Seq
		n++
		if l.cursor.seq <= l.cursor.judged {
			continue
		}
		recs = l.writable(recs)
		p.recs, p.out = append(p.recs, recs...), append(p.out, out...)
		if verdictIn(recs) || len(p.recs)+len(p.out) >= mostRecords {
			break
		}
	}
	return n, p, nil
}

// fold folds one entry into state and planner; a panic becomes an error.
func (l *Loop) fold(ctx context.Context, e logbook.Entry) (recs []logbook.Recorded, out []sqlite.Outgoing, err error) {
	defer func() {
		if r := recover(); r != nil {
			err = brokenFold(e, r)
		}
	}()
	recs = l.state.Fold(e)
	if s, ok := l.state.(outdated); ok && s.Outdated() {
		more, err := l.refold(ctx, s, e.Head().Seq)
		if err != nil {
			return nil, nil, err
		}
		recs = append(recs, more...)
	}
	if a := l.goesOn(e); a != nil {
		recs = append(recs, a)
	}
	return recs, l.planner.Fold(e, l.moment(ctx)), nil
}

// outdated is a Folder that a correction can put out of date.
type outdated interface {
	Outdated() bool
	Refold(past iter.Seq2[logbook.Entry, error], byHand bool) ([]logbook.Recorded, error)
}

// refold makes the state again from the first entry to seq, after a correction. The
// planner is not asked again: what was sent was sent.
func (l *Loop) refold(ctx context.Context, s outdated, seq uint64) ([]logbook.Recorded, error) {
	return s.Refold(func(yield func(logbook.Entry, error) bool) {
		for from := uint64(1); from <= seq; {
			entries, err := l.log.Read(ctx, from, l.opts.Batch)
			if err != nil || len(entries) == 0 {
				yield(nil, fmt.Errorf("read entries from seq %d again, for a correction: %w", from, cmp.Or(err, io.ErrUnexpectedEOF)))
				return
			}
			for _, e := range entries {
				if from = e.Head().Seq + 1; from > seq+1 || !yield(e, nil) {
					return
				}
			}
		}
	}, false)
}

// moment returns what a Planner may ask for.
func (l *Loop) moment(ctx context.Context) func() (*rules.View, sqlite.Head) {
	return func() (*rules.View, sqlite.Head) {
		h, err := l.log.Head(ctx)
		if err != nil {
			l.opts.Logger.Warn("read the head of the logbook for a message", "error", err)
		}
		return l.state.View(), h
	}
}

// end says how Run ends: without an error when it was asked to.
func (l *Loop) end(ctx context.Context, err error) error {
	if ctx.Err() == nil {
		return err
	}
	stop, cancel := context.WithTimeout(context.WithoutCancel(ctx), stopWithin)
	defer cancel()
	if l.state != nil {
		if err := l.keep(stop); err != nil {
			l.opts.Logger.Warn("keep the state at the stop; the next start takes longer", "error", err)
		}
	}
	return nil
}
