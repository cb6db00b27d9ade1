package alert

import (
	"context"
	"encoding/json"
	"errors"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/logbook"
	"undersheet/logbook/sqlite"
)

// way is a Messenger of any name.
type way struct {
	post
	name string
	ask  func(ctx context.Context, d *Delivery) error // nil: it takes all
}

func (w *way) Name() string { return w.name }

func (w *way) Deliver(ctx context.Context, d *Delivery) error {
	if w.ask != nil {
		if err := w.ask(ctx, d); err != nil {
			return err
		}
	}
	return w.post.Deliver(ctx, d)
}

// rewire gives the office other messengers.
func (o *office) rewire(change func(*Options), ms ...Messenger) {
	opts := o.opts
	s := wired()
	opts.People, opts.Webhooks = s.People, s.Webhooks
	if change != nil {
		change(&opts)
	}
	o.Sender = NewSender(o.store, ms, opts)
}

// post1 puts one message into the outbox.
func (o *office) post1(messenger, to, subject string, l Letter) {
	l.ID, l.Of, l.Subject, l.Written = subject+"@bagmati.example", 1, subject, logbook.At(o.now)
	b, err := json.Marshal(l)
	require.NoError(o.t, err)
	require.NoError(o.t, o.store.AppendRecords(o.t.Context(), 1, nil,
		[]sqlite.Outgoing{{Key: messenger + to + subject, Messenger: messenger, To: to, Body: b, NotBefore: o.now}}))
}

// TestHangingModemHoldsNothingElse: nor does one webhook hold another.
func TestHangingModemHoldsNothingElse(t *testing.T) {
	o := newOffice(t)
	took := make(chan string, 10)
	began := make(chan string, 10)
	hang := func(ctx context.Context, d *Delivery) error {
		began <- d.Address
		<-ctx.Done()
		return ctx.Err()
	}
	modem := &way{name: BySMS, ask: hang}
	hooks := &way{name: ByWebhook, ask: func(ctx context.Context, d *Delivery) error {
		if d.Person == "board" {
			return hang(ctx, d)
		}
		took <- d.Person + " " + d.Subject
		return nil
	}}
	mails := &way{name: ByMail, ask: func(_ context.Context, d *Delivery) error { took <- d.Person + " " + d.Subject; return nil }}
	o.rewire(func(p *Options) { p.Poll = time.Hour }, modem, mails, hooks)
	o.post1(BySMS, "S. Rai", "m1", Letter{Priority: "high"})
	o.post1(BySMS, "P. Gurung", "m2", Letter{Priority: "high"})
	o.post1(ByWebhook, "board", "m3", Letter{})
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- o.Run(ctx) }()
	require.ElementsMatch(t, []string{"+97700000001", "board"}, []string{<-began, <-began})
	for _, subject := range []string{"m4", "m5", "m6"} {
		o.post1(ByMail, "S. Rai", subject, Letter{})
		o.post1(ByWebhook, "dispatch", subject, Letter{})
		o.Wake()
		require.ElementsMatch(t, []string{"S. Rai " + subject, "dispatch " + subject}, []string{<-took, <-took})
	}
	require.Empty(t, began, "one at a time")
	cancel()
	require.NoError(t, <-done)
}

// TestAttemptIsCutShort: a messenger that never comes back is left.
func TestAttemptIsCutShort(t *testing.T) {
	o := newOffice(t)
	o.rewire(func(p *Options) { p.Longest = time.Millisecond },
		&way{name: BySMS, ask: func(ctx context.Context, _ *Delivery) error { <-ctx.Done(); return ctx.Err() }})
	o.post1(BySMS, "S. Rai", "m", Letter{Priority: "high"})
	st := o.look(0)
	require.Equal(t, uint64(1), st.Failed)
	require.Equal(t, []string{"m delayed 1 context deadline exceeded"}, o.records())
}

