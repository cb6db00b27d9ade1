package watch

import (
	"context"
	"encoding/json"
	"io"
	"log/slog"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/logbook"
	"undersheet/rules"
	"undersheet/rules/gate"
)

// options are those of most tests; the depot's clock stands at minute 0.
func options() Options {
	return Options{Program: "1.2", Build: "b12", ConfigHash: "conf", NewState: newDepot, NewPlanner: func() Planner { return &crier{} },
		Clock: new(clockAt).set(0).now, Logger: slog.New(slog.NewTextHandler(io.Discard, nil))}
}

// running is a loop under test.
type running struct {
	*Loop
	cancel context.CancelFunc
	err    chan error
}

func start(t *testing.T, log Log, o Options) *running {
	ctx, cancel := context.WithCancel(context.Background())
	t.Cleanup(cancel)
	r := &running{New(log, o), cancel, make(chan error, 1)}
	go func() { r.err <- r.Run(ctx) }()
	return r
}

// stopped stops the loop as a service does and returns Run's error.
func (r *running) stop() error {
	r.cancel()
	return <-r.err
}

// state returns the first store's gate state and its first reason's code.
func state(v *rules.View) (string, string) {
	if len(v.Stores) == 0 {
		return "", ""
	}
	g := v.Stores[0].Gate
	if len(g.Reasons) == 0 {
		return g.State, ""
	}
	return g.State, g.Reasons[0].Code
}

func requireState(t *testing.T, v *rules.View, state2, code string) {
	t.Helper()
	s, c := state(v)
	require.Equal(t, [2]string{state2, code}, [2]string{s, c})
}

// brief lists kinds of the log's entries, with what tells them apart.
func brief(lines []string) []string {
	var s []string
	for _, line := range lines {
		var e struct {
			Kind, State, Code string
			Of                uint64
		}
		json.Unmarshal([]byte(line), &e)
		s = append(s, strings.Join(strings.Fields(e.Kind+" "+e.State+" "+e.Code), " "))
	}
	return s
}

func TestVerdictTakesEffectFromTheLog(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		m := newMemory()
		l := start(t, m, options())
		seq := m.input(t, reading(0, 1), confirmed(0))
		got, err := l.Answer(t.Context(), seq)
		require.NoError(t, err)
		require.Equal(t, &logbook.Accepted{Header: logbook.Header{Time: dawn, Kind: logbook.KindAccepted, Seq: 3, Received: dawn},
			Record: logbook.Record{Of: 2, Program: "1.2"}, Entry: logbook.KindEntryConfirmed, Store: "Store 2"}, got)
		synctest.Wait()
		requireState(t, l.View(), logbook.GateCleared, "")
		m.input(t, reading(0, 200))
		seq = m.input(t, confirmed(0))
		got, err = l.Answer(t.Context(), seq)
		require.NoError(t, err)
		require.IsType(t, &logbook.Refused{}, got)
		again, err := l.Answer(t.Context(), seq) // an answered act is answered again
		require.NoError(t, err)
		require.Equal(t, got, again)
		_, err = l.Answer(t.Context(), 1)
		require.ErrorContains(t, err, "not an act")
		synctest.Wait()
		requireState(t, l.View(), logbook.GateShut, "")
		require.Equal(t, []string{"reading", "entry-confirmed", "accepted", "gate cleared", "reading", "entry-confirmed", "alarm raised", "refused gas"},
			brief(m.all()))
		require.Equal(t, Status{Seq: 8, Judged: 8, Folded: 8, Records: 4}, l.Status())
		require.NoError(t, l.stop())
		require.Equal(t, uint64(8), m.judged)
		requireState(t, l.View(), logbook.GateShut, gate.WatchStopped)
		_, err = l.Answer(t.Context(), 99)
		require.ErrorIs(t, err, ErrStopped)
	})
}

