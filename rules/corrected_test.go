package rules

import (
	"encoding/json"
	"iter"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"undersheet/logbook"
)

// entriesOf yields what a daemon has committed.
func entriesOf(log []logbook.Entry) iter.Seq2[logbook.Entry, error] {
	return func(yield func(logbook.Entry, error) bool) {
		for _, e := range log {
			if !yield(e, nil) {
				return
			}
		}
	}
}

// correct commits a correction and makes the state again, as the watch does.
func (d *day) correct(of uint64, right logbook.Entry, back time.Duration) []logbook.Recorded {
	c := &logbook.Corrected{Of: of, Why: "misread", Withdrawn: right == nil, Act: someone}
	if right != nil {
		right.Head().Time = d.now.Add(-back)
		text, err := logbook.Encode(right)
		require.NoError(d.t, err)
		c.Entry = text
	}
	require.NoError(d.t, c.Validate())
	before := len(d.made)
	d.act(c, logbook.KindCorrected, 0)
	require.False(d.t, d.state.Outdated())
	return d.made[before:]
}

// seqOfKind is where the newest entry of a kind stands.
func (d *day) seqOfKind(kind logbook.Kind) uint64 {
	for _, e := range slices.Backward(d.log) {
		if e.Head().Kind == kind {
			return e.Head().Seq
		}
	}
	require.Fail(d.t, "no entry of that kind", kind)
	return 0
}

// A dose that was written down wrongly is put right: the treatment, its fit and its
// forecast are those of the right one, and no record is changed.
func TestCorrectionTakesEffectAtItsPlace(t *testing.T) {
	wrong, right := underGas(t), underGas(t)
	wrong.run(20)
	right.run(20)
	before := slices.Clone(wrong.log)
	given := wrong.state.Stacks["A"].Treatment.Given
	given.PhosphineG, given.GrainTempC, given.Protocol = 320, 31, "eight-day"
	given.Header = logbook.Header{Kind: logbook.KindTreatmentStarted}
	started := wrong.state.Stacks["A"].Treatment.Started
	wrong.correct(wrong.seqOfKind(logbook.KindTreatmentStarted), &given, wrong.now.Sub(started))
	now := wrong.state.Stacks["A"].Treatment
	assert.Equal(t, 320.0, now.Given.PhosphineG)
	assert.Equal(t, 192.0, now.Protocol.Hours)
	assert.Equal(t, started, now.Started)
	assert.Equal(t, 320.0, wrong.state.Stacks["A"].Gas.Fit.Setup.DoseG)
	assert.Equal(t, before, wrong.log[:len(before)], "the logbook keeps what was said")
	assert.Equal(t, right.state.Stacks["A"].Treatment.Lines[0].CTP.PPMh, now.Lines[0].CTP.PPMh, "every reading counts as before")

	wrong.correct(wrong.seqOfKind(logbook.KindTreatmentStarted), &given, wrong.now.Sub(started)+3*time.Hour)
	assert.Equal(t, started.Add(-3*time.Hour), wrong.state.Stacks["A"].Treatment.Started, "the newest correction counts, at its own time")
}

// Airing that never began: the stack is under gas again, the gate shuts, and that is
// recorded.
func TestWithdrawnAiringShutsTheGate(t *testing.T) {
	d := underGas(t)
	d.run(125)
	d.air()
	d.level["a1"], d.level["a2"] = flat(0), flat(0)
	d.run(4)
	require.Equal(t, logbook.PhaseAiring, d.state.Stacks["A"].Treatment.Phase)
	recs := d.correct(d.seqOfKind(logbook.KindAiringStarted), nil, 0)
	assert.Equal(t, logbook.PhaseExposure, d.state.Stacks["A"].Treatment.Phase)
	assert.Equal(t, logbook.GateShut, d.state.Stores["Long Barn"].Gate.State)
	kinds := map[logbook.Kind]bool{}
	for _, r := range recs {
		kinds[r.Head().Kind] = true
		assert.Equal(t, d.seqOfKind(logbook.KindCorrected), r.Rec().Of)
	}
	assert.True(t, kinds[logbook.KindPhase] && kinds[logbook.KindGate])
}