// TestProgramsLearnInOrder: what follows waits until what goes before is taken,
// and the other webhook does not wait.
func TestProgramsLearnInOrder(t *testing.T) {
	o := newOffice(t)
	down, bad := true, true
	hooks := &way{name: ByWebhook, ask: func(_ context.Context, d *Delivery) error {
		switch {
		case d.Person == "board" && down:
			return errors.New("503 later")
		case d.Subject == "odd" && bad:
			return &Failure{Err: errors.New("422 not understood"), Permanent: true}
		}
		return nil
	}}
	o.rewire(nil, hooks)
	for _, subject := range []string{"raised", "cleared", "odd", "fell"} {
		priority := map[string]string{"raised": "low", "cleared": "low", "odd": "low", "fell": "high"}[subject]
		o.post1(ByWebhook, "board", subject, Letter{Priority: priority})
	}
	o.post1(ByWebhook, "dispatch", "raised", Letter{})
	o.look(0)
	require.Equal(t, []string{"raised@bagmati.example dispatch raised"}, hooks.took)
	o.look(10 * time.Second)
	require.Equal(t, 1, hooks.tries, "the board is left alone")
	down = false
	o.look(waitFirst)
	require.Equal(t, []string{"raised@bagmati.example board raised", "cleared@bagmati.example board cleared", "fell@bagmati.example board fell"}, hooks.took[1:],
		"what is not understood holds nothing back")
	bad = false
	o.look(waitPermanent)
	require.Equal(t, "odd@bagmati.example board odd", hooks.took[4])
}

// TestAddresses: each way has its own, and what reaches nobody says so.
func TestAddresses(t *testing.T) {
	o := newOffice(t)
	var mu sync.Mutex
	var asked []string
	ask := func(_ context.Context, d *Delivery) error {
		mu.Lock()
		defer mu.Unlock()
		asked = append(asked, d.Person+" at "+d.Address)
		return nil
	}
	o.rewire(nil, &way{name: ByMail, ask: ask}, &way{name: BySMS, ask: ask}, &way{name: ByWebhook, ask: ask})
	o.post1(ByMail, "S. Rai", "a", Letter{})
	o.post1(BySMS, "S. Rai", "b", Letter{})
	o.post1(ByWebhook, "board", "c", Letter{})
	o.post1(ByWebhook, "S. Rai", "d", Letter{})
	o.post1(BySMS, "T. Lama", "e", Letter{})
	o.post1(BySMS, "J. Left", "f", Letter{})
	o.look(0)
	require.ElementsMatch(t, []string{"S. Rai at rai@bagmati.example", "S. Rai at +97700000001", "board at board"}, asked)
	require.Subset(t, o.records(), []string{"d given-up 1 the webhook is no longer in the site file",
		`e delayed 1 no telephone of "T. Lama" is in the site file`, "f given-up 1 the person is no longer in the site file"})
}

// TestManyForOneHideNothing: however much waits for a server that is down.
func TestManyForOneHideNothing(t *testing.T) {
	o := newOffice(t)
	mails := &way{name: ByMail}
	o.rewire(nil, mails, &way{name: ByWebhook, ask: func(context.Context, *Delivery) error { return errors.New("down") }})
	var out []sqlite.Outgoing
	for i := range mostDue + 1 {
		out = append(out, sqlite.Outgoing{Key: "h" + time.Duration(i).String(), Messenger: ByWebhook, To: "board", Body: []byte("{}"), NotBefore: o.now})
	}
	require.NoError(t, o.store.AppendRecords(t.Context(), 1, nil, out))
	o.post1(ByMail, "S. Rai", "leak", Letter{Priority: "high"})
	o.look(0)
	require.Len(t, mails.took, 1)
}

// TestTextsWaitForLight: a modem that comes back at night wakes nobody without need.
func TestTextsWaitForLight(t *testing.T) {
	o := newOffice(t)
	modem := &way{name: BySMS}
	dark := true
	o.rewire(func(p *Options) { p.Night = func(time.Time) bool { return dark } }, modem)
	o.post1(BySMS, "S. Rai", "leak", Letter{Priority: "high"})
	o.post1(BySMS, "S. Rai", "gas", Letter{Priority: "high", Wake: true})
	o.look(0)
	require.Equal(t, []string{"gas@bagmati.example +97700000001 gas"}, modem.took)
	dark = false
	o.look(time.Second)
	require.Len(t, modem.took, 2)
}

