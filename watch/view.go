package watch

import (
	"context"
	"time"

	"undersheet/logbook"
	"undersheet/rules"
	"undersheet/rules/gate"
)

// Times of looking at the state, on the wire's clock.
const (
	viewWait   = 2 * time.Second // longest wait for a batch to be folded and committed
	guardEvery = time.Second     // how often the clock is looked at for those who show the view
)

// shown is the last view made with every gate shut, kept for the next who asks.
type shown struct {
	of   *rules.View
	code string
	view *rules.View
}

// View returns the state as it is on record. It is shared: nobody may change it.
// It waits up to two seconds while a batch is folded and committed. Before
// anything was folded it names no store.
func (l *Loop) View() *rules.View {
	base, stalled := l.settled()
	code := l.shut()
	if code == "" && stalled {
		code = gate.FoldStalled
	}
	if code == "" {
		return base
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.shown.of != base || l.shown.code != code {
		l.shown = shown{base, code, shutAll(base, code)}
	}
	return l.shown.view
}

// settled returns a view of committed state, and whether it may be an old one
// because the loop is stuck.
func (l *Loop) settled() (v *rules.View, stalled bool) {
	wait := viewWait
	l.mu.Lock()
	if l.fault != "" {
		wait = 0
	}
	l.mu.Unlock()
	if !l.take(wait) {
		l.mu.Lock()
		defer l.mu.Unlock()
		return l.last, true
	}
	defer func() { <-l.turn }()
	if l.broken || l.state == nil {
		return l.last, false
	}
	seq := l.cursor.seq
	if l.last.Seq != seq || seq == 0 {
		v := l.state.View()
		l.mu.Lock()
		l.last = v
		l.mu.Unlock()
	}
	return l.last, false
}

// take takes the turn, waiting for it no longer than wait.
func (l *Loop) take(wait time.Duration) bool {
	select {
	case l.turn <- struct{}{}:
		return true
	default:
	}
	if wait <= 0 {
		return false
	}
	t := time.NewTimer(wait)
	defer t.Stop()
	select {
	case l.turn <- struct{}{}:
		return true
	case <-t.C:
		return false
	}
}

// shutAll returns a copy of v with every gate shut for the reason code.
func shutAll(v *rules.View, code string) *rules.View {
	c := *v
	c.Stores = append([]rules.StoreView(nil), v.Stores...)
	for i := range c.Stores {
		g := &c.Stores[i].Gate
		g.Store, g.State = c.Stores[i].Name, logbook.GateShut
		g.Reasons = append([]logbook.Reason{{Code: code}}, g.Reasons...)
	}
	return &c
}

// shut returns the reason code for which every gate is to be shown shut now; ""
// when there is none.
func (l *Loop) shut() string {
	behind := false
	if c, ok := l.log.(interface{ ClockBehind() bool }); ok {
		behind = c.ClockBehind()
	}
	now := logbook.At(l.opts.Clock())
	l.mu.Lock()
	defer l.mu.Unlock()
	switch {
	case l.fault != "":
		return l.fault
	case !l.ready:
		return gate.CatchingUp
	case behind || now < l.now:
		return gate.ClockBehind
	case now.Sub(l.now) > l.opts.Stale:
		return gate.NoEntries
	}
	return ""
}

// Changed returns a channel that is closed when the view may have changed. Take
// the channel first, then the view.
func (l *Loop) Changed() <-chan struct{} {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.next
}

// Status returns how the loop stands. It never waits for the fold.
func (l *Loop) Status() Status {
	code := l.shut()
	l.mu.Lock()
	defer l.mu.Unlock()
	s := l.status
	s.Shut = code
	return s
}

// guard tells those who show the view when a gate shuts, or opens again, by the
// passing of time alone.
func (l *Loop) guard(ctx context.Context) {
	tick := time.NewTicker(guardEvery)
	defer tick.Stop()
	for last := l.shut(); ; {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
		if code := l.shut(); code != last {
			last = code
			l.mu.Lock()
			l.changed()
			l.mu.Unlock()
		}
	}
}

// changed wakes those who wait for a change. The caller holds mu.
func (l *Loop) changed() {
	close(l.next)
	l.next = make(chan struct{})
}

// note makes known what was folded and committed.
func (l *Loop) note(folded []logbook.Entry, records int) {
	l.mu.Lock()
	defer l.mu.Unlock()
	for _, e := range folded {
		l.now = max(l.now, e.Head().Received)
	}
	l.status.Seq, l.status.Judged = l.cursor.seq, l.cursor.judged
	l.status.Folded += uint64(len(folded))
	l.status.Records += uint64(records)
	l.changed()
}

// reached notes that the fold is at the head.
func (l *Loop) reached() {
	l.mu.Lock()
	defer l.mu.Unlock()
	if !l.ready {
		l.ready = true
		l.changed()
	}
}

// behind notes that the fold is behind by a whole batch or more.
func (l *Loop) behind() {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.ready {
		l.ready = false
		l.changed()
	}
}

// trouble makes a fault known, or its end. A broken fold stays.
func (l *Loop) trouble(code string, err error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if err != nil {
		l.opts.Logger.Error("the watch is in trouble: every gate is shown shut", "reason", code, "error", err)
	}
	if l.fault == gate.FoldFailed {
		return
	}
	if l.fault != code {
		l.fault = code
		l.changed()
	}
	l.status.Err = err
}

// stop makes known that Run has returned.
func (l *Loop) stop(err error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.fault != gate.FoldFailed {
		l.fault = gate.WatchStopped
	}
	if err != nil {
		l.status.Err = err
	}
	l.changed()
	close(l.stopped)
}