// What stands as it was made is not corrected, and what is not there cannot be.
func TestWhatCannotBeCorrected(t *testing.T) {
	d := aday(t)
	d.declare()
	hand := &logbook.HandReading{Header: logbook.Header{Kind: logbook.KindHandReading}, Store: "Long Barn", Point: "door", Value: 1, Unit: logbook.PPM, Method: "tube"}
	recs := d.correct(d.seqOfKind(logbook.KindNoGasDeclared), hand, 0)
	assert.Contains(t, findings(recs), "correction-does-not-fit")
	assert.True(t, d.state.Stores["Long Barn"].Declared)
	d.fresh()
	d.correct(99999, hand, 0)
	assert.Equal(t, "correction-of-nothing", of[*logbook.Refused](d.fresh())[0].Code)
	raw, err := json.Marshal(map[string]any{"time": d.now, "kind": "entry-confirmed", "store": "Long Barn"})
	require.NoError(t, err)
	assert.ErrorContains(t, (&logbook.Corrected{Of: 1, Why: "x", Entry: raw, Act: someone}).Validate(), "cannot be corrected")
}

// Whatever is corrected, the state is that of the history put right, but for what was
// told before, and no correction opens a gate by itself.
func TestCorrectionsAgainstTheRightHistory(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		g := &script{t: r, now: epoch, airy: true}
		d := newDaemon(testSite())
		for range rapid.IntRange(20, 120).Draw(r, "steps") {
			for _, e := range g.next() {
				d.commit(e)
			}
		}
		var acts []logbook.Entry
		for _, e := range d.log {
			if logbook.Correctable(e.Head().Kind) {
				acts = append(acts, e)
			}
		}
		if len(acts) == 0 {
			return
		}
		e := rapid.SampledFrom(acts).Draw(r, "act")
		open := func() map[string]string {
			m := map[string]string{}
			for name, st := range d.state.Stores {
				m[name] = st.Gate.State
			}
			return m
		}
		before := open()
		c := &logbook.Corrected{Header: logbook.Header{Time: g.now, Received: g.now, Kind: logbook.KindCorrected}, Of: e.Head().Seq, Withdrawn: true, Why: "never happened", Act: someone}
		d.commit(c)
		want := New()
		for _, x := range d.log {
			if x.Head().Seq != e.Head().Seq && x != logbook.Entry(c) {
				want.Fold(x)
			}
		}
		for name, k := range want.Stacks {
			got := d.state.Stacks[name]
			if got == nil || (k.Treatment == nil) != (got.Treatment == nil) || k.Treatment != nil && k.Treatment.Phase != got.Treatment.Phase {
				r.Fatalf("stack %s: %+v, want %+v", name, got.Treatment, k.Treatment)
			}
		}
		for name, was := range before {
			if now := open()[name]; was != logbook.GateCleared && now == logbook.GateCleared {
				r.Fatalf("withdrawing %s cleared %s", e.Head().Kind, name)
			}
		}
	})
}

