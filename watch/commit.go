package watch

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"undersheet/logbook"
	"undersheet/logbook/sqlite"
	"undersheet/rules/gate"
)

// Times of the loop, on the wire's clock.
const (
	stopWithin  = 10 * time.Second // for the last commit and snapshot
	retryFirst  = time.Second      // after a commit that failed
	retryMost   = 30 * time.Second
	cursorEvery = time.Minute // the cursor is written this often while nothing is proposed
	cursorAfter = 4096        // or after this many entries
)

// cursor is how far the loop has come.
type cursor struct {
	seq    uint64 // last entry folded
	judged uint64 // entries up to here have their records committed
	kept   uint64 // judged, as the log knows it
	keptAt time.Time
	snap   uint64 // seq of the newest snapshot
	snapAt time.Time
}

// commit writes what a batch proposes, with the cursor. It tries again until it
// can, every gate shut meanwhile. The caller holds the turn.
func (l *Loop) commit(ctx context.Context, p proposed) error {
	if len(p.recs)+len(p.out) == 0 {
		l.cursor.judged = max(l.cursor.judged, l.cursor.seq)
		return nil
	}
	judged := max(l.cursor.judged, l.cursor.seq) // a fold that breaks where an earlier one did not is behind
	for wait := retryFirst; ; wait = min(2*wait, retryMost) {
		err := l.append(ctx, judged, p)
		if err == nil {
			break
		}
		if errors.Is(err, sqlite.ErrClosed) || ctx.Err() != nil {
			return fmt.Errorf("commit records: %w", err)
		}
		l.trouble(gate.LogbookFailing, fmt.Errorf("commit records: %w", err))
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-time.After(wait):
		}
	}
	l.cursor.judged, l.cursor.kept, l.cursor.keptAt = judged, judged, time.Now()
	l.trouble("", nil)
	return nil
}

// append commits once. A stop does not cut it short: what is folded is
// committed when the disk allows it.
func (l *Loop) append(ctx context.Context, judged uint64, p proposed) error {
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), stopWithin)
	defer cancel()
	return l.log.AppendRecords(ctx, judged, p.recs, p.out)
}

// rest writes the cursor and a snapshot when they are due.
func (l *Loop) rest(ctx context.Context) error {
	c := &l.cursor
	if c.judged-c.kept >= cursorAfter || c.judged > c.kept && time.Since(c.keptAt) >= cursorEvery {
		if err := l.keepCursor(ctx); err != nil {
			l.opts.Logger.Warn("write the judged cursor; it is tried again", "error", err)
			c.keptAt = time.Now()
		}
	}
	if c.seq-c.snap >= l.opts.SnapshotEvery || c.seq > c.snap && time.Since(c.snapAt) >= l.opts.SnapshotAge {
		if err := l.keep(ctx); err != nil {
			l.opts.Logger.Warn("save a snapshot; it is tried again later", "error", err)
		}
	}
	return ctx.Err()
}

func (l *Loop) keepCursor(ctx context.Context) error {
	c := &l.cursor
	if c.judged <= c.kept {
		return nil
	}
	if err := l.log.AppendRecords(ctx, c.judged, nil, nil); err != nil {
		return err
	}
	c.kept, c.keptAt = c.judged, time.Now()
	return nil
}

// keep writes the cursor and a snapshot of the state. A state whose records are not
// committed is not kept, since they would never be proposed again; nor is one that has
// an entry in part, or one of a build without a name.
func (l *Loop) keep(ctx context.Context) error {
	c := &l.cursor
	c.snapAt = time.Now()
	if err := l.keepCursor(ctx); err != nil {
		return fmt.Errorf("write the judged cursor: %w", err)
	}
	store, ok := l.log.(Snapshots)
	if !ok || l.opts.Build == "" || l.broken || c.seq == c.snap || c.judged < c.seq {
		return nil
	}
	l.turn <- struct{}{}
	data, err := json.Marshal(both{l.state, l.planner})
	<-l.turn
	if err != nil {
		return fmt.Errorf("write the state at seq %d as JSON: %w", c.seq, err)
	}
	err = store.SaveSnapshot(ctx, sqlite.Snapshot{Build: l.opts.Build, ConfigHash: l.opts.ConfigHash, Seq: c.seq, Data: data})
	if err != nil {
		return err
	}
	c.snap = c.seq
	l.mu.Lock()
	defer l.mu.Unlock()
	l.status.Snapshot, l.status.SnapshotAt = c.snap, l.opts.Clock()
	return nil
}

// both is the data of a snapshot.
type both struct {
	Rules any `json:"rules"`
	Alert any `json:"alert"`
}

// load makes state and planner of the newest snapshot and returns its seq, or
// makes empty ones and returns 0. A snapshot that cannot be read is passed over, and so
// is every one that this very build did not make: what a field means may have changed.
func (l *Loop) load(ctx context.Context) uint64 {
	l.state, l.planner = l.opts.NewState(), l.opts.NewPlanner()
	store, ok := l.log.(Snapshots)
	if !ok || l.opts.Build == "" {
		return 0
	}
	snap, err := store.LoadSnapshot(ctx, l.opts.Build, l.opts.ConfigHash)
	if err == nil && snap != nil {
		err = unmarshal(snap.Data, both{l.state, l.planner})
	}
	if err != nil {
		l.opts.Logger.Warn("load a snapshot; everything is folded anew", "error", err)
		l.state, l.planner = l.opts.NewState(), l.opts.NewPlanner()
		return 0
	}
	if snap == nil {
		return 0
	}
	return snap.Seq
}

// unmarshal reads the data of a snapshot; a panic of a reader becomes an error.
func unmarshal(data []byte, into both) (err error) {
	defer func() {
		if r := recover(); r != nil {
			err = fmt.Errorf("read snapshot: %v", r)
		}
	}()
	var raw struct{ Rules, Alert json.RawMessage }
	if err := json.Unmarshal(data, &raw); err != nil {
		return err
	}
	if err := json.Unmarshal(raw.Rules, into.Rules); err != nil {
		return err
	}
	return json.Unmarshal(raw.Alert, into.Alert)
}

// verdictIn reports whether one of recs is a verdict on an act.
func verdictIn(recs []logbook.Recorded) bool {
	for _, r := range recs {
		if isVerdict(r) {
			return true
		}
	}
	return false
}

func isVerdict(e logbook.Entry) bool {
	k := e.Head().Kind
	return k == logbook.KindAccepted || k == logbook.KindRefused
}
