package watch

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"undersheet/alert"
	"undersheet/logbook"
	"undersheet/logbook/sqlite"
	"undersheet/rules"
)

// depotSite is an invented depot with one store and two stacks.
func depotSite() logbook.Site {
	line := logbook.Channel{Gas: "ph3", Unit: "ppm", Range: 2000, Resolution: 1, DetectionLimit: 1, Accuracy: 0.05}
	air := logbook.Channel{Gas: "ph3", Unit: "ppm", Range: 20, Resolution: 0.01, DetectionLimit: 0.03, Accuracy: 0.1}
	return logbook.Site{Name: "Kestrel Wharf", Timezone: "UTC", Emergency: "call 00 1",
		Channels: map[string]logbook.Channel{"a-top": line, "a-low": line, "b-top": line, "door": air, "beside": air, "office": air},
		Stores: []logbook.Store{{Name: "Shed 1",
			Air: []logbook.AirPoint{{Name: "door", Channel: "door", Where: "door"}, {Name: "beside A", Channel: "beside"}, {Name: "office", Channel: "office", Where: "office"}},
			Stacks: []logbook.Stack{{Name: "A", Lines: []logbook.Line{{Name: "top", Channel: "a-top"}, {Name: "low", Channel: "a-low"}}},
				{Name: "B", Lines: []logbook.Line{{Name: "top", Channel: "b-top"}}}}}},
		People: []logbook.Person{{Name: "N. Ferreira", Email: "n@wharf.example"}, {Name: "I. Okafor", Email: "i@wharf.example", From: "low"}},
		Mail:   &logbook.Mail{Host: "localhost", From: "depot@wharf.example"}}
}

// history draws what happens at the depot: mostly readings, mostly a plausible
// order of acts, so that gates open and alarms come and go.
func history(t *rapid.T) []logbook.Entry {
	at := dawn
	stamp := func(e logbook.Entry, k logbook.Kind) logbook.Entry {
		e.Head().Kind, e.Head().Time = k, at
		return e
	}
	out := []logbook.Entry{stamp(&logbook.SiteConfigured{Site: depotSite()}, logbook.KindSiteConfigured)}
	by, store := logbook.Act{By: "N. Ferreira"}, logbook.OnStore{Store: "Shed 1"}
	foul := rapid.IntRange(0, 3).Draw(t, "foul")
	const opening = 6 // moments of clean air and a declaration, so that the store can be cleared
	for n := range opening + rapid.IntRange(3, 15).Draw(t, "moments") {
		step := 10 * time.Minute
		if n >= opening {
			step = rapid.SampledFrom([]time.Duration{5 * time.Minute, 10 * time.Minute, 10 * time.Minute, 40 * time.Minute, 5 * time.Hour}).Draw(t, "step")
		}
		at = at.Add(step)
		for _, ch := range []string{"door", "beside", "office", "a-top", "a-low", "b-top"} {
			at++
			ppm := rapid.SampledFrom([]float64{0, 0.01, 0.02}).Draw(t, "clean")
			if ch[1] == '-' {
				ppm = rapid.SampledFrom([]float64{300, 310, 320, 10, 2000}).Draw(t, "under")
			} else if n >= opening && rapid.IntRange(0, 20).Draw(t, "odd") < foul {
				ppm = rapid.SampledFrom([]float64{0.5, 7, -5, 20}).Draw(t, "gas")
			}
			out = append(out, stamp(&logbook.Reading{Channel: ch, Value: ppm, Unit: "ppm"}, logbook.KindReading))
		}
		at++
		stack := logbook.OnStack{Stack: rapid.SampledFrom([]string{"A", "A", "B"}).Draw(t, "stack")}
		act := rapid.IntRange(0, 9).Draw(t, "act")
		switch {
		case n == 0:
			act = 0
		case n < opening:
			act = 5
		}
		switch act {
		case 0:
			out = append(out, stamp(&logbook.NoGasDeclared{OnStore: store, Act: by}, logbook.KindNoGasDeclared))
		case 1:
			out = append(out, stamp(&logbook.TreatmentStarted{OnStack: stack, Treatment: fmt.Sprint("T-", n), Protocol: "five-day", Commodity: "maize",
				Tonnes: 100, VolumeM3: 150, PhosphineG: 200, GrainTempC: 27, Act: by}, logbook.KindTreatmentStarted))
		case 2, 3:
			out = append(out, stamp(&logbook.AiringStarted{OnStack: stack, Early: "rain", Act: by}, logbook.KindAiringStarted))
		case 4:
			limit := 0.05
			out = append(out, stamp(&logbook.HandReading{Store: "Shed 1", Point: "beside " + stack.Stack, Value: 0.1, Unit: "ppm", Method: "detector tube",
				DetectionLimit: &limit, Act: by}, logbook.KindHandReading))
		case 5, 6:
			out = append(out, stamp(&logbook.EntryConfirmed{OnStore: store, Act: by}, logbook.KindEntryConfirmed))
		case 7: // more likely of an early act than not: records stand between the entries
			out = append(out, stamp(&logbook.Corrected{Of: uint64(rapid.IntRange(1, 40).Draw(t, "of")), Withdrawn: true, Why: "miswritten", Act: by}, logbook.KindCorrected))
		}
	}
	return out
}

