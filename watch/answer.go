package watch

import (
	"context"
	"fmt"
	"sync"

	"undersheet/logbook"
)

// Answer waits until the verdict on the act with seq is committed and returns
// it: *logbook.Accepted or *logbook.Refused. It reads nothing but the log, so it
// answers for an old act as well. An entry that is no act is an error; so is the
// end of ctx or of the loop, and then the act is judged at the next start.
func (l *Loop) Answer(ctx context.Context, seq uint64) (logbook.Recorded, error) {
	var watcher sync.WaitGroup
	defer watcher.Wait()
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	watcher.Go(func() {
		select {
		case <-l.stopped:
			cancel(ErrStopped)
		case <-ctx.Done():
		}
	})
	r, err := l.verdict(ctx, seq)
	if err != nil {
		if ctx.Err() != nil {
			err = context.Cause(ctx)
		}
		return nil, fmt.Errorf("wait for the verdict on the act with seq %d: %w", seq, err)
	}
	return r, nil
}

// verdict reads on from the act until its verdict comes.
func (l *Loop) verdict(ctx context.Context, seq uint64) (logbook.Recorded, error) {
	const batch = 256
	for next := seq; ; {
		entries, err := l.log.Read(ctx, next, batch)
		if err != nil {
			return nil, err
		}
		for _, e := range entries {
			if _, act := e.(logbook.Acting); e.Head().Seq == seq && !act {
				return nil, fmt.Errorf("the entry is a %s, not an act", e.Head().Kind)
			}
			if r, ok := e.(logbook.Recorded); ok && isVerdict(e) && r.Rec().Of == seq {
				return r, nil
			}
			next = e.Head().Seq + 1
		}
		if len(entries) > 0 {
			continue
		}
		if err := l.log.Wait(ctx, next-1); err != nil {
			return nil, err
		}
	}
}