func TestAnswerEndsWithItsContext(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		l := start(t, newMemory(), options())
		ctx, cancel := context.WithTimeout(t.Context(), time.Second)
		defer cancel()
		_, err := l.Answer(ctx, 5)
		require.ErrorIs(t, err, context.DeadlineExceeded)
		require.NoError(t, l.stop())
	})
}

// TestNewProgramJudgesNothingAnew: what a newer program would say differently of
// old entries is not said, and its messages are not sent.
func TestNewProgramJudgesNothingAnew(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		m := newMemory()
		l := start(t, m, options())
		m.input(t, reading(0, 200), reading(0, 1))
		synctest.Wait()
		require.NoError(t, l.stop())
		was := m.all()
		m = m.reborn()
		o := options()
		o.Program, o.Build = "2.0", "b20"
		o.NewState = func() Folder { return &talker{depot: newDepot().(*depot)} }
		l = start(t, m, o)
		synctest.Wait()
		require.Equal(t, was, m.all())
		require.Len(t, m.out, 2)
		m.input(t, reading(0, 2))
		synctest.Wait()
		require.Equal(t, append(brief(was), "reading", "finding new"), brief(m.all()))
		require.NoError(t, l.stop())
	})
}

// talker says more than depot does.
type talker struct{ *depot }

func (d *talker) Fold(e logbook.Entry) []logbook.Recorded {
	recs := d.depot.Fold(e)
	if e.Head().Kind == logbook.KindReading {
		recs = append(recs, &logbook.Finding{Header: logbook.Header{Kind: logbook.KindFinding, Time: d.At}, Record: logbook.Record{Of: e.Head().Seq}, Code: "new"})
	}
	return recs
}

func TestOnlyDailyForecastsAreKept(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		m := newMemory()
		o := options()
		o.NewState = func() Folder { return &seer{depot: newDepot().(*depot)} }
		l := start(t, m, o)
		m.input(t, reading(0, 1), reading(0, 2))
		synctest.Wait()
		require.NoError(t, l.stop())
		require.Equal(t, []string{"reading", "reading", "forecast"}, brief(m.all()))
	})
}

// seer forecasts at every reading; every second forecast is that of the day.
type seer struct{ *depot }

func (d *seer) Fold(e logbook.Entry) []logbook.Recorded {
	if e.Head().Kind != logbook.KindReading {
		return d.depot.Fold(e)
	}
	d.depot.Fold(e)
	return []logbook.Recorded{&logbook.Forecast{Header: logbook.Header{Kind: logbook.KindForecast, Time: d.At}, Stack: "B", Daily: e.Head().Seq%2 == 0}}
}

// TestGatesShownShut goes through the reasons that watch adds to every gate.
func TestGatesShownShut(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		m := newMemory()
		m.input(t, reading(0, 1), confirmed(0))
		clock := new(clockAt).set(1)
		o := options()
		o.Clock = clock.now
		l := New(m, o)
		requireState(t, l.View(), "", "")
		require.Equal(t, gate.CatchingUp, l.Status().Shut)
		ctx, cancel := context.WithCancel(t.Context())
		done := make(chan error, 1)
		go func() { done <- l.Run(ctx) }()
		synctest.Wait()
		requireState(t, l.View(), logbook.GateCleared, "")
		require.Same(t, l.View(), l.View(), "made once for one seq")

		changed := l.Changed()
		clock.set(4) // nothing was written for 4 minutes, not even the clock
		requireState(t, l.View(), logbook.GateShut, gate.NoEntries)
		time.Sleep(guardEvery)
		synctest.Wait()
		requireClosed(t, changed)

		clock.set(-1) // a board without a battery clock
		requireState(t, l.View(), logbook.GateShut, gate.ClockBehind)
		clock.set(1)
		m.behind = true
		requireState(t, l.View(), logbook.GateShut, gate.ClockBehind)
		m.behind = false
		requireState(t, l.View(), logbook.GateCleared, "")
		cancel()
		require.NoError(t, <-done)
		requireState(t, l.View(), logbook.GateShut, gate.WatchStopped)
	})
}

