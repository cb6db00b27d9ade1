package alert

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"math"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/logbook"
	"undersheet/logbook/sqlite"
)

// post is a Messenger that does as the test says and keeps what it took.
type post struct {
	mu    sync.Mutex
	tries int
	took  []string // Message-ID, heading
	fail  func(try int, d *Delivery) error
}

func (p *post) Name() string { return ByMail }

func (p *post) Deliver(_ context.Context, d *Delivery) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.tries++
	if p.fail != nil {
		if err := p.fail(p.tries, d); err != nil {
			return err
		}
	}
	p.took = append(p.took, d.ID+" "+d.Address+" "+d.Heading())
	return nil
}

// office is an outbox on the real store with a sender and a clock of its own.
type office struct {
	t     *testing.T
	path  string
	store *sqlite.Store
	now   time.Time
	post  *post
	*Sender
}

func newOffice(t *testing.T) *office {
	o := &office{t: t, path: filepath.Join(t.TempDir(), "log"), now: noon.Std(), post: &post{}}
	o.open()
	_, err := o.store.Append(t.Context(), []logbook.Entry{&logbook.Clock{Header: logbook.Header{Kind: logbook.KindClock, Time: noon}}})
	require.NoError(t, err)
	t.Cleanup(func() { o.store.Close() })
	return o
}

// open opens the logbook as a new process does.
func (o *office) open() {
	var err error
	o.store, err = sqlite.Open(o.path, sqlite.Options{Now: func() time.Time { return o.now }})
	require.NoError(o.t, err)
	o.Sender = NewSender(o.store, []Messenger{o.post}, Options{People: site().People, Program: "1.2", Clock: func() time.Time { return o.now },
		Rand: func() float64 { return 0.5 }, Logger: slog.New(slog.NewTextHandler(io.Discard, nil))})
}

// restart ends the process without a word and starts the next.
func (o *office) restart() {
	require.NoError(o.t, o.store.Close())
	o.open()
}

// put puts messages to S. Rai into the outbox, named by their subject.
func (o *office) put(priority string, subjects ...string) {
	var out []sqlite.Outgoing
	for _, s := range subjects {
		b, err := json.Marshal(Letter{ID: s + "@bagmati.example", Of: 1, Priority: priority, Subject: s, Text: "text", Written: logbook.At(o.now)})
		require.NoError(o.t, err)
		out = append(out, sqlite.Outgoing{Key: s, Messenger: ByMail, To: "S. Rai", Body: b, NotBefore: o.now})
	}
	require.NoError(o.t, o.store.AppendRecords(o.t.Context(), 1, nil, out))
}

// round makes one look, waits until the lanes have done, and counts.
func (o *office) round(ctx context.Context) error {
	err := o.Sender.look(ctx)
	o.working.Wait()
	waiting, errCount := o.store.Due(ctx, time.UnixMicro(math.MaxInt64), mostDue)
	o.count(waiting)
	return errors.Join(err, errCount)
}

// look makes one round after so much time.
func (o *office) look(after time.Duration) Stats {
	o.now = o.now.Add(after)
	require.NoError(o.t, o.round(o.t.Context()))
	return o.Stats()
}

// records lists what the logbook says of messages.
func (o *office) records() []string {
	var s []string
	for e, err := range o.store.Entries(o.t.Context(), 1) {
		require.NoError(o.t, err)
		if m, ok := e.(*logbook.Message); ok {
			s = append(s, fmt.Sprintf("%s %s %d %s", strings.TrimSuffix(m.MessageID, "@bagmati.example"), m.State, m.Attempt, m.Detail))
		}
	}
	return s
}

func TestHandOverMostUrgentFirst(t *testing.T) {
	o := newOffice(t)
	o.put(logbook.PriorityLow, "silent")
	o.put(logbook.PriorityHigh, "leak", "gas")
	o.put(logbook.PriorityMedium, "stuck")
	st := o.look(0)
	require.Equal(t, []string{"leak@bagmati.example rai@bagmati.example leak", "gas@bagmati.example rai@bagmati.example gas",
		"stuck@bagmati.example rai@bagmati.example stuck", "silent@bagmati.example rai@bagmati.example silent"}, o.post.took)
	require.Equal(t, Stats{HandedOver: 4}, st)
	require.Equal(t, []string{"leak handed-over 1 ", "gas handed-over 1 ", "stuck handed-over 1 ", "silent handed-over 1 "}, o.records())
	o.look(time.Hour)
	require.Len(t, o.post.took, 4)
}

