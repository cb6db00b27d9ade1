package followup

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"undersheet/logbook"
)

// What is checked here is common practice, unless another source is named.

var aired = logbook.At(time.Date(2026, 3, 6, 8, 0, 0, 0, time.UTC))

func hours(h float64) logbook.Time { return aired.Add(time.Duration(h * float64(time.Hour))) }

var figures = FiguresOf(&logbook.Site{})

// states lists kinds with their states.
func states(items []Item) map[string]string {
	out := map[string]string{}
	for _, i := range items {
		out[i.Kind] = i.State
	}
	return out
}

func item(t *testing.T, items []Item, kind string) Item {
	for _, i := range items {
		if i.Kind == kind {
			return i
		}
	}
	require.Fail(t, "no "+kind)
	return Item{}
}

// Withholding runs 48 h from the clearance (India: waiting period, training slides of
// the plant quarantine service), and stands still while gas is back.
func TestWithholding(t *testing.T) {
	m := Moments{Started: true, Aired: aired}
	assert.Zero(t, item(t, Of(&Facts{}, &m, &figures), logbook.FollowWithholding).Due)
	m.First, m.Cleared = hours(4), hours(4)
	assert.Equal(t, hours(52), item(t, Of(&Facts{}, &m, &figures), logbook.FollowWithholding).Due)
	m.GasBack = true
	assert.Zero(t, item(t, Of(&Facts{}, &m, &figures), logbook.FollowWithholding).Due)
}

// A reading within bags counts only from the last clearance on, and readings within
// the hour are one look, of which the highest counts.
func TestBagGas(t *testing.T) {
	m := Moments{Started: true, Aired: aired, First: hours(4), Cleared: hours(10)}
	state := func(f Facts) string { return item(t, Of(&f, &m, &figures), logbook.FollowBagGas).State }
	assert.Equal(t, logbook.FollowOpen, state(Facts{NoGas: Done{At: hours(9)}}), "before gas came back")
	assert.Equal(t, logbook.FollowDone, state(Facts{NoGas: Done{At: hours(11)}}))
	assert.Equal(t, logbook.FollowOpen, state(Facts{Gas: hours(10.5), NoGas: Done{At: hours(11)}}))
	assert.Equal(t, logbook.FollowDone, state(Facts{Gas: hours(10.5), NoGas: Done{At: hours(12)}}))
	f := Facts{Gas: hours(12)}
	assert.False(t, f.WriteOff(logbook.FollowBagGas, Done{At: hours(13), By: "x"}))
	assert.False(t, f.WriteOff(logbook.FollowWithholding, Done{At: hours(13), By: "x"}))
	assert.True(t, f.WriteOff(logbook.FollowJar, Done{At: hours(13), By: "x"}))
}

// What was found later of an earlier day takes back nothing that was found since.
func TestFactsInAnyOrder(t *testing.T) {
	f := Facts{Gas: hours(5)}
	f.Bags(Done{At: hours(9), By: "Ana"}, true)
	f.Bags(Done{At: hours(8), By: "Ben"}, true)
	f.Bags(Done{At: hours(4)}, false)
	assert.Equal(t, [2]any{"Ana", hours(5)}, [2]any{f.NoGas.By, f.Gas})
	for h := range 12 {
		f.Look(Done{At: hours(float64(100 - h))})
	}
	assert.Equal(t, [3]any{8, hours(89), hours(96)}, [3]any{len(f.Looks), f.Looks[0].At, f.Looks[7].At}, "the first ones are kept, oldest first")
	c := Cages{Retrieved: Done{At: hours(130), By: "Ana"}}
	c.Judge("", Done{At: hours(140), Result: logbook.InsectsLive})
	c.Judge("", Done{At: hours(150), Result: logbook.InsectsNone})
	c.Judge(logbook.JudgedMonth, Done{At: hours(860), Result: logbook.InsectsNone})
	assert.Equal(t, "Ana", c.Retrieved.By, "the day they were judged is not the day they were taken out")
	assert.Equal(t, []string{logbook.InsectsLive, logbook.InsectsNone}, []string{c.Exposure.Result, c.Month.Result}, "insects once found alive stay found")
	c = Cages{}
	c.Judge("", Done{At: hours(140), By: "Ben"})
	assert.Equal(t, "Ben", c.Retrieved.By, "cages that were judged must have been taken out")
}

