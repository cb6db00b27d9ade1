package rules

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"undersheet/logbook"
	"undersheet/rules/gate"
)

// Everything here is checked against the project's contract.

func readingAt(time, received logbook.Time, channel string, ppm float64) *logbook.Reading {
	return &logbook.Reading{Header: logbook.Header{Time: time, Received: received, Kind: logbook.KindReading}, Channel: channel, Value: ppm, Unit: logbook.PPM}
}

// now is the running maximum of received, or of time where an entry has none; a
// reading over 24 h ahead of it moves nothing.
func TestNow(t *testing.T) {
	s := New()
	fold := func(e logbook.Entry) logbook.Time { s.Fold(e); return s.Now() }
	clock := func(time, received logbook.Time) logbook.Entry {
		return &logbook.Clock{Header: logbook.Header{Time: time, Received: received, Kind: logbook.KindClock}}
	}
	day := 24 * time.Hour
	assert.Equal(t, epoch, fold(readingAt(epoch, 0, "door", 0)), "the first entry begins")
	assert.Equal(t, epoch, fold(clock(epoch.Add(-time.Hour), 0)), "it never goes back")
	assert.Equal(t, epoch.Add(day), fold(readingAt(epoch.Add(day), 0, "door", 0)), "24 h exactly")
	assert.Equal(t, epoch.Add(day), fold(readingAt(epoch.Add(2*day)+1, 0, "door", 0)))
	for year := 2028; year <= 9999; year += 13 {
		far := logbook.At(time.Date(year, 1, 1, 0, 0, 0, 0, time.UTC))
		require.Equal(t, epoch.Add(day), fold(readingAt(far, 0, "door", 0)), "year %d", year)
	}
	assert.Equal(t, epoch.Add(2*day), fold(readingAt(epoch.Add(9*day), epoch.Add(2*day), "door", 0)), "received counts where there is one")
	assert.Equal(t, epoch.Add(9*day), fold(clock(epoch.Add(9*day), 0)), "an act or a clock does move it")
}

// A reading more than 5 min ahead is flagged and not used.
func TestFutureReadingIsFlaggedAndNotUsed(t *testing.T) {
	d := underGas(t)
	n := len(d.state.Stacks["A"].Treatment.Lines[0].Samples)
	d.fresh()
	d.commit(readingAt(d.now.Add(6*time.Minute), d.now, "a1", 9))
	d.commit(readingAt(d.now.Add(6*time.Minute), d.now, "door", 9))
	assert.Equal(t, []string{"future", "future"}, findings(d.fresh()))
	assert.Len(t, d.state.Stacks["A"].Treatment.Lines[0].Samples, n)
	assert.NotContains(t, d.reasons(), gate.AboveLimit)
}

// Limits carry dates: Australia's falls to 0.05 ppm on 1 December 2026 (Grain Trade
// Australia, "SafeWork Australia Phosphine"). The gate closes at once.
func TestLimitChangesInsideARun(t *testing.T) {
	change := epoch.Add(200 * time.Hour)
	d := cleared(t, func(s *logbook.Site) {
		s.Limits = "AU"
		s.LimitSets = []logbook.LimitSet{
			{Source: "until", Levels: []logbook.Level{{Name: "twa-8h", PPM: 0.3}, {Name: "short-term-15min", PPM: 1}}},
			{From: change, Source: "after", Levels: []logbook.Level{{Name: "twa-8h", PPM: 0.05}, {Name: "peak", PPM: 0.15}}}}
	})
	for _, ch := range []string{"door", "inside"} {
		d.level[ch] = flat(0.1)
	}
	for d.now < change.Add(-5*time.Minute) {
		d.run(1.0 / 12)
		if d.gate() == logbook.GateCheckOwed {
			d.hand("beside A", 0.1)
			d.confirm()
		}
		require.Equal(t, logbook.GateCleared, d.gate())
	}
	d.fresh()
	d.run(1.0 / 12)
	assert.Equal(t, change, d.now)
	assert.Equal(t, logbook.GateAiring, d.gate())
	g := of[*logbook.Gate](d.fresh())
	require.NotEmpty(t, g)
	assert.Equal(t, logbook.Number(0.05), g[0].LimitPPM)
	assert.Equal(t, "after", g[0].LimitOf)
	assert.Equal(t, change, g[0].Time)
	assert.Nil(t, d.state.Stores["Long Barn"].Cleared)
}

