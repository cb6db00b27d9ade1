package rules

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"undersheet/logbook"
	"undersheet/rules/alarm"
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