// Central Europe puts its clocks forward on the last Sunday of March at 01:00 UTC
// (Directive 2000/84/EC, article 2): 29 March 2026.
func TestZone(t *testing.T) {
	day := time.Date(2026, 3, 29, 0, 0, 0, 0, time.UTC)
	z := Zone{{Seconds: 3600}, {From: logbook.At(day.Add(time.Hour)), Seconds: 7200}}
	utc := func(d, h, m int) logbook.Time { return logbook.At(time.Date(2026, 3, d, h, m, 0, 0, time.UTC)) }
	assert.Equal(t, utc(28, 23, 0), z.End(day.AddDate(0, 0, -1)))
	assert.Equal(t, utc(29, 22, 0), z.End(day), "a day of 23 hours")
	assert.Equal(t, utc(28, 7, 0), z.Next(utc(28, 6, 30), 8*time.Hour))
	assert.Equal(t, utc(28, 7, 0), z.Next(utc(28, 7, 0), 8*time.Hour), "from that very moment on")
	assert.Equal(t, utc(29, 6, 0), z.Next(utc(28, 7, 1), 8*time.Hour), "8 o'clock in summer")
	assert.Equal(t, utc(30, 6, 0), z.Next(utc(29, 6, 1), 8*time.Hour))
	assert.Equal(t, utc(29, 8, 0), Zone{}.Next(utc(28, 8, 1), 8*time.Hour), "UTC")
	early := Zone{{From: utc(20, 0, 0), Seconds: 3600}}
	assert.Equal(t, utc(1, 23, 0), early.End(utc(1, 0, 0).Std()), "the first offset holds before it, too")
}

// A second look is owed where the site asks for one, and the first found nothing.
func TestSecondLook(t *testing.T) {
	g := figures
	g.SecondLook = 14 * 24 * time.Hour
	m := Moments{Started: true, Aired: aired, First: hours(4), Cleared: hours(4)}
	f := Facts{}
	f.Look(Done{At: hours(9), Result: logbook.InsectsNone})
	assert.Equal(t, hours(9).Add(g.SecondLook), item(t, Of(&f, &m, &g), logbook.FollowSecondLook).Due)
	f.Look(Done{At: hours(10), Result: logbook.InsectsNone})
	assert.Equal(t, logbook.FollowOpen, states(Of(&f, &m, &g))[logbook.FollowSecondLook], "an hour on is the same look")
	f.Look(Done{At: hours(400), Result: logbook.InsectsNone})
	assert.Equal(t, logbook.FollowDone, states(Of(&f, &m, &g))[logbook.FollowSecondLook])
}

// The next treatment takes over what only it can show; what was seen of the one before
// stays owed.
func TestReplaced(t *testing.T) {
	m := Moments{Started: true, Aired: aired, First: hours(4), Cleared: hours(4), Withheld: hours(52), Replaced: hours(240), Product: Product{Known: true, Inside: true, Remaining: true}}
	f := Facts{Cages: &Cages{}, SecondFrom: hours(240), SecondTill: hours(288)}
	assert.Equal(t, map[string]string{logbook.FollowWithholding: logbook.FollowDone, logbook.FollowBagGas: logbook.FollowWrittenOff, logbook.FollowInspection: logbook.FollowOpen,
		logbook.FollowCagesRetrieval: logbook.FollowOpen, logbook.FollowCagesJudgement: logbook.FollowOpen, logbook.FollowJar: logbook.FollowOpen,
		logbook.FollowSecondTreatment: logbook.FollowOpen, logbook.FollowResidue: logbook.FollowOpen}, states(Of(&f, &m, &figures)))
	m.First = 0
	assert.Equal(t, logbook.FollowWrittenOff, states(Of(&f, &m, &figures))[logbook.FollowInspection], "it was never cleared")
}

