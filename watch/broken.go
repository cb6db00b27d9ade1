package watch

import (
	"context"
	"fmt"
	"math"
	"runtime/debug"
	"time"

	"undersheet/logbook"
	"undersheet/logbook/sqlite"
	"undersheet/rules"
	"undersheet/rules/gate"
)

// alarmStopped is the alarm that the fold broke and nobody watches any more.
const alarmStopped = "watch-stopped"

// stoppedAgain is after how long people are told again that the fold is broken at the same entry:
// often enough for whoever overlooked it, seldom enough for a service that is started anew every
// minute. stoppedLook is how often that is looked at while nobody starts it anew.
const (
	stoppedAgain = 24 * time.Hour
	stoppedLook  = 10 * time.Minute
)

// breach is where the fold broke, and what people were told of that.
type breach struct {
	at   logbook.Entry  // nil: it is not broken
	last *logbook.Alarm // the newest one after it that says that the watch has stopped, or goes on
	read uint64         // entries up to here were looked at for it
}

// brokenFold puts a panic of the fold into words.
func brokenFold(e logbook.Entry, cause any) error {
	return fmt.Errorf("fold entry %d (%s): the program broke: %v\nEvery gate is shown shut. Keep a copy of the logbook and report this text:\n%s",
		e.Head().Seq, e.Head().Kind, cause, debug.Stack())
}

// broke ends the fold at e: what the entries before it proposed is committed,
// people are told, and the state is not used again. It returns cause as an ErrBroken.
// The caller holds the turn.
func (l *Loop) broke(ctx context.Context, p proposed, e logbook.Entry, cause error) error {
	cause = fmt.Errorf("%w: %w", ErrBroken, cause)
	l.lastView()
	l.broken, l.breach = true, breach{at: e, read: e.Head().Seq}
	l.trouble(gate.FoldFailed, cause)
	l.tellStopped(ctx, p)
	return cause
}

// StillBroken goes on telling people, once a day, that the fold is broken, until ctx is done: Run has
// returned an ErrBroken, and nobody starts the program anew.
func (l *Loop) StillBroken(ctx context.Context) {
	for {
		select {
		case <-ctx.Done():
			return
		case <-time.After(stoppedLook):
		}
		l.turn <- struct{}{}
		l.tellStopped(ctx, proposed{})
		<-l.turn
	}
}

// tellStopped commits p, and that the watch has stopped unless people know it. The caller holds
// the turn.
func (l *Loop) tellStopped(ctx context.Context, p proposed) {
	if err := l.readBreach(ctx); err != nil {
		l.opts.Logger.Error("look whether people know that the watch has stopped", "error", err)
	}
	if a := l.stoppedAlarm(l.breach.at, l.breach.last); a != nil {
		p.recs = append(p.recs, a)
	}
	p.out = append(p.out, l.planNow(ctx, p.recs)...)
	if err := l.commit(ctx, p); err != nil {
		l.opts.Logger.Error("tell people that the watch has stopped", "error", err)
		return
	}
	if len(p.out) > 0 {
		l.opts.Planned()
	}
}

// lastView makes sure that there is a view that names the stores, so that their
// gates can be shown shut: the newest one that was whole, else what the broken
// state still gives.
func (l *Loop) lastView() {
	defer func() {
		if r := recover(); r != nil {
			l.opts.Logger.Error("make a view of the state in which the fold broke", "error", r)
		}
	}()
	if len(l.last.Stores) > 0 {
		return
	}
	v := l.state.View()
	l.mu.Lock()
	defer l.mu.Unlock()
	l.last = v
}

// stoppedAlarm is the alarm that the watch has stopped at e; nil when people know it by the last
// one of its kind, which was raised within stoppedAgain and stands. It is of that one where there
// is one: a message of the same entry counts as sent.
func (l *Loop) stoppedAlarm(e logbook.Entry, last *logbook.Alarm) *logbook.Alarm {
	now := logbook.At(l.opts.Clock())
	a := &logbook.Alarm{Header: logbook.Header{Time: now, Kind: logbook.KindAlarm}, State: logbook.AlarmRaised,
		Record: logbook.Record{Of: e.Head().Seq, Program: l.opts.Program}, Alarm: alarmStopped,
		Priority: logbook.PriorityHigh, Onset: now, Code: string(e.Head().Kind)}
	if last == nil {
		return a
	}
	a.Of = last.Seq
	if last.State == logbook.AlarmRaised {
		if now.Sub(last.Time).Abs() < stoppedAgain {
			return nil
		}
		a.Onset = last.Onset
	}
	return a
}