// TestSpread: waits differ by a fifth at most, and are never shorter than the
// other side asks for, within an hour.
func TestSpread(t *testing.T) {
	draw := 0.0
	s := NewSender(nil, nil, Options{Rand: func() float64 { return draw }})
	for _, tt := range []struct {
		draw float64
		f    Failure
		want time.Duration
	}{
		{0, Failure{}, 24 * time.Second},
		{0.5, Failure{}, 30 * time.Second},
		{0.999999, Failure{}, 36 * time.Second},
		{0, Failure{Permanent: true}, 12 * time.Minute},
		{0, Failure{RetryAfter: 5 * time.Minute}, 5 * time.Minute},
		{0, Failure{RetryAfter: 10 * time.Second}, 24 * time.Second},
		{0, Failure{RetryAfter: 100 * time.Hour}, time.Hour},
	} {
		draw = tt.draw
		require.InDelta(t, tt.want, s.spread(1, &tt.f), float64(time.Millisecond))
	}
}

// Where a server hangs at what goes to one person, that holds the way back for all that is not
// urgent, once: the others come first from then on, however urgent his messages are.
func TestOneWhoCannotBeReachedKeepsNobodyWaiting(t *testing.T) {
	o := newOffice(t)
	var tried []string
	mails := &way{name: ByMail, ask: func(_ context.Context, d *Delivery) error {
		tried = append(tried, d.Person+" "+d.Subject)
		if d.Person == "S. Rai" {
			return &Failure{Err: errors.New("no answer"), Everyone: true}
		}
		return nil
	}}
	o.rewire(nil, mails)
	o.post1(ByMail, "S. Rai", "m1", Letter{Priority: "high", Wake: true})
	o.post1(ByMail, "S. Rai", "m2", Letter{Priority: "high", Wake: true})
	o.post1(ByMail, "P. Gurung", "m3", Letter{Priority: "medium"})
	o.post1(ByMail, "P. Gurung", "m4", Letter{Priority: "low"})
	require.NoError(t, o.round(t.Context()))
	require.Equal(t, []string{"S. Rai m1"}, tried)
	o.now = o.now.Add(waitMost)
	require.NoError(t, o.round(t.Context()))
	require.Equal(t, []string{"P. Gurung m3", "P. Gurung m4", "S. Rai m1"}, tried[1:])
	o.post1(ByMail, "P. Gurung", "m5", Letter{Priority: "low"})
	o.now = o.now.Add(waitMost)
	require.NoError(t, o.round(t.Context()))
	require.Equal(t, "P. Gurung m5", tried[4])
}

// Where everything fails that goes to one person, even for good, what is urgent to others goes out
// at once; the rest follows, since the way is open.
func TestUrgentToOthersDoesNotWait(t *testing.T) {
	for name, f := range map[string]Failure{"hangs": {Everyone: true}, "refused": {Everyone: true, Permanent: true}} {
		t.Run(name, func(t *testing.T) {
			o := newOffice(t)
			var tried []string
			o.rewire(nil, &way{name: ByMail, ask: func(_ context.Context, d *Delivery) error {
				tried = append(tried, d.Person+" "+d.Subject)
				if d.Person == "S. Rai" {
					return &Failure{Err: errors.New("no"), Everyone: f.Everyone, Permanent: f.Permanent}
				}
				return nil
			}})
			o.post1(ByMail, "S. Rai", "gas", Letter{Priority: "high", Wake: true})
			o.post1(ByMail, "P. Gurung", "gas", Letter{Priority: "high"})
			o.look(0)
			require.Equal(t, []string{"S. Rai gas", "P. Gurung gas"}, tried)
			o.look(waitMost) // Rai's is tried again, where it was not refused
			tried = nil
			o.post1(ByMail, "P. Gurung", "leak", Letter{Priority: "high"})
			o.post1(ByMail, "P. Gurung", "stuck", Letter{Priority: "low"})
			o.look(time.Second)
			require.Equal(t, []string{"P. Gurung leak", "P. Gurung stuck"}, tried)
		})
	}
}

