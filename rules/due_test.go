package rules

import (
	"bytes"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"undersheet/logbook"
	"undersheet/rules/alarm"
)

// To look only at what is due gives what looking at everything gives: the same
// records at the same entries, and the same state.
func TestWhatIsNotDueDoesNotChange(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		g := &script{t: t, now: epoch, airy: rapid.Bool().Draw(t, "airy"), wired: rapid.IntRange(0, 2).Draw(t, "wired") == 0, restore: rapid.Bool().Draw(t, "restore")}
		g.steps = rapid.SampledFrom([][]time.Duration{nil, {time.Second, 10 * time.Second, time.Minute, 3 * time.Minute, 11 * time.Minute}, {time.Hour, 31 * time.Minute}}).Draw(t, "steps")
		d := newDaemon(map[bool]logbook.Site{true: wiredSite(), false: testSite()}[g.wired])
		for range 60 {
			for _, e := range g.next() {
				d.commit(e)
			}
		}
		bothWays(t, d.log)
	})
}

// bothWays folds a log by what is due and by looking at everything, and compares.
func bothWays(t require.TestingT, log []logbook.Entry) {
	due, all := New(), New()
	for _, e := range log {
		var a, b bytes.Buffer
		write(t, &a, due.Fold(e))
		all.stirAll()
		write(t, &b, all.Fold(e))
		require.Equal(t, b.String(), a.String(), "records of entry %d", e.Head().Seq)
	}
	due.stirAll()
	all.stirAll()
	require.JSONEq(t, snapshot(t, all), snapshot(t, due), "state")
}

// only lets time pass in which nothing but one channel is read, so often.
func (d *day) only(channel string, times int, every time.Duration) {
	for range times {
		d.now = d.now.Add(every)
		d.read(channel, d.level[channel](d.now))
	}
}

// A line that was read every hour and is now read every 20 s is silent sooner than
// was thought when its stack was last looked at.
func TestSilenceIsDueSoonerForALineReadMoreOften(t *testing.T) {
	d := aday(t)
	d.act(&logbook.TreatmentStarted{OnStack: logbook.OnStack{Stack: "B"}, Treatment: "B-1", Protocol: "five-day", Commodity: "maize", Tonnes: 100,
		VolumeM3: 150, PhosphineG: 200, GrainTempC: 27}, logbook.KindTreatmentStarted, 0)
	d.level["b1"] = flat(500)
	for range 10 {
		d.only("door2", 59, time.Minute)
		d.only("b1", 1, time.Minute)
	}
	d.only("door2", 6, time.Minute)
	d.only("b1", 9, 20*time.Second) // within one bin of the leak test, which looks at the stack itself
	d.fresh()
	d.only("door2", 35, time.Minute)
	require.Equal(t, []string{"raised"}, alarms(d.fresh(), alarm.LineSilent), "before the hour is full")
	bothWays(t, d.log)
}

// Withholding does not run while a hand reading shows gas in a store that is not
// cleared, though no alarm stands and the store is not read.
func TestWithholdingWaitsWhileOnlyAHandReadingShowsGas(t *testing.T) {
	d := cleared(t)
	d.run(12.5)
	require.Equal(t, logbook.GateCheckOwed, d.gate(), "the confirmation has lapsed")
	d.hand("beside A", 0.4)
	d.inspect(logbook.InsectsNone)
	require.Empty(t, d.state.alarmKeys())
	d.only("a1", 8, time.Minute)
	require.Equal(t, d.now, d.state.Stacks["A"].Treatment.ClearedAt)
	bothWays(t, d.log)
}
