package alert

import (
	"cmp"
	"context"
	"encoding/json"
	"maps"
	"math"
	"slices"
	"time"

	"undersheet/logbook"
	"undersheet/logbook/sqlite"
)

// lane is a queue of messages that go out one after another. Each messenger has one, and each
// webhook its own, so that none of them waits for another.
type lane struct {
	messenger string
	to        string // empty: all recipients of the messenger
	ordered   bool   // strictly in the order in which they were planned: a program must not learn an end before its beginning

	// Guarded by the mutex of the Sender.
	busy     bool
	failures int
	until    time.Time      // it is not tried before this, by the depot's clock, but for what is urgent to others
	held     map[string]int // how often it was held back at a recipient's messages, since he last got one
}

// turn is a message whose turn it is.
type turn struct {
	key, to string
	rank    int // of its priority; over that of high: it wakes people
}

// open reports whether a message may be tried. While a lane is held back, so may what is urgent,
// once for each recipient: what failed at somebody else may not fail at him, and he may be the
// one who can act.
func (l *lane) open(t turn, now time.Time) bool {
	return !waits(l.until, now) || !l.ordered && t.rank >= rank(logbook.PriorityHigh) && l.held[t.to] == 0
}

// makeLanes makes a lane for each messenger and each webhook.
func (s *Sender) makeLanes() {
	s.stray = &lane{}
	for name := range s.messengers {
		if name != ByWebhook {
			s.lanes = append(s.lanes, &lane{messenger: name})
			continue
		}
		for _, h := range s.opts.Webhooks {
			s.lanes = append(s.lanes, &lane{messenger: name, to: h.Name, ordered: true})
		}
	}
	slices.SortStableFunc(s.lanes, func(a, b *lane) int { return cmp.Compare(a.messenger, b.messenger) })
}

// takes reports whether a message belongs to the lane.
func (l *lane) takes(o sqlite.Outgoing) bool {
	return o.Messenger == l.messenger && (l.to == "" || o.To == l.to)
}

// mostDue is how many messages one look takes in for a lane.
const mostDue = 2000

// look counts what waits, and starts each free lane on what is due in it. It does not wait for
// the lanes to finish.
func (s *Sender) look(ctx context.Context) error {
	now := s.opts.Clock()
	waiting, err := s.box.Due(ctx, time.UnixMicro(math.MaxInt64), mostDue)
	if err != nil {
		return err
	}
	s.count(waiting)
	for _, l := range s.lanes {
		if s.works(l) {
			continue
		}
		due, err := s.box.DueFor(ctx, l.messenger, l.to, now, waitLongest, mostDue)
		if err != nil {
			return err
		}
		s.set(ctx, l, due, now)
	}
	if !s.works(s.stray) {
		s.set(ctx, s.stray, s.strays(waiting, now), now)
	}
	return nil
}

// strays are the messages due that no lane takes.
func (s *Sender) strays(waiting []sqlite.Outgoing, now time.Time) []sqlite.Outgoing {
	return slices.DeleteFunc(waiting, func(o sqlite.Outgoing) bool {
		return o.NotBefore.After(now) && (o.Attempts == 0 || waits(o.NotBefore, now)) || slices.ContainsFunc(s.lanes, func(l *lane) bool { return l.takes(o) })
	})
}

// count notes what still waits.
func (s *Sender) count(waiting []sqlite.Outgoing) {
	var oldest time.Duration
	for _, o := range waiting {
		var l Letter
		if json.Unmarshal(o.Body, &l) == nil {
			oldest = max(oldest, s.opts.Clock().Sub(l.Written.Std()))
		}
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.stats.Pending, s.stats.Oldest = len(waiting), oldest
}

// works reports whether a lane is at work.
func (s *Sender) works(l *lane) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	return l.busy
}

// set starts a goroutine in which a lane hands over what is due. Run waits for it at its end.
func (s *Sender) set(ctx context.Context, l *lane, due []sqlite.Outgoing, now time.Time) {
	turns := s.inTurn(l, due, now)
	s.mu.Lock()
	l.busy = slices.ContainsFunc(turns, func(t turn) bool { return l.open(t, now) })
	idle := !l.busy
	s.mu.Unlock()
	if idle {
		return
	}
	s.working.Go(func() {
		err := s.work(ctx, l, turns)
		s.mu.Lock()
		l.busy = false
		s.mu.Unlock()
		if ctx.Err() != nil {
			return
		}
		if s.trouble(outboxKey+l.messenger+l.to, err); err == nil {
			s.Wake() // more may have come meanwhile
		}
	})
}

