package alert

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"math"
	"slices"
	"sort"
	"sync"
	"time"

	"undersheet/logbook"
	"undersheet/logbook/sqlite"
)

// Outbox keeps the messages that are to be handed over.
type Outbox interface {
	Due(ctx context.Context, now time.Time, limit int) ([]sqlite.Outgoing, error)
	Begin(ctx context.Context, key string) (sqlite.Outgoing, error)
	Finish(ctx context.Context, key string, r sqlite.Result, record *logbook.Message) error
}

// Options say how a Sender works.
type Options struct {
	People  []logbook.Person // of the site file; addresses are looked up here at each attempt
	Program string           // version of the program, put into records
	Clock   func() time.Time // depot's clock, by which messages are due; nil: time.Now
	Poll    time.Duration    // how often the outbox is looked at unless woken, on the wire's clock; 0 = 2 s
	Logger  *slog.Logger     // nil: slog.Default()
}

// Stats say how handing over goes.
type Stats struct {
	Pending    int           // messages that wait
	Oldest     time.Duration // age of the oldest that waits, by the depot's clock
	HandedOver uint64        // since start
	Repeats    uint64        // of those, handed over again after a hand-over in doubt
	Failed     uint64        // attempts that failed since start
	GivenUp    uint64        // since start
	Attention  []string      // what somebody has to put right; empty = nothing known
}

// Sender hands messages over. Its methods may be called from many goroutines.
type Sender struct {
	box        Outbox
	messengers map[string]Messenger
	people     map[string]logbook.Person
	opts       Options
	wake       chan struct{} // holds one token: look at the outbox now

	held map[string]*hold // by messenger; only Run's goroutine uses it

	mu    sync.Mutex
	stats Stats
	owed  map[string]string // what somebody has to put right, by message
}

// hold keeps a messenger that is down from being asked for each message.
type hold struct {
	failures int
	until    time.Time // by the depot's clock
}

// NewSender returns a Sender of what waits in box. It starts nothing.
func NewSender(box Outbox, messengers []Messenger, o Options) *Sender {
	if o.Clock == nil {
		o.Clock = time.Now
	}
	if o.Poll <= 0 {
		o.Poll = 2 * time.Second
	}
	if o.Logger == nil {
		o.Logger = slog.Default()
	}
	s := &Sender{box: box, opts: o, messengers: map[string]Messenger{}, people: map[string]logbook.Person{},
		wake: make(chan struct{}, 1), held: map[string]*hold{}, owed: map[string]string{}}
	for _, m := range messengers {
		s.messengers[m.Name()] = m
		s.held[m.Name()] = &hold{}
	}
	for _, p := range o.People {
		s.people[p.Name] = p
	}
	return s
}

// Wake makes Run look at the outbox now. It never blocks.
func (s *Sender) Wake() {
	select {
	case s.wake <- struct{}{}:
	default: // it will look anyway
	}
}

// Stats returns how handing over goes.
func (s *Sender) Stats() Stats {
	s.mu.Lock()
	defer s.mu.Unlock()
	st := s.stats
	for _, text := range s.owed {
		st.Attention = append(st.Attention, text)
	}
	slices.Sort(st.Attention)
	st.Attention = slices.Compact(st.Attention)
	return st
}

// Run hands messages over until ctx is done, and then returns nil. An attempt
// under way is cut short and tried again at the next start.
func (s *Sender) Run(ctx context.Context) error {
	tick := time.NewTicker(s.opts.Poll)
	defer tick.Stop()
	for ctx.Err() == nil {
		err := s.round(ctx)
		if ctx.Err() != nil {
			break
		}
		if err != nil {
			s.opts.Logger.Error("work on the outbox; it is tried again", "error", err)
		}
		s.attend(outboxKey, err)
		select {
		case <-ctx.Done():
		case <-s.wake:
		case <-tick.C:
		}
	}
	return nil
}

// mostDue is how many messages one look takes in. It is far above what waits
// when a messenger was down for days, so that one messenger's messages do not
// hide another's.
const mostDue = 2000

// round hands over what is due, the most urgent first.
func (s *Sender) round(ctx context.Context) error {
	now := s.opts.Clock()
	due, err := s.box.Due(ctx, now, mostDue)
	if err != nil {
		return err
	}
	sort.SliceStable(due, func(i, k int) bool { return urgency(due[i]) > urgency(due[k]) })
	for _, o := range due {
		if ctx.Err() != nil {
			return nil
		}
		if h := s.held[o.Messenger]; h != nil && now.Before(h.until) {
			continue
		}
		if err := s.handOver(ctx, o.Key); err != nil {
			return err
		}
	}
	return s.count(ctx)
}

func urgency(o sqlite.Outgoing) int {
	var l Letter
	if json.Unmarshal(o.Body, &l) != nil {
		return 0
	}
	return rank(l.Priority)
}

// count finds out what still waits.
func (s *Sender) count(ctx context.Context) error {
	waiting, err := s.box.Due(ctx, time.UnixMicro(math.MaxInt64), mostDue)
	if err != nil {
		return err
	}
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
	return nil
}

// finishWithin is for writing down how an attempt ended, also after a stop.
const finishWithin = 10 * time.Second