func requireClosed(t *testing.T, c <-chan struct{}) {
	t.Helper()
	select {
	case <-c:
	default:
		require.Fail(t, "nobody was told of the change")
	}
}

// TestCatchingUpIsShut: a log with a clearance in the middle never shows an open
// gate before its end is reached, and then shows what the end says.
func TestCatchingUpIsShut(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		m := newMemory()
		l := start(t, m, options())
		m.input(t, reading(0, 1), confirmed(0))
		synctest.Wait()
		requireState(t, l.View(), logbook.GateCleared, "")
		require.NoError(t, l.stop())
		for range 1000 {
			m.input(t, reading(0, 1))
		}
		m = m.reborn()
		m.snap = nil
		o := options()
		var seen []string
		var loop *running
		ready := make(chan struct{})
		o.NewState = func() Folder { <-ready; return newDepot() }
		o.Batch = 7
		loop = start(t, &peeking{memory: m, at: func(from uint64) {
			s, c := state(loop.View())
			seen = append(seen, s+" "+c)
		}}, o)
		close(ready)
		synctest.Wait()
		require.Greater(t, len(seen), 100)
		for _, s := range seen[1:] { // before the first batch there is no store yet
			require.Equal(t, "shut catching-up", s)
		}
		requireState(t, loop.View(), logbook.GateCleared, "")
		require.NoError(t, loop.stop())
	})
}

// peeking looks at the view between batches.
type peeking struct {
	*memory
	at func(from uint64)
}

func (p *peeking) Read(ctx context.Context, from uint64, limit int) ([]logbook.Entry, error) {
	if from > 1 {
		p.at(from)
	}
	return p.memory.Read(ctx, from, limit)
}

// TestSnapshot: a start from a snapshot folds nothing twice; a snapshot of
// another build or configuration, or a broken one, is not used, whatever version it names.
func TestSnapshot(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		m := newMemory()
		o := options()
		o.SnapshotEvery = 3
		l := start(t, m, o)
		for range 10 {
			m.input(t, reading(0, 10))
			synctest.Wait()
		}
		require.Equal(t, uint64(9), m.snap.Seq)
		require.Equal(t, uint64(9), m.judged, "the cursor is not behind the snapshot")
		for name, change := range map[string]func(*Options){
			"the same":      func(o *Options) {},
			"build":         func(o *Options) { o.Build = "b20" },
			"unknown build": func(o *Options) { o.Build = "" },
			"configuration": func(o *Options) { o.ConfigHash = "other" },
			"broken":        func(*Options) { m.snap.Data = m.snap.Data[:20] },
			"other shape":   func(*Options) { m.snap.Data = []byte(`{"rules":{"Sum":"x"},"alert":{}}`) },
		} {
			kept := *m.snap
			next := m.reborn()
			o := options()
			change(&o)
			l2 := start(t, next, o)
			synctest.Wait()
			require.Equal(t, 100.0, l2.state.(*depot).Sum, name)
			folded := map[bool]uint64{true: 1, false: 10}[name == "the same"]
			require.Equal(t, folded, l2.Status().Folded, name)
			next.dead = true
			l2.cancel()
			<-l2.err
			*m.snap = kept
		}
		<-l.err
	})
}

// TestQuietDepotSparesTheDisk: readings that change nothing do not cost a commit each.
func TestQuietDepotSparesTheDisk(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		m := newMemory()
		l := start(t, m, options())
		for range 600 {
			m.input(t, reading(0, 1))
			time.Sleep(time.Second)
		}
		synctest.Wait()
		require.LessOrEqual(t, m.commits, 11)
		require.NoError(t, l.stop())
		require.Equal(t, uint64(600), m.judged)
		require.Equal(t, uint64(600), m.snap.Seq)
	})
}