// work hands messages over one after another. One that fails in a way that holds the lane back
// leaves only what is urgent to others.
func (s *Sender) work(ctx context.Context, l *lane, turns []turn) error {
	for _, t := range turns {
		if ctx.Err() != nil {
			return nil
		}
		s.mu.Lock()
		open := l.open(t, s.opts.Clock())
		s.mu.Unlock()
		if !open {
			continue
		}
		if err := s.handOver(ctx, l, t.key); err != nil {
			return err
		}
	}
	return nil
}

// inTurn returns messages in the order in which they go out. To people, those that
// wake them go first, then the most urgent; but messages to somebody for whom the way was held
// back go after those to others, who may be reached though he is not. To a program, they go as
// they were planned. At night an SMS that is to wake nobody is left out.
func (s *Sender) inTurn(l *lane, due []sqlite.Outgoing, now time.Time) []turn {
	night := s.opts.Night != nil && s.opts.Night(now)
	s.mu.Lock()
	held := maps.Clone(l.held)
	s.mu.Unlock()
	var turns []turn
	for _, o := range due {
		t := turn{key: o.Key, to: o.To}
		var letter Letter
		if json.Unmarshal(o.Body, &letter) == nil {
			if night && o.Messenger == BySMS && !letter.Wake {
				continue
			}
			if t.rank = rank(letter.Priority); letter.Wake {
				t.rank = rank(logbook.PriorityHigh) + 1
			}
		}
		turns = append(turns, t)
	}
	if !l.ordered {
		slices.SortStableFunc(turns, func(a, b turn) int {
			return cmp.Or(cmp.Compare(held[a.to], held[b.to]), cmp.Compare(b.rank, a.rank))
		})
	}
	return turns
}

// hold keeps a lane back after a failure, at a message to somebody, that concerns all its
// messages, and returns until when. One that is held back already, in which something urgent was
// tried, is not held back longer by it.
func (s *Sender) hold(l *lane, to string, f *Failure) time.Time {
	s.mu.Lock()
	defer s.mu.Unlock()
	if l.held == nil {
		l.held = map[string]int{}
	}
	l.held[to]++
	now := s.opts.Clock()
	if waits(l.until, now) {
		return l.until
	}
	l.failures++
	l.until = now.Add(s.spread(l.failures, f))
	return l.until
}

// release ends a hold, since somebody got a message.
func (s *Sender) release(l *lane, to string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	delete(l.held, to)
	l.failures, l.until = 0, time.Time{}
}

// Waits between attempts.
const (
	waitFirst     = 30 * time.Second
	waitMost      = 15 * time.Minute
	waitPermanent = 15 * time.Minute
	waitPermMost  = time.Hour
)

// wait returns how long to wait after n failed attempts.
func wait(n int, permanent bool) time.Duration {
	first, most := waitFirst, waitMost
	if permanent {
		first, most = waitPermanent, waitPermMost
	}
	return min(first<<min(max(n-1, 0), 10), most)
}

// waitSpread is the fraction by which a wait is made shorter or longer at random,
// so that what failed together is not tried together again.
const waitSpread = 0.2

// waitLongest is the longest that spread returns.
const waitLongest = time.Duration(float64(waitPermMost) * (1 + waitSpread))

// waits reports whether what failed is to wait until a time. It is not where that time is further
// off than any wait is long: the clock has gone back since, and nobody is kept waiting for that.
func waits(until, now time.Time) bool {
	return now.Before(until) && until.Sub(now) <= waitLongest
}

// spread returns how long to wait after the nth failure: wait, made shorter or longer at random
// by up to waitSpread; but at least as long as the other side asks for, up to waitPermMost.
func (s *Sender) spread(n int, f *Failure) time.Duration {
	factor := 1 + waitSpread*(2*s.opts.Rand()-1)
	d := time.Duration(float64(wait(n, f.Permanent)) * factor)
	return max(d, min(f.RetryAfter, waitPermMost))
}