// A confirmation that rested on what was wrong counts for nothing once that is put
// right: the airing began later, so it had not lasted; the hand reading was above the
// limit; the point's instrument had failed its check.
func TestClearanceFallsWithWhatItRestedOn(t *testing.T) {
	for _, c := range []struct {
		name string
		put  func(d *day)
	}{
		{"airing began later", func(d *day) {
			d.correct(d.seqOfKind(logbook.KindAiringStarted), &logbook.AiringStarted{Header: logbook.Header{Kind: logbook.KindAiringStarted}, OnStack: onA(), Act: someone}, 90*time.Minute)
		}},
		{"hand reading above the limit", func(d *day) {
			d.correct(d.seqOfKind(logbook.KindHandReading), &logbook.HandReading{Header: logbook.Header{Kind: logbook.KindHandReading}, Store: "Long Barn", Point: "beside A", Value: 3, Unit: logbook.PPM,
				Method: "detector tube", Act: someone}, 0)
		}},
		{"no hand reading", func(d *day) { d.correct(d.seqOfKind(logbook.KindHandReading), nil, 0) }},
		{"airing never began", func(d *day) { d.correct(d.seqOfKind(logbook.KindAiringStarted), nil, 0) }},
	} {
		t.Run(c.name, func(t *testing.T) {
			d := cleared(t)
			d.fresh()
			c.put(d)
			assert.NotEqual(t, logbook.GateCleared, d.gate())
			assert.Nil(t, d.state.Stores["Long Barn"].Cleared)
			d.run(0.5)
			assert.NotEqual(t, logbook.GateCleared, d.gate(), "and not by time alone")
		})
	}
}

// A clearance that stands on what was right goes on standing through a correction of
// something else, and so does one that was given after another correction took the
// first away.
func TestClearanceOutlastsOtherCorrections(t *testing.T) {
	d := cleared(t)
	count := func() {
		d.act(&logbook.StockCounted{Product: tablets(90)}, logbook.KindStockCounted, 0)
		d.correct(d.seqOfKind(logbook.KindStockCounted), nil, 0)
	}
	count()
	assert.Equal(t, logbook.GateCleared, d.gate())
	d.hand("beside A", 0.1)
	d.correct(d.seqOfKind(logbook.KindHandReading), &logbook.HandReading{Header: logbook.Header{Kind: logbook.KindHandReading}, Store: "Long Barn", Point: "beside A", Value: 3, Unit: logbook.PPM,
		Method: "detector tube", Act: someone}, 0)
	require.NotEqual(t, logbook.GateCleared, d.gate(), "gas was found beside the stack")
	d.run(0.1)
	d.hand("beside A", 0.1)
	d.confirm()
	require.Equal(t, logbook.GateCleared, d.gate())
	count()
	assert.Equal(t, logbook.GateCleared, d.gate())
}

// What made a clearance fall is withdrawn: the clearance does not come back by itself.
func TestCorrectionClearsNobody(t *testing.T) {
	for _, c := range []struct {
		name string
		make func(d *day) logbook.Kind
	}{
		{"hand reading", func(d *day) logbook.Kind { d.hand("beside A", 3); return logbook.KindHandReading }},
		{"dosing", func(d *day) logbook.Kind {
			d.act(&logbook.DosingStarted{OnStack: onA(), StoreEmpty: true}, logbook.KindDosingStarted, 0)
			return logbook.KindDosingStarted
		}},
		{"somebody inside", func(d *day) logbook.Kind {
			d.act(&logbook.MaskedEntry{OnStore: inBarn(), In: "N. Ferreira", AtDoor: "T. Okafor", Protection: "full mask, APF 50"}, logbook.KindMaskedEntry, 0)
			return logbook.KindMaskedEntry
		}},
	} {
		t.Run(c.name, func(t *testing.T) {
			d := cleared(t)
			kind := c.make(d)
			d.run(0.1)
			require.NotEqual(t, logbook.GateCleared, d.gate())
			d.correct(d.seqOfKind(kind), nil, 0)
			assert.NotEqual(t, logbook.GateCleared, d.gate())
			d.run(0.2)
			assert.NotEqual(t, logbook.GateCleared, d.gate())
		})
	}
}