// goesOn is the record that the watch no longer stands still, since a program has folded on to
// the alarm that said so; nil when e is no such alarm.
func (l *Loop) goesOn(e logbook.Entry) *logbook.Alarm {
	was, ok := e.(*logbook.Alarm)
	if !ok || was.Alarm != alarmStopped || was.State != logbook.AlarmRaised {
		return nil
	}
	a := *was
	a.Header = logbook.Header{Time: logbook.At(l.opts.Clock()), Kind: logbook.KindAlarm}
	a.Record = logbook.Record{Of: was.Seq}
	a.State = logbook.AlarmCleared
	return &a
}

// planNow plans the messages of records that this loop will not read back. Their
// keys are those that a later program would give them.
func (l *Loop) planNow(ctx context.Context, recs []logbook.Recorded) (out []sqlite.Outgoing) {
	defer func() {
		if r := recover(); r != nil {
			l.opts.Logger.Error("plan messages after the fold broke", "error", r)
		}
	}()
	for _, r := range recs {
		out = append(out, l.planner.Fold(r, func() (*rules.View, sqlite.Head) {
			h, _ := l.log.Head(ctx) // without it the message lacks the hash
			return l.last, h
		})...)
	}
	return out
}

// readBreach reads on for alarms that say that the watch has stopped, or no longer stands still.
func (l *Loop) readBreach(ctx context.Context) error {
	const batch = 1024
	for b := &l.breach; ; {
		entries, err := l.log.Read(ctx, b.read+1, batch)
		if err != nil || len(entries) == 0 {
			return err
		}
		for _, e := range entries {
			if a, ok := e.(*logbook.Alarm); ok && a.Alarm == alarmStopped {
				b.last = a
			}
		}
		b.read += uint64(len(entries))
	}
}

// writable returns the records that are committed: hourly forecasts are left
// out, the program's version is put in, and a record that cannot be written is
// replaced, so that one bad number keeps no other record back.
func (l *Loop) writable(recs []logbook.Recorded) []logbook.Recorded {
	kept := recs[:0:0]
	for _, r := range recs {
		if f, ok := r.(*logbook.Forecast); ok && !f.Daily {
			continue
		}
		r.Rec().Program = l.opts.Program
		if err := check(r); err != nil {
			l.opts.Logger.Error("a record cannot be written as it is", "kind", r.Head().Kind, "of", r.Rec().Of, "error", err)
			r = mended(r, err)
		}
		kept = append(kept, r)
	}
	return kept
}

// check reports why a record cannot be written.
func check(r logbook.Recorded) error {
	if err := r.Validate(); err != nil {
		return err
	}
	_, err := logbook.Encode(r)
	return err
}

// mended returns what is written in place of a record that cannot be: an alarm
// without its numbers, a refusal without its reasons, else a finding.
func mended(r logbook.Recorded, cause error) logbook.Recorded {
	switch r := r.(type) {
	case *logbook.Alarm:
		a := *r
		a.Value, a.Limit = finite(a.Value), finite(a.Limit)
		if check(&a) == nil {
			return &a
		}
	case *logbook.Refused:
		x := *r
		x.Reasons = nil
		if check(&x) == nil {
			return &x
		}
	}
	h := *r.Head()
	f := &logbook.Finding{Header: h, Record: *r.Rec(), Code: "record-not-written", About: string(h.Kind), Text: cause.Error()}
	f.Kind = logbook.KindFinding
	return f
}

func finite(n logbook.Number) logbook.Number {
	if math.IsNaN(float64(n)) || math.IsInf(float64(n), 0) {
		return 0
	}
	return n
}