// A step of the clock restarts every running airing.
func TestClockSteppedRestartsAiring(t *testing.T) {
	d := underGas(t)
	d.run(121)
	d.air()
	d.run(1.9)
	d.commit(d.stamp(&logbook.ClockStepped{StepSeconds: 61}, logbook.KindClockStepped, 0))
	stepped := d.now
	d.run(0.2)
	assert.Equal(t, logbook.GateAiring, d.gate())
	assert.Contains(t, d.reasons(), gate.AiringTooShort)
	assert.Equal(t, stepped, d.state.Stacks["A"].Treatment.AiringSince)
	d.run(1.9)
	assert.Equal(t, logbook.GateCheckOwed, d.gate())
	d.act(&logbook.AiringPaused{OnStack: onA()}, logbook.KindAiringPaused, 0)
	d.run(0.5)
	d.commit(d.stamp(&logbook.ClockStepped{StepSeconds: -90}, logbook.KindClockStepped, 0))
	d.act(&logbook.AiringResumed{OnStack: onA()}, logbook.KindAiringResumed, 2*time.Hour)
	assert.Equal(t, d.now, d.state.Stacks["A"].Treatment.AiringSince, "a pause and a wrong date do not hide the step")
}

func TestPauseRestartsTheWholeAiring(t *testing.T) {
	d := underGas(t)
	d.run(121)
	d.air()
	d.run(1.9)
	d.act(&logbook.AiringPaused{OnStack: onA()}, logbook.KindAiringPaused, 0)
	assert.Contains(t, d.reasons(), gate.AiringPaused)
	d.run(12)
	assert.Equal(t, logbook.GateAiring, d.gate())
	d.act(&logbook.AiringResumed{OnStack: onA()}, logbook.KindAiringResumed, 0)
	d.run(1.9)
	assert.Equal(t, logbook.GateAiring, d.gate())
	d.run(0.2)
	assert.Equal(t, logbook.GateCheckOwed, d.gate())
}

func (d *day) restore() {
	d.commit(d.stamp(&logbook.Restored{Log: "b", Was: "a", From: "0"}, logbook.KindRestored, 0))
}

// A restored logbook has no clearance on record.
func TestRestoredLogbookShutsEveryGate(t *testing.T) {
	d := cleared(t)
	d.restore()
	for _, store := range []string{"Long Barn", "Brick Store"} {
		assert.Equal(t, logbook.GateShut, d.state.Stores[store].Gate.State, store)
	}
	assert.Contains(t, d.reasons(), gate.RestoredLog)
	d.run(30)
	assert.Equal(t, logbook.GateShut, d.gate(), "time alone does not open it")
	d.declare()
	assert.Equal(t, logbook.GateCheckOwed, d.gate())
	assert.Contains(t, append(d.reasons(), ""), gate.HandTooOld, "and the stack in withholding owes its hand reading again")
}

// A permission from before a restore is void, when its verdict comes after it.
func TestPermissionFromBeforeARestoreIsVoid(t *testing.T) {
	d := aday2(t)
	d.seq++
	e := &logbook.EntryConfirmed{OnStore: inBarn(), Act: someone}
	d.stamp(e, logbook.KindEntryConfirmed, 0).Head().Seq = d.seq
	rs := d.state.Fold(e) // the backup was made before its verdict was committed
	require.Len(t, of[*logbook.Accepted](rs), 1)
	d.restore()
	d.commit(rs[len(rs)-1])
	assert.Equal(t, logbook.GateShut, d.gate())
}

// A recorded verdict wins over what today's rules say, and until one is recorded a
// permission has no effect.
func TestRecordedVerdictWins(t *testing.T) {
	verdict := func(d *day, of uint64, accepted bool) logbook.Entry {
		if accepted {
			a := &logbook.Accepted{Entry: logbook.KindNoGasDeclared, Store: "Long Barn", Record: logbook.Record{Of: of}}
			return d.stamp(a, logbook.KindAccepted, 0)
		}
		r := &logbook.Refused{Entry: logbook.KindNoGasDeclared, Store: "Long Barn", Code: "of old", Record: logbook.Record{Of: of}}
		return d.stamp(r, logbook.KindRefused, 0)
	}
	for _, accepted := range []bool{true, false} {
		d := aday(t)
		if accepted {
			d.dose("five-day") // today's rules refuse
		}
		e := d.stamp(&logbook.NoGasDeclared{OnStore: inBarn(), Act: someone}, logbook.KindNoGasDeclared, 0)
		d.seq++
		e.Head().Seq = d.seq
		proposed := d.state.Fold(e)
		require.Len(t, of[*logbook.Accepted](proposed), map[bool]int{true: 0, false: 1}[accepted])
		d.run(1)
		assert.False(t, d.state.Stores["Long Barn"].Declared, "no verdict at the head, no effect")
		d.commit(verdict(d, e.Head().Seq+1000, accepted))
		assert.Len(t, d.state.Pending, 1, "a verdict on something else")
		d.commit(verdict(d, e.Head().Seq, accepted))
		assert.Equal(t, accepted, d.state.Stores["Long Barn"].Declared)
		assert.Empty(t, d.state.Pending)
		if accepted {
			assert.Equal(t, logbook.GateShut, d.gate(), "and what stands against the gate still does")
		}
	}
}

