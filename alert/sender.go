package alert

import (
	"context"
	"log/slog"
	"math/rand/v2"
	"slices"
	"sync"
	"time"

	"undersheet/logbook"
	"undersheet/logbook/sqlite"
)

// Outbox keeps the messages that are to be handed over.
type Outbox interface {
	Due(ctx context.Context, now time.Time, limit int) ([]sqlite.Outgoing, error)
	DueFor(ctx context.Context, messenger, to string, now time.Time, longest time.Duration, limit int) ([]sqlite.Outgoing, error)
	Begin(ctx context.Context, key string) (sqlite.Outgoing, error)
	Finish(ctx context.Context, key string, r sqlite.Result, record *logbook.Message) error
}

// Options say how a Sender works.
type Options struct {
	People   []logbook.Person     // of the site file; addresses are looked up here at each attempt
	Webhooks []logbook.Webhook    // of the site file; messages to others are given up
	Night    func(time.Time) bool // when an SMS that is to wake nobody waits, see [NightOf]; nil: never
	Program  string               // version of the program, put into records
	Clock    func() time.Time     // depot's clock, by which messages are due; nil: time.Now
	Machine  func() time.Time     // machine's clock, where it may stand before the depot's; nil: Clock
	Poll     time.Duration        // how often the outbox is looked at unless woken, on the wire's clock; 0 = 2 s
	Longest  time.Duration        // an attempt is cut short after this, on the wire's clock; 0 = 5 min
	Rand     func() float64       // in [0, 1), spreads attempts in time; safe for many goroutines; nil: math/rand/v2
	Logger   *slog.Logger         // nil: slog.Default()
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
	lanes      []*lane
	stray      *lane // of messages that no messenger of this sender takes
	opts       Options
	wake       chan struct{} // holds one token: look at the outbox now
	working    sync.WaitGroup

	mu    sync.Mutex
	stats Stats
	owed  map[string]string // what somebody has to put right, by message
}

// NewSender returns a Sender of what waits in box. It starts nothing.
func NewSender(box Outbox, messengers []Messenger, o Options) *Sender {
	if o.Clock == nil {
		o.Clock = time.Now
	}
	if o.Machine == nil {
		o.Machine = o.Clock
	}
	if o.Poll <= 0 {
		o.Poll = 2 * time.Second
	}
	if o.Longest <= 0 {
		o.Longest = 5 * time.Minute
	}
	if o.Rand == nil {
		o.Rand = rand.Float64
	}
	if o.Logger == nil {
		o.Logger = slog.Default()
	}
	s := &Sender{box: box, opts: o, messengers: map[string]Messenger{}, people: map[string]logbook.Person{},
		wake: make(chan struct{}, 1), owed: map[string]string{}}
	for _, p := range o.People {
		s.people[p.Name] = p
	}
	for _, m := range messengers {
		s.messengers[m.Name()] = m
	}
	s.makeLanes()
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
	defer s.working.Wait()
	tick := time.NewTicker(s.opts.Poll)
	defer tick.Stop()
	for ctx.Err() == nil {
		err := s.look(ctx)
		if ctx.Err() != nil {
			break
		}
		s.trouble(outboxKey, err)
		select {
		case <-ctx.Done():
		case <-s.wake:
		case <-tick.C:
		}
	}
	return nil
}

// trouble notes that the outbox could not be worked on, or that it could.
func (s *Sender) trouble(key string, err error) {
	if err != nil {
		s.opts.Logger.Error("work on the outbox; it is tried again", "error", err)
	}
	s.attend(key, err)
}

// outboxKey stands for the outbox itself among the keys of messages; with a
// lane's name behind it, for the outbox as that lane found it.
const outboxKey = "\x00"

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