// TestServerDownForADay: nothing is lost, the server is not hammered, the
// logbook is not filled, and all goes out when the server is back.
func TestServerDownForADay(t *testing.T) {
	o := newOffice(t)
	down := true
	o.post.fail = func(int, *Delivery) error {
		if down {
			return &Failure{Err: errors.New("connection refused"), Everyone: true}
		}
		return nil
	}
	const messages = 40
	for i := range messages {
		o.put(logbook.PriorityHigh, fmt.Sprintf("m%02d", i))
		o.look(time.Minute)
	}
	for range 24 * 12 {
		o.look(5 * time.Minute)
		if o.now.Sub(noon.Std()) == 12*time.Hour {
			o.restart() // the power fails as well
		}
	}
	st := o.Stats()
	require.Equal(t, messages, st.Pending)
	require.InDelta(t, 24.7, st.Oldest.Hours(), 0.2)
	require.Less(t, o.post.tries, 120)
	require.Less(t, len(o.records()), 12)
	require.Contains(t, o.records()[0], "m00 delayed 1 connection refused")
	require.Empty(t, st.Attention, "it passes by itself")
	down = false
	o.look(waitMost)
	require.Len(t, o.post.took, messages)
	for i, took := range o.post.took {
		require.Contains(t, took, fmt.Sprintf("m%02d@bagmati.example", i))
		require.NotContains(t, took, "repeat", "no attempt came so far that it could be one")
	}
	require.Equal(t, 0, o.Stats().Pending)
}

// TestPermanentFailure: the message is kept, tried slowly, named as something to
// put right; others go on; and it goes out when the address is right.
func TestPermanentFailure(t *testing.T) {
	o := newOffice(t)
	broken := true
	o.post.fail = func(_ int, d *Delivery) error {
		if broken && d.Subject == "bad" {
			return &Failure{Err: errors.New("550 5.1.1 no such mailbox"), Permanent: true}
		}
		return nil
	}
	o.put(logbook.PriorityHigh, "bad", "good")
	st := o.look(0)
	require.Equal(t, Stats{Pending: 1, HandedOver: 1, Failed: 1, Attention: []string{"550 5.1.1 no such mailbox"}}, st)
	for range 2 * 24 * 12 {
		o.look(5 * time.Minute)
	}
	require.InDelta(t, 2*24, o.post.tries, 5, "once an hour")
	require.Equal(t, 1, o.Stats().Pending)
	broken = false
	st = o.look(waitPermMost)
	require.Len(t, o.post.took, 2)
	require.Empty(t, st.Attention)
}

// TestKilledBetweenBeginAndFinish: whether the message went out is not known, so
// it goes out again, says so, and keeps its Message-ID.
func TestKilledBetweenBeginAndFinish(t *testing.T) {
	for _, reached := range []bool{true, false} {
		o := newOffice(t)
		o.put(logbook.PriorityHigh, "leak")
		o.post.fail = func(int, *Delivery) error {
			if reached {
				o.post.took = append(o.post.took, "leak@bagmati.example rai@bagmati.example leak")
			}
			panic("killed") // as good as SIGKILL here: nothing after it runs
		}
		require.Panics(t, func() { o.handOver(t.Context(), o.lanes[0], "leak") })
		o.post.mu = sync.Mutex{}
		o.post.fail = func(try int, _ *Delivery) error {
			if try == 2 {
				return errors.New("451 later")
			}
			return nil
		}
		o.restart()
		o.look(time.Second)
		require.Equal(t, []string{"leak in-doubt 2 451 later"}, o.records())
		st := o.look(time.Hour)
		require.Equal(t, "leak@bagmati.example rai@bagmati.example May be a repeat: leak", o.post.took[len(o.post.took)-1], "a doubt outlives a failure")
		require.Equal(t, uint64(1), st.Repeats)
		require.Equal(t, "leak handed-over 3 may be a repeat", o.records()[1])
		o.look(time.Hour)
		require.Len(t, o.post.took, map[bool]int{true: 2, false: 1}[reached])
	}
}

