package frames

import (
	"context"
	"errors"
	"fmt"
	"time"

	"undersheet/sensor"
)

// state is what the sink was last told of the instrument.
type state int

const (
	untold state = iota
	well
	gone   // the serial device is not there
	silent // nothing readable comes
)

// watch is what a Reader knows of its instrument. All times are the depot's.
type watch struct {
	alike   time.Duration // between two refusals for one reason
	state   state
	since   time.Time // of the last reading, or since when one is waited for
	isOpen  bool
	isReady bool
	ask     time.Time // when it is asked next
	refused map[Reason]*tally
	last    string // why a line was last refused, since the last reading; "" = none was
}

// tally counts the refusals for one reason.
type tally struct {
	told time.Time       // when the sink was last told
	held int             // refused since
	last *sensor.Refused // the last of those
}

// start begins to wait for a reading.
func (w *watch) start(now time.Time) { w.since = now }

// open notes that the port is open: the instrument has its time to speak.
func (w *watch) open(now time.Time) {
	w.isOpen, w.isReady = true, false
	w.since, w.last = now, ""
}

// ready notes that the line can be followed: the instrument is asked at once.
func (w *watch) ready(now time.Time) { w.isReady, w.ask = true, now }

// patience is how long the instrument may say nothing readable.
func (r *Reader) patience() time.Duration { return max(3*r.cfg.Every, leastSilence) }

// next is when due has something to do again.
func (r *Reader) next(now time.Time) time.Time {
	next := now.Add(r.patience())
	sooner := func(t time.Time) {
		if t.Before(next) {
			next = t
		}
	}
	if r.watch.state != silent && r.watch.isOpen {
		sooner(r.watch.since.Add(r.patience()))
	}
	if r.cfg.Ask != "" && r.watch.isReady {
		sooner(r.watch.ask)
	}
	for _, t := range r.watch.refused {
		if t.held > 0 {
			sooner(t.told.Add(r.watch.alike))
		}
	}
	return next
}

// due asks the instrument when it is time to, says when it was silent for too
// long, and tells of refusals that were held back.
func (r *Reader) due(ctx context.Context, now time.Time) error {
	w := &r.watch
	if now.Before(w.since) { // the clock was set back
		w.since = now
	}
	if r.cfg.Ask != "" && w.isReady && (!now.Before(w.ask) || w.ask.Sub(now) > r.cfg.Every) {
		_, _ = r.port.Write([]byte(r.cfg.Ask)) // a failure is heard by the reader, too
		w.ask = now.Add(r.cfg.Every)
	}
	if w.isOpen && w.state != silent && now.Sub(w.since) >= r.patience() {
		why := fmt.Sprintf("nothing came for %v", r.patience())
		if w.last != "" {
			why = fmt.Sprintf("nothing readable came for %v: %s", r.patience(), w.last)
		}
		if err := r.state(ctx, silent, why, now); err != nil {
			return err
		}
	}
	for _, reason := range []Reason{NoFit, NoChannel, NoUnit, TwoValues, TooLong, Torn} {
		t := w.refused[reason]
		if t == nil || t.held == 0 || now.Sub(t.told) < w.alike && !now.Before(t.told) {
			continue
		}
		if err := r.pass(ctx, t, now); err != nil {
			return err
		}
	}
	return nil
}

// well notes a reading that came at the given time.
func (r *Reader) well(ctx context.Context, at time.Time) error {
	r.watch.since, r.watch.last = at, ""
	return r.state(ctx, well, "answers", at)
}

// gone notes that the serial device is not there.
func (r *Reader) gone(ctx context.Context, cause error) error {
	r.watch.isOpen, r.watch.isReady = false, false
	return r.state(ctx, gone, cause.Error(), r.o.Clock.Now())
}

// state tells the sink how the instrument is, if that is news.
func (r *Reader) state(ctx context.Context, s state, detail string, at time.Time) error {
	if r.watch.state == s {
		return nil
	}
	err := r.sink.Status(ctx, sensor.Status{Instrument: r.cfg.Name, OK: s == well, Detail: detail, Time: at})
	if err != nil {
		return fmt.Errorf("deliver a status: %w", err)
	}
	r.watch.state = s
	return nil
}

// refuse hands over a line of which Decode returned err, unless one was refused
// for the same reason a short while ago: then it is counted.
func (r *Reader) refuse(ctx context.Context, l line, err error) error {
	var why *Refusal
	switch {
	case errors.Is(err, ErrIgnored):
		if r.o.Ignored != nil {
			r.o.Ignored(l.text)
		}
		return nil
	case !errors.As(err, &why):
		return nil
	}
	r.watch.last = why.Why
	refused := sensor.NewRefused(r.cfg.Name, "", l.text, why.Why, l.at)
	t := r.watch.refused[why.Reason]
	if t == nil {
		t = &tally{}
		r.watch.refused[why.Reason] = t
	}
	t.held, t.last = t.held+1, &refused
	if since := l.at.Sub(t.told); since >= 0 && since < r.watch.alike {
		return nil
	}
	return r.pass(ctx, t, l.at)
}

// pass hands over the last line of a tally, and how many there were.
func (r *Reader) pass(ctx context.Context, t *tally, now time.Time) error {
	if t.held > 1 {
		t.last.Why += fmt.Sprintf(" (the last of %d lines refused for this reason since %s)", t.held, t.told.UTC().Format(time.RFC3339))
	}
	if err := r.sink.Refused(ctx, *t.last); err != nil {
		return fmt.Errorf("deliver a refused line: %w", err)
	}
	t.told, t.held, t.last = now, 0, nil
	return nil
}
