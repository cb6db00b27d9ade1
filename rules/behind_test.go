package rules

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"undersheet/logbook"
	"undersheet/rules/alarm"
	"undersheet/rules/treatment"
)

// While the machine's clock stands before the newest entry, now stands still, and nothing that
// waits for time to pass is ever told: people hear of it at once, at any hour, and again when the
// clock has passed that entry (the project's own rule: what is not judged is said to be so). A
// time server that sets the clock back by seconds wakes nobody.
func TestClockBehindIsTold(t *testing.T) {
	d := aday(t)
	d.declare()
	d.dose("five-day")
	d.run(13)
	d.fresh()
	set := func(back time.Duration) {
		d.commit(d.stamp(&logbook.ClockStepped{StepSeconds: -back.Seconds()}, logbook.KindClockStepped, back))
	}
	set(61 * time.Second)
	assert.Empty(t, alarms(d.fresh(), alarm.ClockBehind))
	set(40 * time.Minute)
	require.Equal(t, []string{"raised"}, alarms(d.fresh(), alarm.ClockBehind))
	a := d.state.Alarms[AlarmKey{Alarm: alarm.ClockBehind}]
	assert.Equal(t, []any{logbook.Number(40), logbook.PriorityHigh, true}, []any{a.Record.Value, a.Record.Priority, a.Record.Wake})
	set(41 * time.Minute)
	assert.Empty(t, alarms(d.fresh(), alarm.ClockBehind))
	d.run(0.2)
	assert.Equal(t, []string{"cleared"}, alarms(d.fresh(), alarm.ClockBehind))
	assert.Zero(t, d.state.Behind)
}

// A clock that jumps a day ahead ends no withholding, neither one that runs nor, in the half minute
// until the jump is noticed, one that would have ended in it: the hours that it skipped are still
// owed, and all 48 at most (common practice: 48 h; that a jump is no waiting is arithmetic).
func TestClockSetAheadIsNoWithholding(t *testing.T) {
	jump := func(d *day, passed, stepped float64) {
		d.now = d.now.Add(treatment.Hours(passed))
		d.commit(d.stamp(&logbook.Clock{}, logbook.KindClock, 0))
		d.commit(d.stamp(&logbook.ClockStepped{StepSeconds: 3600 * stepped}, logbook.KindClockStepped, 0))
	}
	for _, c := range []struct{ hours, passed, stepped, left float64 }{{10, 24, 24, 38}, {30, 24, 24, 18}, {40, 24 * 365, 24 * 365, 8},
		{40, 1, 24 * 365 * 50, 48}} { // a board that started in 1970, and was set right
		d := cleared(t)
		d.run(c.hours)
		jump(d, c.passed, c.stepped)
		k := d.state.Stacks["A"]
		require.Equal(t, logbook.PhaseWithholding, k.Treatment.GasPhase(), c)
		d.run(c.left - 1)
		assert.Equal(t, logbook.PhaseWithholding, k.Treatment.GasPhase(), c)
		assert.True(t, d.state.View().Stores[0].Stacks[0].NotToIssue)
		d.run(1.5)
		assert.Equal(t, logbook.PhaseClosed, k.Treatment.GasPhase(), c)
	}
	d := cleared(t)
	d.run(50)
	jump(d, 24, 24)
	assert.Equal(t, logbook.PhaseClosed, d.state.Stacks["A"].Treatment.GasPhase(), "it was over before")
}

// Since now stands still no reminder of it falls due: people are told again when it is said half a
// day or more later, and need to acknowledge it again (the project's own rule).
func TestClockThatStaysBehindIsToldAgain(t *testing.T) {
	d := aday(t)
	set := func(back time.Duration) []string {
		d.fresh()
		d.commit(d.stamp(&logbook.ClockStepped{StepSeconds: -back.Seconds()}, logbook.KindClockStepped, back))
		return alarms(d.fresh(), alarm.ClockBehind)
	}
	require.Equal(t, []string{"raised"}, set(72*time.Hour))
	assert.Empty(t, set(61*time.Hour))
	assert.Equal(t, []string{"raised"}, set(48*time.Hour))
	assert.Empty(t, set(47*time.Hour))
	assert.Equal(t, []string{"raised"}, set(24*time.Hour))
	assert.Equal(t, logbook.Number(24*60), d.state.Alarms[AlarmKey{Alarm: alarm.ClockBehind}].Record.Value)
}