// rig is a log that the test appends to, looks into, and kills.
type rig interface {
	Log
	inputs(t require.TestingT, e logbook.Entry)
	contents(t require.TestingT) []string
	messages(t require.TestingT) []string
	// killAtCommit makes the process die instead of committing records.
	killAtCommit()
	// next returns the log as the next process finds it.
	next(t require.TestingT, forgetSnapshot bool) rig
}

func (m *memory) inputs(t require.TestingT, e logbook.Entry) {
	m.mu.Lock()
	defer m.mu.Unlock()
	require.NoError(t, m.add(e))
	close(m.changed)
	m.changed = make(chan struct{})
}

func (m *memory) contents(require.TestingT) []string { return m.all() }

func (m *memory) messages(require.TestingT) []string {
	m.mu.Lock()
	defer m.mu.Unlock()
	var s []string
	for _, k := range m.order {
		s = append(s, m.out[k].To+" "+string(m.out[k].Body))
	}
	return s
}

func (m *memory) killAtCommit() {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.refuse = func(int) error { m.dead = true; return errKilled }
}

func (m *memory) next(_ require.TestingT, forgetSnapshot bool) rig {
	n := m.reborn()
	if forgetSnapshot {
		n.snap = nil
	}
	return n
}

// durable is a rig on the real store.
type durable struct {
	*sqlite.Store
	clock *atomic.Int64 // µs
	kill  atomic.Bool
}

func newDurable(t require.TestingT, path string, clock *atomic.Int64) *durable {
	s, err := sqlite.Open(path, sqlite.Options{LogID: "00112233445566778899aabbccddeeff",
		Now: func() time.Time { return logbook.Time(clock.Load()).Std() }})
	require.NoError(t, err)
	return &durable{Store: s, clock: clock}
}

func (d *durable) AppendRecords(ctx context.Context, judged uint64, recs []logbook.Recorded, out []sqlite.Outgoing) error {
	if d.kill.Load() && len(recs)+len(out) > 0 {
		return sqlite.ErrClosed
	}
	return d.Store.AppendRecords(ctx, judged, recs, out)
}

func (d *durable) inputs(t require.TestingT, e logbook.Entry) {
	d.clock.Store(int64(e.Head().Time))
	_, err := d.Append(context.Background(), []logbook.Entry{e})
	require.NoError(t, err)
}

func (d *durable) contents(t require.TestingT) []string {
	var s []string
	for e, err := range d.Entries(context.Background(), 1) {
		require.NoError(t, err)
		b, err := logbook.Encode(e)
		require.NoError(t, err)
		s = append(s, string(b))
	}
	return s
}

func (d *durable) messages(t require.TestingT) []string {
	due, err := d.Due(context.Background(), time.Date(9000, 1, 1, 0, 0, 0, 0, time.UTC), 1<<20)
	require.NoError(t, err)
	var s []string
	for _, o := range due {
		var l alert.Letter
		require.NoError(t, json.Unmarshal(o.Body, &l))
		s = append(s, o.Key+" "+o.To+" "+l.Subject)
	}
	return s
}

func (d *durable) killAtCommit() { d.kill.Store(true) }

func (d *durable) next(t require.TestingT, _ bool) rig {
	path := d.Path()
	require.NoError(t, d.Close())
	return newDurable(t, path, d.clock)
}

// play runs the watch over a history, one entry after another. trouble draws
// what befalls the process at each entry: 0 nothing, 1 it is killed before the
// entry's records are committed, 2 after, 3 it is stopped and started, 4 the
// same without its snapshot.
func play(t require.TestingT, log rig, entries []logbook.Entry, trouble func() int) (rig, []byte) {
	l := run(log)
	for _, e := range entries {
		what := trouble()
		if what == 1 {
			log.killAtCommit()
		}
		log.inputs(t, e)
		l.settle(t, log)
		switch what {
		case 1, 2:
			next := log.next(t, false)
			l.cancel()
			<-l.err
			log = next
		case 3, 4:
			require.NoError(t, l.stop())
			log = log.next(t, what == 4)
		default:
			continue
		}
		l = run(log)
		l.settle(t, log) // else the next kill would keep this entry's records back once more
	}
	require.NoError(t, l.stop())
	state, err := json.Marshal(both{l.state, l.planner})
	require.NoError(t, err)
	require.Equal(t, string(folded(t, log)), string(state), "the state is the fold of the log, of nothing else")
	return log, state
}