// An airing that began after a confirmation was judged, and before its verdict was
// recorded, was no part of it.
func TestAiringBetweenJudgementAndVerdict(t *testing.T) {
	d := aday2(t)
	e := d.stamp(&logbook.EntryConfirmed{OnStore: inBarn(), Act: someone}, logbook.KindEntryConfirmed, 0)
	d.seq++
	e.Head().Seq = d.seq
	rs := d.state.Fold(e)
	d.now = d.now.Add(time.Second)
	d.air()
	d.now = d.now.Add(time.Second)
	v := rs[len(rs)-1]
	d.stamp(v, logbook.KindAccepted, 0)
	d.commit(v)
	assert.Equal(t, logbook.GateAiring, d.gate())
	assert.Equal(t, logbook.PhaseAiring, d.phase()[0])
	assert.True(t, d.state.Stores["Long Barn"].HandOwed["A"])
}

// An exported log, with its records and seqs, gives the state of the daemon; the
// replay proposes and takes effect by what is recorded.
func TestExportReplaysToTheSameState(t *testing.T) {
	d := cleared(t)
	p := NewPlayer(nil)
	var text strings.Builder
	for _, e := range d.log {
		b, err := logbook.Encode(e)
		require.NoError(t, err)
		text.Write(append(b, '\n'))
	}
	r := logbook.NewReader("export", strings.NewReader(text.String()))
	for e, err := r.Next(); err == nil; e, err = r.Next() {
		p.Play(e)
	}
	assert.Equal(t, logbook.GateCleared, p.State.Stores["Long Barn"].Gate.State)
	assert.Equal(t, d.seq, p.State.Seq())
}

// Hand-written entries, without seq and received: the output for the first n lines
// is a prefix of the output for all, times never decrease, and repeated acts are
// one act.
func TestOutputOfAPrefixIsAPrefix(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		g := &script{t: t, now: epoch, airy: rapid.Bool().Draw(t, "airy"), wired: rapid.Bool().Draw(t, "wired"), restore: true, correct: rapid.Bool().Draw(t, "correct")}
		var entries []logbook.Entry
		for i := 0; i < 30; i++ {
			for _, e := range g.next() {
				e.Head().Received = 0
				entries = append(entries, e)
			}
		}
		play := func(n int) string {
			site := testSite()
			if g.wired {
				site = wiredSite()
			}
			p := NewPlayer(&site)
			p.Keep = g.correct
			var b strings.Builder
			last := logbook.Time(0)
			for _, e := range entries[:n] {
				for _, r := range p.Play(e) {
					require.GreaterOrEqual(t, r.Head().Time, last, "times never decrease")
					last = r.Head().Time
					line, err := logbook.Encode(r)
					require.NoError(t, err)
					fmt.Fprintf(&b, "%s\n", line)
				}
			}
			return b.String()
		}
		all := play(len(entries))
		n := rapid.IntRange(0, len(entries)).Draw(t, "lines")
		require.True(t, strings.HasPrefix(all, play(n)))
	})
}

// An identical (time, kind, body) is a duplicate: one act, however often it stands
// in a file.
func TestRepeatedActsInAFileAreOne(t *testing.T) {
	site := testSite()
	p := NewPlayer(&site)
	entry := func() logbook.Entry {
		return &logbook.MaskedEntry{Header: logbook.Header{Time: epoch, Kind: logbook.KindMaskedEntry}, OnStore: inBarn(), In: "I. Okafor", AtDoor: "P. Lindqvist", Act: someone}
	}
	assert.NotEmpty(t, p.Play(entry()))
	assert.Empty(t, p.Play(entry()))
	assert.Len(t, p.State.Stores["Long Barn"].Inside, 1)
	other := entry().(*logbook.MaskedEntry)
	other.In = "S. Rao"
	assert.NotEmpty(t, p.Play(other))
}

// The readings of the last hour are judged even when the next entry comes hours
// after the shortest exposure had passed (a power cut).
func TestEndLevelAcrossAPowerCut(t *testing.T) {
	d := underGas(t)
	for d.now < epoch.Add(119*time.Hour+40*time.Minute) {
		d.run(1.0 / 12)
	}
	d.now = epoch.Add(125 * time.Hour)
	d.read("a1", 100)
	d.read("a2", 100)
	l := d.state.Stacks["A"].Treatment.Lines
	assert.Equal(t, []string{logbook.ShownMet, logbook.ShownMet}, []string{l[0].Shortest.Shown, l[1].Shortest.Shown})
	assert.InDelta(t, 600, l[0].Shortest.PPM, 3)
}
