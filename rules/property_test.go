package rules

import (
	"bytes"
	"encoding/json"
	"fmt"
	"runtime"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"undersheet/logbook"
)

// oracle keeps, from the entries alone and in the plainest way, what must be true
// before a gate may say check-owed or cleared. It knows nothing of package gate.
type oracle struct {
	gas      map[string]bool              // stacks dosed or under gas
	airing   map[string]logbook.Time      // running airing began; paused = far ahead
	reads    map[string][]logbook.Reading // fresh readings per channel
	stores   map[string][]string          // gate channels
	declared map[string]bool
}

const never = logbook.Time(1 << 62)

func newOracle() *oracle {
	return &oracle{gas: map[string]bool{}, airing: map[string]logbook.Time{}, reads: map[string][]logbook.Reading{}, declared: map[string]bool{},
		stores: map[string][]string{"Long Barn": {"door", "inside"}, "Brick Store": {"door2"}}}
}

func (o *oracle) take(e logbook.Entry) {
	at := e.Head().Received
	switch e := e.(type) {
	case *logbook.Reading:
		perUnit := map[string]float64{"ppm": 1, "mg/m3": 0.71963, "g/m3": 719.63}[e.Unit] // ideal gas at 25 °C
		ppm := e.Value * perUnit
		fresh := e.Fault == "" && !e.Retained && perUnit > 0 && ppm >= -0.03 && ppm < 20
		if lag := at.Sub(e.Time); fresh && lag <= 10*time.Minute && lag >= -5*time.Minute {
			r := *e
			r.Time, r.Value = min(r.Time, at), ppm
			o.reads[e.Channel] = append(o.reads[e.Channel], r)
		}
	case *logbook.DosingStarted:
		o.gas[e.Stack] = o.gas[e.Stack] || e.Stack != "Z"
		delete(o.airing, e.Stack)
	case *logbook.TreatmentStarted:
		o.gas[e.Stack] = e.Stack != "Z"
		delete(o.airing, e.Stack)
	case *logbook.AiringStarted:
		o.gas[e.Stack], o.airing[e.Stack] = false, min(e.Time, at)
	case *logbook.AiringResumed:
		if _, airing := o.airing[e.Stack]; airing {
			o.airing[e.Stack] = min(e.Time, at)
		}
	case *logbook.AiringPaused:
		if _, airing := o.airing[e.Stack]; airing {
			o.airing[e.Stack] = never
		}
	case *logbook.Restored:
		o.declared = map[string]bool{}
	case *logbook.Accepted:
		if e.Entry == logbook.KindNoGasDeclared || e.Entry == logbook.KindEntryConfirmed {
			o.declared[e.Store] = true
		}
	}
}

// doubt returns a reason why the gate of a store must not open, or "".
func (o *oracle) doubt(store string, now logbook.Time, withholding map[string]bool) string {
	if !o.declared[store] {
		return "nothing declared"
	}
	if store == "Long Barn" {
		for _, stack := range []string{"A", "B"} {
			if o.gas[stack] {
				return "gas in " + stack
			}
			if at, airing := o.airing[stack]; airing && !withholding[stack] && now.Sub(at) < 2*time.Hour {
				return "airing of " + stack + " too short"
			}
		}
	}
	for _, ch := range o.stores[store] {
		rs := o.reads[ch]
		if len(rs) == 0 || now.Sub(rs[len(rs)-1].Time) > time.Hour {
			return ch + " silent"
		}
		newest := rs[len(rs)-1].Time
		for _, r := range rs {
			if newest.Sub(r.Time) <= 30*time.Minute && !(r.Value*1.1+0.03 < 0.3) {
				return fmt.Sprintf("%s read %g at %s", ch, r.Value, r.Time)
			}
		}
		if newest.Sub(rs[0].Time) < 30*time.Minute {
			return ch + " not read for 30 minutes"
		}
	}
	return ""
}

// Whatever happens, in whatever order: no gate is check-owed or cleared with a
// doubt, every record can be written (no NaN), and refusals give a reason.
func TestGateNeverOpensWithADoubt(t *testing.T) {
	opened := 0
	depots := func(t *rapid.T) {
		o := newOracle()
		g := &script{t: t, now: epoch, airy: rapid.IntRange(0, 3).Draw(t, "airy") > 0, wired: rapid.IntRange(0, 3).Draw(t, "wired") == 0, restore: true}
		d := newDaemon(map[bool]logbook.Site{true: wiredSite(), false: testSite()}[g.wired])
		seen := 0
		for i := 0; i < 70; i++ {
			for _, e := range g.next() {
				d.commit(e)
				for _, c := range d.log[seen:] {
					o.take(c)
				}
				seen = len(d.log)
				opened += checkGates(t, d, o)
			}
		}
		for _, r := range d.made {
			_, err := logbook.Encode(r)
			require.NoError(t, err)
		}
	}
	for round := 0; round < 5 && opened == 0; round++ { // of 20 depots, as in a short run, none comes so far once in twenty-five times
		rapid.Check(t, depots)
	}
	require.Positive(t, opened, "no random depot ever came to check-owed: the test shows nothing")
}