func TestInDoubtFromTheMessenger(t *testing.T) {
	o := newOffice(t)
	o.post.fail = func(try int, _ *Delivery) error {
		if try == 1 {
			return &Failure{Err: errors.New("connection broke after the message"), InDoubt: true, Everyone: true}
		}
		return nil
	}
	o.put(logbook.PriorityHigh, "leak", "gas")
	o.look(0)
	o.look(waitFirst)
	require.Equal(t, []string{"leak@bagmati.example rai@bagmati.example May be a repeat: leak", "gas@bagmati.example rai@bagmati.example gas"}, o.post.took)
}

// TestGivenUpIsOnRecord: a message is given up only when nobody could ever get
// it, and the logbook says so.
func TestGivenUpIsOnRecord(t *testing.T) {
	o := newOffice(t)
	b, _ := json.Marshal(Letter{ID: "x@bagmati.example", Subject: "x"})
	require.NoError(t, o.store.AppendRecords(t.Context(), 1, nil, []sqlite.Outgoing{
		{Key: "gone", Messenger: ByMail, To: "J. Left", Body: b, NotBefore: o.now},
		{Key: "torn", Messenger: ByMail, To: "S. Rai", Body: b[:5], NotBefore: o.now},
		{Key: "no address", Messenger: ByMail, To: "D. Thapa", Body: b, NotBefore: o.now},
		{Key: "no messenger", Messenger: "pigeon", To: "S. Rai", Body: b, NotBefore: o.now},
	}))
	st := o.look(0)
	require.Equal(t, uint64(2), st.GivenUp)
	require.Equal(t, 2, st.Pending, "these can be put right in the site file")
	require.Len(t, st.Attention, 4)
	require.ElementsMatch(t, []string{"x given-up 1 the person is no longer in the site file",
		" given-up 1 the message in the outbox cannot be read: unexpected end of JSON input",
		`x delayed 1 no address of "D. Thapa" is in the site file`, `x delayed 1 no messenger "pigeon" is set up`}, o.records())
}

// unticked is an outbox that cannot write down how an attempt ended.
type unticked struct{ *sqlite.Store }

func (unticked) Finish(context.Context, string, sqlite.Result, *logbook.Message) error {
	return errors.New("disk full")
}

// TestOutboxThatCannotBeWritten: people are not flooded with one message.
func TestOutboxThatCannotBeWritten(t *testing.T) {
	o := newOffice(t)
	o.put(logbook.PriorityHigh, "leak")
	o.Sender.box = unticked{o.store}
	for range 60 {
		o.now = o.now.Add(time.Minute)
		o.round(t.Context())
	}
	require.Less(t, len(o.post.took), 9)
	require.Contains(t, o.post.took[1], "May be a repeat")
}

// TestRun: woken, it hands over at once; stopped in the middle of an attempt, it
// ends soon and the message stays.
func TestRun(t *testing.T) {
	o := newOffice(t)
	o.opts.Poll = time.Hour
	hang := make(chan struct{})
	waits := &hanging{post: o.post, began: hang}
	o.messengers[ByMail] = waits
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- o.Run(ctx) }()
	o.put(logbook.PriorityHigh, "leak")
	o.Wake()
	<-hang
	cancel()
	require.NoError(t, <-done)
	o.messengers[ByMail] = o.post
	o.look(time.Minute)
	require.Equal(t, []string{"leak@bagmati.example rai@bagmati.example leak"}, o.post.took)
}

// hanging is a messenger that waits until it is stopped.
type hanging struct {
	*post
	began chan struct{}
}

func (h *hanging) Deliver(ctx context.Context, _ *Delivery) error {
	close(h.began)
	<-ctx.Done()
	return ctx.Err()
}

// TestWaits pins the schedule that the package doc promises.
func TestWaits(t *testing.T) {
	require.Equal(t, []time.Duration{30 * time.Second, time.Minute, 8 * time.Minute, 15 * time.Minute, 15 * time.Minute},
		[]time.Duration{wait(1, false), wait(2, false), wait(5, false), wait(6, false), wait(1000, false)})
	require.Equal(t, []time.Duration{15 * time.Minute, 30 * time.Minute, time.Hour, time.Hour},
		[]time.Duration{wait(1, true), wait(2, true), wait(3, true), wait(1000, true)})
}