// An act that is put right to a time ahead of now is not lost: far ahead, the
// correction is refused and the act stands; by a clock's difference, it counts from now.
func TestCorrectionAheadOfNowLosesNothing(t *testing.T) {
	for _, c := range []struct {
		ahead time.Duration
		code  string
	}{{24 * time.Hour, "future-dated"}, {time.Minute, ""}} {
		d := underGas(t)
		given := d.state.Stacks["A"].Treatment.Given
		given.Header = logbook.Header{Kind: logbook.KindTreatmentStarted}
		d.fresh()
		d.correct(d.seqOfKind(logbook.KindTreatmentStarted), &given, -c.ahead)
		if refused := of[*logbook.Refused](d.fresh()); c.code == "" {
			assert.Empty(t, refused)
		} else {
			require.Len(t, refused, 1)
			assert.Equal(t, c.code, refused[0].Code)
		}
		for range 2 {
			assert.Equal(t, logbook.PhaseExposure, d.state.Stacks["A"].Treatment.Phase)
			d.act(&logbook.StockCounted{Product: tablets(90)}, logbook.KindStockCounted, 0)
			d.correct(d.seqOfKind(logbook.KindStockCounted), nil, 0) // another one makes the state again
		}
		d.run(0.2)
		assert.Equal(t, logbook.PhaseExposure, d.state.Stacks["A"].Treatment.Phase)
	}
}

// Whatever is corrected, and however often: no correction clears a store, and a state
// that is made again from the logbook, or goes on from a snapshot, is the same.
func TestCorrectionsAnywhere(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		g := &script{t: r, now: epoch, airy: rapid.Bool().Draw(r, "airy"), restore: true, correct: true}
		d := newDaemon(testSite())
		steps := rapid.IntRange(10, 60).Draw(r, "steps")
		snapshot, from := []byte(nil), 0
		for i := range steps {
			for _, e := range g.next() {
				before := map[string]bool{}
				for name, st := range d.state.Stores {
					before[name] = st.Cleared != nil
				}
				d.commit(e)
				for name, st := range d.state.Stores {
					if e.Head().Kind == logbook.KindCorrected && st.Cleared != nil && !before[name] {
						r.Fatalf("a correction cleared %s", name)
					}
				}
			}
			if i == steps/2 {
				snapshot, from = inJSON(r, d.state), len(d.log)
			}
		}
		want := string(inJSON(r, d.state))
		again := New()
		var onward State
		if err := json.Unmarshal(snapshot, &onward); err != nil {
			r.Fatal(err)
		}
		for i, e := range d.log {
			refolded(r, again, e, d.log[:i+1])
			if i >= from {
				refolded(r, &onward, e, d.log[:i+1])
			}
		}
		if got := string(inJSON(r, again)); got != want {
			r.Fatalf("from the first entry:\n%s\nwant\n%s", got, want)
		}
		if got := string(inJSON(r, &onward)); got != want {
			r.Fatalf("from a snapshot:\n%s\nwant\n%s", got, want)
		}
	})
}

func inJSON(t *rapid.T, s *State) []byte {
	text, err := json.Marshal(s)
	if err != nil {
		t.Fatal(err)
	}
	return text
}

// refolded folds an entry, and makes the state again where it must be.
func refolded(t *rapid.T, s *State, e logbook.Entry, past []logbook.Entry) {
	s.Fold(e)
	if s.Outdated() {
		if _, err := s.Refold(entriesOf(past), false); err != nil {
			t.Fatal(err)
		}
	}
}

// A file without seq, whose site is given beside it: its first line is put right at its
// place, and the site stays.
func TestFirstLineOfAFileIsCorrected(t *testing.T) {
	site := testSite()
	p := NewPlayer(&site)
	p.Keep = true
	p.Play(&logbook.StockCounted{Header: logbook.Header{Kind: logbook.KindStockCounted, Time: epoch}, Product: tablets(90), Act: someone})
	right, err := logbook.Encode(&logbook.StockCounted{Header: logbook.Header{Kind: logbook.KindStockCounted, Time: epoch}, Product: tablets(60), Act: someone})
	require.NoError(t, err)
	p.Play(&logbook.Corrected{Header: logbook.Header{Kind: logbook.KindCorrected, Time: epoch.Add(time.Hour)}, Of: 1, Entry: right, Why: "misread", Act: someone})
	require.NotNil(t, p.State.Site)
	assert.Equal(t, 60, p.State.Stock["tablets"].Left)
}