func checkGates(t *rapid.T, d *daemon, o *oracle) (opened int) {
	withholding := map[string]bool{}
	for _, name := range []string{"A", "B"} {
		if k := d.state.Stacks[name]; k != nil && k.Treatment != nil {
			withholding[name] = k.Treatment.Phase == logbook.PhaseWithholding || k.Treatment.Phase == logbook.PhaseClosed
		}
	}
	for _, store := range []string{"Long Barn", "Brick Store"} {
		g := d.state.Stores[store].Gate
		if g.State != logbook.GateCheckOwed && g.State != logbook.GateCleared {
			continue
		}
		opened++
		if doubt := o.doubt(store, d.state.At, withholding); doubt != "" {
			t.Fatalf("the gate of %s is %s, and yet: %s", store, g.State, doubt)
		}
		if n := len(d.state.Stores[store].Inside); n > 0 {
			t.Fatalf("the gate of %s is %s with %d people inside", store, g.State, n)
		}
	}
	return opened
}

// The fold split by a restart at any entry equals one run: same state, same records.
func TestRestartAnywhereEqualsOneRun(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		g := &script{t: t, now: epoch, airy: rapid.Bool().Draw(t, "airy"), wired: rapid.Bool().Draw(t, "wired"), restore: true}
		d := newDaemon(map[bool]logbook.Site{true: wiredSite(), false: testSite()}[g.wired])
		for i := 0; i < 40; i++ {
			for _, e := range g.next() {
				d.commit(e)
			}
		}
		at := rapid.IntRange(0, len(d.log)).Draw(t, "restart after")
		once, twice := New(), New()
		var a, b bytes.Buffer
		for i, e := range d.log {
			write(t, &a, once.Fold(e))
			if i == at {
				twice = throughSnapshot(t, twice)
			}
			write(t, &b, twice.Fold(e))
		}
		require.Equal(t, a.String(), b.String(), "records")
		require.JSONEq(t, snapshot(t, once), snapshot(t, twice), "state")
		require.JSONEq(t, snapshot(t, d.state), snapshot(t, once), "a re-fold of the log gives the state of the daemon")
	})
}

func write(t require.TestingT, w *bytes.Buffer, rs []logbook.Recorded) {
	for _, r := range rs {
		b, err := logbook.Encode(r)
		require.NoError(t, err)
		w.Write(append(b, '\n'))
	}
}

func snapshot(t require.TestingT, s *State) string {
	b, err := json.Marshal(s)
	require.NoError(t, err)
	return string(b)
}

func throughSnapshot(t *rapid.T, s *State) *State {
	var again State
	require.NoError(t, json.Unmarshal([]byte(snapshot(t, s)), &again))
	return &again
}

// The same entries give the same bytes, run after run, on one core and on two.
func TestSameBytesOnOneCoreAndOnTwo(t *testing.T) {
	example := rapid.Custom(func(t *rapid.T) string {
		d := newDaemon(wiredSite())
		g := &script{t: t, now: epoch, airy: true, wired: true}
		for i := 0; i < 60; i++ {
			for _, e := range g.next() {
				d.commit(e)
			}
		}
		var b strings.Builder
		for _, e := range d.log {
			line, err := logbook.Encode(e)
			require.NoError(t, err)
			b.Write(append(line, '\n'))
		}
		return b.String()
	}).Example(7)
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(0))
	first := ""
	for run := 0; run < 20; run++ {
		runtime.GOMAXPROCS(1 + run%2)
		out := replayed(t, example)
		if first == "" {
			first = out
		}
		require.Equal(t, first, out, "run %d", run)
	}
	require.Contains(t, first, `"kind":"gate"`)
}

func replayed(t *testing.T, text string) string {
	p := NewPlayer(nil)
	r := logbook.NewReader("example", strings.NewReader(text))
	var b strings.Builder
	for e, err := r.Next(); err == nil; e, err = r.Next() {
		for _, rec := range p.Play(e) {
			line, err := logbook.Encode(rec)
			require.NoError(t, err)
			b.Write(append(line, '\n'))
		}
	}
	return b.String()
}
