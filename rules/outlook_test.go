package rules

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"undersheet/logbook"
	"undersheet/rules/alarm"
)

// What a leak rests on is on record and in view; checked against the gas that the
// test itself lets go from hour 40 on.
func TestLeakIsShown(t *testing.T) {
	d := aday(t)
	d.declare()
	d.dose("five-day")
	const torn = 40.0
	for ch, share := range map[string]float64{"a1": 1, "a2": 0.93} {
		whole := decaying(1500, 0.1)
		d.level[ch] = func(at logbook.Time) float64 {
			return share * whole(at) * math.Exp(-1.6*max(0, at.Hours(epoch)-torn)/24)
		}
	}
	d.run(36)
	quiet := d.state.View().Stores[0].Stacks[0].Leak
	require.Empty(t, quiet.Found)
	for _, m := range quiet.Trail {
		if m.Hours > 24 {
			require.Less(t, m.All, quiet.Threshold, "hour %v", m.Hours)
		}
	}
	d.run(20)
	var raised *logbook.Alarm
	for _, a := range of[*logbook.Alarm](d.fresh()) {
		if a.Alarm == alarm.Leak && raised == nil {
			raised = a
		}
	}
	require.NotNil(t, raised)
	g := raised.Grounds
	require.NotNil(t, g)
	assert.LessOrEqual(t, g.From, raised.Onset)
	assert.GreaterOrEqual(t, g.To, raised.Onset)
	assert.InDelta(t, torn, g.From.Hours(epoch), 3)
	assert.Greater(t, g.Statistic, g.Threshold)
	v := d.state.View().Stores[0].Stacks[0].Leak
	require.NotEmpty(t, v.Found)
	assert.Equal(t, *g, v.Found[0].Grounds)
	assert.Equal(t, raised.Time, v.Found[0].Raised)
	top := 0.0
	for i, m := range v.Trail {
		assert.InDelta(t, float64(i)/2, m.Hours, 1e-9, "every half hour")
		if math.Abs(m.Hours-raised.Time.Hours(epoch)) < 0.51 {
			top = max(top, m.All, m.Apart)
		}
	}
	assert.InDelta(t, min(float64(g.Statistic), 254.0/16), top, 1.0/16, "the alarm's own value is in the trail, up to what a mark holds")
	assert.False(t, v.Trail[4].Live, "at hour 2")
	assert.True(t, v.Trail[60].Live, "at hour 30")
}

// The outlook against the curve that the test draws: 1,400·e^(−0.6·h/24) falls under
// 150 ppm at hour 89; the dose given, and more of it, comes to full·(1 − …) at most.
func TestOutlook(t *testing.T) {
	run := func(k float64) *logbook.Outlook {
		d := aday(t)
		d.declare()
		d.dose("five-day")
		d.level["a1"], d.level["a2"] = decaying(1500, k), decaying(1400, k)
		d.run(11)
		require.Nil(t, d.state.View().Stores[0].Stacks[0].Outlook, "no forecast yet")
		d.run(49)
		v := d.state.View().Stores[0].Stacks[0]
		for _, l := range v.Lines {
			require.Greater(t, l.CTPByEnd, l.CTPPPMh)
			require.Less(t, l.CTPByEnd, 2.5*l.CTPPPMh)
		}
		require.Equal(t, v, d.state.View().Stores[0].Stacks[0], "the same until the next hour")
		o := v.Outlook
		d.air()
		require.Nil(t, d.state.View().Stores[0].Stacks[0].Outlook, "the exposure is over")
		return o
	}
	o := run(0.6)
	require.NotNil(t, o)
	assert.Less(t, o.Chance, 0.2)
	assert.InDelta(t, 89, o.HeldUntil.Hours(epoch), 8)
	assert.Zero(t, o.Longer, "the gas only falls")
	assert.Equal(t, "eight-day", o.Other.Protocol)
	assert.InDelta(t, 192, o.Other.End.Hours(epoch), 1e-6)
	assert.Less(t, o.Other.Chance, 0.5, "1,400·e^(−0.6·8) is 12 ppm")
	up := o.TopUp
	require.True(t, up.Known)
	require.Greater(t, up.Grams, 0.0)
	require.LessOrEqual(t, up.Grams, up.Most)
	assert.Greater(t, up.Until, o.At)
	assert.Less(t, up.Until, o.For)
	assert.GreaterOrEqual(t, up.Airing, o.For)

	o = run(0.1)
	require.NotNil(t, o)
	assert.Greater(t, o.Chance, 0.95)
	assert.Zero(t, o.TopUp)
}

// At 12 h after dosing the readings say next to nothing of the loss rate. Of an exposure of 20
// days, as cool grain needs, that makes any chance poor: it is told once the stack has shown
// how tight it is, while more than 8 days, an eight-day protocol, are left to mend it. Where
// no such time is left, and where the gas is lost whatever is not known, it is told at once.
// The gas is that of a sheet which loses a known share per day; 0.05 holds the end level for
// 20 days from 900 ppm, 0.5 does not (900·e^(−0.05·20) = 331 ppm, by arithmetic).
func TestAtRiskWaitsForTheReadings(t *testing.T) {
	told := func(exposure, loss float64, from float64) (hours []float64) {
		d := aday(t)
		d.declare()
		d.act(&logbook.TreatmentStarted{OnStack: onA(), Treatment: "A-1", Protocol: "five-day", Commodity: "maize", Tonnes: 100, VolumeM3: 150, PhosphineG: 100,
			GrainTempC: 17, ExposureHours: exposure}, logbook.KindTreatmentStarted, 0)
		d.level["a1"], d.level["a2"] = decaying(from, loss), decaying(0.97*from, loss)
		d.run(40)
		for _, a := range of[*logbook.Alarm](d.made) {
			if a.Alarm == alarm.AtRisk && a.State == logbook.AlarmRaised {
				hours = append(hours, a.Time.Hours(epoch))
			}
		}
		return hours
	}
	assert.Empty(t, told(480, 0.05, 900), "a tight sheet")
	lost := told(480, 0.5, 900)
	require.Len(t, lost, 1)
	assert.Less(t, lost[0], 40.0, "more than 18 days before the end")
	lost = told(200, 0.5, 450)
	require.Len(t, lost, 1)
	assert.Less(t, lost[0], 14.0, "no more than 8 days are left: at once")
}
