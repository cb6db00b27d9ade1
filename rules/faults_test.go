package rules

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"undersheet/logbook"
)

// Faults of lines, pumps and instruments that the gas itself tells of. The figures
// are constructed; what has to be told apart is common practice.

// usedUp falls by the hour to nothing, as the gas in a cell that nothing is drawn to.
func usedUp(d *day, c0, tauHours float64) func(logbook.Time) float64 {
	from := d.now
	return func(at logbook.Time) float64 { return math.Round(c0 * math.Exp(-at.Hours(from)/tauHours)) }
}

// A pump without a channel of its own stops: all lines of a stack go alike to
// nothing. That is told as a pump that is off, once; and when they are back it is
// over, and no fire.
func TestPumpOffByTheGas(t *testing.T) {
	d := underGas(t)
	d.level["a1"], d.level["a2"] = decaying(1300, 0.1), decaying(1250, 0.1)
	d.run(30)
	d.fresh()
	d.level["a1"], d.level["a2"] = usedUp(d, 1100, 0.3), usedUp(d, 1060, 0.3)
	d.run(4)
	got := d.fresh()
	require.Equal(t, []string{"by-gas raised"}, alarms(got, alarmPumpOff))
	for _, name := range []string{alarmLeak, alarmLineOff, alarmLineBlocked} {
		assert.Empty(t, alarms(got, name), name)
	}
	rs := slices.DeleteFunc(of[*logbook.Alarm](got), func(a *logbook.Alarm) bool { return a.Alarm != alarmPumpOff })
	assert.Equal(t, []any{alarmPumpOff, codeByGas, "raised", "A", "", logbook.PriorityMedium, false},
		[]any{rs[0].Alarm, rs[0].Code, rs[0].State, rs[0].Stack, rs[0].Line, rs[0].Priority, rs[0].Wake})
	d.level["a1"], d.level["a2"] = decaying(1300, 0.1), decaying(1250, 0.1)
	d.run(4)
	got = d.fresh()
	assert.Equal(t, []string{"by-gas cleared"}, alarms(got, alarmPumpOff))
	assert.Empty(t, alarms(got, alarmFire))
	assert.Empty(t, alarms(got, alarmLeak))
}