// A server that is down is not asked more often for it: once for each person to whom something is
// urgent. It is tried again when it would have been, and programs still learn in order.
func TestUrgentTriesAreBounded(t *testing.T) {
	o := newOffice(t)
	var tried []string
	down := func(_ context.Context, d *Delivery) error {
		tried = append(tried, d.Person+" "+d.Subject)
		return &Failure{Err: errors.New("connection refused"), Everyone: true}
	}
	o.rewire(func(p *Options) { p.Rand = func() float64 { return 0.5 } }, &way{name: ByMail, ask: down})
	o.post1(ByMail, "S. Rai", "gas", Letter{Priority: "high"})
	o.post1(ByMail, "P. Gurung", "stuck", Letter{Priority: "medium"})
	o.look(0)
	for _, subject := range []string{"leak", "fire", "gas"} {
		o.post1(ByMail, "S. Rai", "more "+subject, Letter{Priority: "high"})
		o.post1(ByMail, "P. Gurung", subject, Letter{Priority: "high"})
		o.look(time.Second)
	}
	require.Equal(t, []string{"S. Rai gas", "P. Gurung leak"}, tried)
	o.look(waitFirst - 3*time.Second)
	require.Len(t, tried, 3, "one is tried for all, at the time that the first failure set")

	tried = nil
	o.rewire(nil, &way{name: ByWebhook, ask: down})
	o.post1(ByWebhook, "board", "raised", Letter{Priority: "low"})
	o.look(0)
	o.post1(ByWebhook, "board", "fell", Letter{Priority: "high", Wake: true})
	o.look(time.Second)
	require.Equal(t, []string{"board raised"}, tried)
}

// Messages are dated by the newest entry, whose time stands still while the machine's clock stands
// before it, and the clock of messages goes on. What is new then is not called late, as if things had
// changed since; what failed before is.
func TestNewMessageIsNotLateWhileTheClockIsBehind(t *testing.T) {
	for name, c := range map[string]struct {
		behind time.Duration
		fails  int
		late   bool
	}{"new": {24 * time.Hour, 0, false}, "failed before": {24 * time.Hour, 1, true}, "the clock is right": {0, 0, true}} {
		o := newOffice(t)
		said, tries := "", 0
		o.rewire(func(p *Options) { p.Machine = func() time.Time { return o.now.Add(-c.behind) } },
			&way{name: ByMail, ask: func(_ context.Context, d *Delivery) error {
				if tries++; tries <= c.fails {
					return errors.New("no")
				}
				said = d.Content()
				return nil
			}})
		o.put(logbook.PriorityHigh, "fire")
		for range c.fails + 1 {
			o.look(10 * time.Hour)
		}
		require.NotEmpty(t, said)
		require.Equal(t, c.late, strings.Contains(said, "This message is late"), name)
	}
}

// While the machine's clock stands before the newest entry, messages fall due by that entry's time and
// on from there, which goes back by that much when the clock has caught up. What failed before that,
// and a way that was held back, wait no longer for it than after any failure.
func TestClockThatGoesBackKeepsNobodyWaiting(t *testing.T) {
	for name, restarted := range map[string]bool{"runs on": false, "started anew": true} {
		t.Run(name, func(t *testing.T) {
			o := newOffice(t)
			down := true
			o.post.fail = func(int, *Delivery) error {
				if down {
					return &Failure{Err: errors.New("connection refused"), Everyone: true}
				}
				return nil
			}
			o.put(logbook.PriorityHigh, "clock")
			for range 48 {
				o.look(waitMost)
			}
			o.now, down = noon.Std(), false
			if restarted {
				fail := o.post.fail
				o.restart()
				o.post.fail = fail
			}
			o.put(logbook.PriorityHigh, "gas")
			o.look(0)
			o.look(waitPermMost)
			require.ElementsMatch(t, []string{"clock@bagmati.example rai@bagmati.example clock", "gas@bagmati.example rai@bagmati.example gas"}, o.post.took)
		})
	}
}