// People go into the store to read, look, fetch and mend; what was taken out is judged
// and disposed of outside.
func TestInStore(t *testing.T) {
	g := figures
	g.SecondLook = 14 * 24 * time.Hour
	m := Moments{Started: true, Aired: aired, First: hours(4), Cleared: hours(4), Product: Product{Known: true, Inside: true, Remaining: true}}
	f := Facts{Cages: &Cages{}, SecondFrom: hours(240), Torn: hours(1), Looks: []Done{{At: hours(9), Result: logbook.InsectsNone}}}
	inside := func() (kinds []string) {
		for _, i := range Of(&f, &m, &g) {
			if i.InStore {
				kinds = append(kinds, i.Kind)
			}
		}
		return kinds
	}
	always := []string{logbook.FollowBagGas, logbook.FollowInspection, logbook.FollowSecondLook, logbook.FollowCagesRetrieval, logbook.FollowSheetRepair}
	assert.Equal(t, append(always, logbook.FollowResidue), inside())
	m.Product.Inside = false
	assert.Equal(t, always, inside(), "residue stands outside")
}

// How pressing a follow-up is grows with time alone, at the moments that it names.
func TestLevels(t *testing.T) {
	r := RuleOf(&logbook.Site{}, logbook.FollowJar)
	i := Item{State: logbook.FollowOpen, Due: hours(720)}
	at, want := aired, []Level{Quiet, Ahead, Due, Overdue}
	for _, level := range want {
		is, next := i.Level(&r, at)
		require.Equal(t, level, is)
		if next == 0 {
			break
		}
		require.Greater(t, next, at)
		before, _ := i.Level(&r, next-1)
		require.Equal(t, level, before)
		at = next
	}
	require.Equal(t, hours(720+24), at)
	i.Until = hours(730)
	require.Equal(t, hours(730), i.Overdue(&r), "a window ends")
	i.State = logbook.FollowDone
	is, next := i.Level(&r, hours(9999))
	require.Equal(t, Quiet, is)
	require.Zero(t, next)
}

// Inspections come in any order.
func TestLooksInAnyOrder(t *testing.T) {
	a, b := Facts{}, Facts{}
	first, second := Done{At: 1, Result: logbook.InsectsNone}, Done{At: 2, Result: logbook.InsectsLive}
	a.Look(first)
	a.Look(second)
	b.Look(second)
	b.Look(first)
	assert.Equal(t, a, b)
	assert.Equal(t, []Done{first, second}, a.Looks)
}

// Every follow-up that people do has its figures.
func TestEveryFollowUpHasItsRule(t *testing.T) {
	for _, kind := range logbook.FollowUps {
		_, known := rules[kind]
		require.True(t, known, kind)
	}
	require.Len(t, rules, len(logbook.FollowUps))
}

// What a site leaves out is as shipped; what it says counts. A time of day that cannot be
// read is as none.
func TestFiguresOf(t *testing.T) {
	shipped := Figures{Withholding: DefaultWithholding, InspectAt: 16*time.Hour + 30*time.Minute, Jar: DefaultJar}
	assert.Equal(t, shipped, FiguresOf(&logbook.Site{}))
	assert.Equal(t, shipped, FiguresOf(&logbook.Site{Settings: logbook.Settings{InspectAt: "9 o'clock"}}))
	own := logbook.Settings{Withholding: logbook.Duration(72 * time.Hour), InspectAt: "09:20", SecondLook: logbook.Duration(time.Hour), Jar: logbook.Duration(time.Minute)}
	zone := []logbook.Offset{{Seconds: 3600}}
	assert.Equal(t, Figures{Withholding: 72 * time.Hour, InspectAt: 9*time.Hour + 20*time.Minute, SecondLook: time.Hour, Jar: time.Minute, Zone: zone},
		FiguresOf(&logbook.Site{Settings: own, Offsets: zone}))
}