// folded is the state as a plain fold of the log gives it.
func folded(t require.TestingT, log Log) []byte {
	s, p := rules.New(), alert.NewPlanner(alert.PlannerOptions{})
	entries, err := log.Read(context.Background(), 1, 1<<20)
	require.NoError(t, err)
	for i, e := range entries {
		s.Fold(e)
		if s.Outdated() {
			_, err := s.Refold(func(yield func(logbook.Entry, error) bool) {
				for _, past := range entries[:i+1] {
					if !yield(past, nil) {
						return
					}
				}
			}, false)
			require.NoError(t, err)
		}
		p.Fold(e, func() (*rules.View, sqlite.Head) { return s.View(), sqlite.Head{} })
	}
	b, err := json.Marshal(both{s, p})
	require.NoError(t, err)
	return b
}

func run(log Log) *running {
	ctx, cancel := context.WithCancel(context.Background())
	o := options()
	o.NewState, o.NewPlanner, o.SnapshotEvery = nil, func() Planner { return alert.NewPlanner(alert.PlannerOptions{}) }, 19
	r := &running{New(log, o), cancel, make(chan error, 1)}
	go func() { r.err <- r.Run(ctx) }()
	return r
}

// settle waits until all is folded, what the fold proposed included, or the loop
// has ended.
func (r *running) settle(t require.TestingT, log Log) {
	for {
		changed := r.Changed()
		seq := r.Status().Seq
		h, err := log.Head(context.Background())
		require.NoError(t, err)
		if seq == h.Seq {
			return
		}
		select {
		case <-changed:
		case <-r.stopped:
			return
		case <-time.After(30 * time.Second):
			require.FailNow(t, "the loop does not get on", "%d of %d: %+v", seq, h.Seq, r.Status())
		}
	}
}

// most cuts a number of runs down under -short, where the race detector slows them.
func most(runs int) int {
	if testing.Short() {
		return runs/8 + 1
	}
	return runs
}

func never() int { return 0 }

// TestRestartAnywhereEqualsOneRun: however often the process is killed or
// stopped, and wherever, the log is the same to the byte, every message is
// planned once, and the state is the same.
func TestRestartAnywhereEqualsOneRun(t *testing.T) {
	var alarms, messages, cleared, runs int
	rapid.Check(t, func(t *rapid.T) {
		if runs++; runs > most(25) { // each folds thousands of entries
			return
		}
		entries := history(t)
		one, state := play(t, newMemory(), entries, never)
		want, told := one.contents(t), one.messages(t)
		troubles := rapid.SliceOfN(rapid.IntRange(0, 4), 1, 12).Draw(t, "troubles")
		n := 0
		other, state2 := play(t, newMemory(), entries, func() int { n++; return troubles[n%len(troubles)] })
		require.Equal(t, want, other.contents(t))
		require.Equal(t, told, other.messages(t))
		require.Equal(t, string(state), string(state2))
		messages += len(told)
		for _, k := range brief(want) {
			if k == "gate cleared" {
				cleared++
			}
			if k == "alarm raised" {
				alarms++
			}
		}
	})
	t.Logf("%d alarms, %d messages, %d clearances", alarms, messages, cleared)
	if testing.Short() {
		return // so few histories may hold no alarm by chance
	}
	require.Positive(t, alarms)
	require.Positive(t, messages)
	require.Positive(t, cleared)
}

// TestRestartOnTheRealStore does the same with the store that the daemon uses.
func TestRestartOnTheRealStore(t *testing.T) {
	dir := t.TempDir()
	runs := 0
	rapid.Check(t, func(t *rapid.T) {
		if runs++; runs > most(8) { // each costs hundreds of commits to disk
			return
		}
		var clock atomic.Int64
		clock.Store(int64(dawn))
		name := func(s string) string { return filepath.Join(dir, fmt.Sprint(runs, s)) }
		entries := history(t)
		one, state := play(t, newDurable(t, name("one"), &clock), entries, never)
		clock.Store(int64(dawn))
		troubles := rapid.SliceOfN(rapid.IntRange(0, 4), 1, 12).Draw(t, "troubles")
		n := 0
		other, state2 := play(t, newDurable(t, name("other"), &clock), entries, func() int { n++; return troubles[n%len(troubles)] })
		require.Equal(t, one.contents(t), other.contents(t))
		require.Equal(t, one.messages(t), other.messages(t))
		require.Equal(t, string(state), string(state2))
		for _, r := range []rig{one, other} {
			require.NoError(t, r.(*durable).Close())
			os.Remove(r.(*durable).Path())
		}
	})
}