// handOver makes one attempt at one message. Its errors are those of the outbox.
func (s *Sender) handOver(ctx context.Context, key string) error {
	o, err := s.box.Begin(ctx, key)
	if errors.Is(err, sqlite.ErrNotWaiting) {
		return nil
	}
	if err != nil {
		return fmt.Errorf("begin to hand over: %w", err)
	}
	a := s.attempt(ctx, o)
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), finishWithin)
	defer cancel()
	if err := s.box.Finish(ctx, key, a.result, a.record); err != nil {
		s.hold(o.Messenger, false) // else a message that is handed over but not ticked off would go out at every look
		return fmt.Errorf("write down how a hand-over ended: %w", err)
	}
	if a.result.Outcome == sqlite.HandedOver {
		*s.held[o.Messenger] = hold{}
	}
	s.tally(key, a)
	return nil
}

// hold keeps a messenger back after a failure that concerns all its messages,
// and returns until when.
func (s *Sender) hold(messenger string, permanent bool) time.Time {
	h := s.held[messenger]
	if h == nil {
		h = &hold{}
		s.held[messenger] = h
	}
	h.failures++
	h.until = s.opts.Clock().Add(wait(h.failures, permanent))
	return h.until
}

// attempted is how an attempt ended.
type attempted struct {
	result    sqlite.Result
	record    *logbook.Message
	repeat    bool
	attention error // what somebody has to put right
}

// attempt hands one message to its messenger.
func (s *Sender) attempt(ctx context.Context, o sqlite.Outgoing) attempted {
	var l Letter
	if err := json.Unmarshal(o.Body, &l); err != nil {
		return s.giveUp(o, l, "the message in the outbox cannot be read: "+err.Error())
	}
	person, known := s.people[o.To]
	if !known {
		return s.giveUp(o, l, "the person is no longer in the site file")
	}
	m := s.messengers[o.Messenger]
	if m == nil {
		return s.failed(o, l, &Failure{Err: fmt.Errorf("no messenger %q is set up", o.Messenger), Permanent: true})
	}
	if person.Email == "" {
		return s.failed(o, l, &Failure{Err: fmt.Errorf("no address of %q is in the site file", o.To), Permanent: true})
	}
	d := &Delivery{Letter: l, Person: o.To, Address: person.Email, Repeat: o.InDoubt, At: s.opts.Clock()}
	err := m.Deliver(ctx, d)
	if err == nil {
		detail := ""
		if o.InDoubt {
			detail = "may be a repeat"
		}
		return attempted{result: sqlite.Result{Outcome: sqlite.HandedOver}, repeat: o.InDoubt,
			record: s.record(o, d.Heading(), l, string(sqlite.HandedOver), detail)}
	}
	var f *Failure
	if !errors.As(err, &f) {
		f = &Failure{Err: err}
	}
	f.InDoubt = f.InDoubt || o.InDoubt // a doubt stays until the message is handed over
	return s.failed(o, l, f)
}

// failed plans the next attempt, and a record now and then.
func (s *Sender) failed(o sqlite.Outgoing, l Letter, f *Failure) attempted {
	at := s.opts.Clock().Add(wait(o.Attempts, f.Permanent))
	if f.Everyone {
		at = s.hold(o.Messenger, f.Permanent)
	}
	s.opts.Logger.Warn("a message is delayed", "to", o.To, "attempt", o.Attempts, "again", at, "permanent", f.Permanent, "error", f.Err)
	a := attempted{result: sqlite.Result{Outcome: sqlite.Retry, RetryAt: at, InDoubt: f.InDoubt}}
	if f.Permanent {
		a.attention = f.Err
	}
	if o.Attempts&(o.Attempts-1) == 0 { // the 1st, 2nd, 4th, 8th …: a long wait must not fill the logbook
		state := "delayed"
		if f.InDoubt {
			state = "in-doubt"
		}
		a.record = s.record(o, l.Subject, l, state, f.Err.Error())
	}
	return a
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

func (s *Sender) giveUp(o sqlite.Outgoing, l Letter, why string) attempted {
	s.opts.Logger.Error("a message is given up", "to", o.To, "subject", l.Subject, "why", why)
	return attempted{result: sqlite.Result{Outcome: sqlite.GivenUp}, attention: fmt.Errorf("a message to %q was given up: %s", o.To, why),
		record: s.record(o, l.Subject, l, string(sqlite.GivenUp), why)}
}

// record is what the logbook keeps of an attempt.
func (s *Sender) record(o sqlite.Outgoing, subject string, l Letter, state, detail string) *logbook.Message {
	return &logbook.Message{Header: logbook.Header{Time: logbook.At(s.opts.Clock()), Kind: logbook.KindMessage},
		Record: logbook.Record{Of: l.Of, Program: s.opts.Program}, Messenger: o.Messenger, To: o.To, Subject: subject,
		MessageID: l.ID, State: state, Attempt: o.Attempts, Detail: detail}
}

// outboxKey stands for the outbox itself among the keys of messages.
const outboxKey = ""

// attend notes that somebody has to put something right, or that it is right.
func (s *Sender) attend(key string, err error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	delete(s.owed, key)
	if err != nil {
		s.owed[key] = err.Error()
	}
}

// tally counts an attempt.
func (s *Sender) tally(key string, a attempted) {
	s.attend(key, a.attention)
	s.mu.Lock()
	defer s.mu.Unlock()
	switch a.result.Outcome {
	case sqlite.HandedOver:
		s.stats.HandedOver++
	case sqlite.GivenUp:
		s.stats.GivenUp++
	default:
		s.stats.Failed++
	}
	if a.repeat {
		s.stats.Repeats++
	}
}
