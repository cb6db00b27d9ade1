package rules

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"undersheet/logbook"
	"undersheet/rules/alarm"
)

// gasFrom is the gas of a stack that loses 0.25 per day, with what phosphide that is laid at
// some time adds to it, released at 1.15 per day (the usual figures, from memory), and
// rises and falls by 2 % with the day.
func gasFrom(ppm, added float64, laid logbook.Time) func(logbook.Time) float64 {
	const loss, release = 0.25, 1.15
	return func(at logbook.Time) float64 {
		days := at.Hours(epoch) / 24
		c := ppm * math.Exp(-loss*days)
		if late := at.Hours(laid) / 24; laid != 0 && late > 0 {
			c += added * release / (release - loss) * (math.Exp(-loss*late) - math.Exp(-release*late))
		}
		return c * (1 + 0.02*math.Sin(2*math.Pi*days))
	}
}

// Phosphine that is added and not put on record is asked for, of nobody by night, until
// it is on record.
func TestUntoldDose(t *testing.T) {
	d := underGas(t)
	d.level["a1"], d.level["a2"] = gasFrom(1200, 0, 0), gasFrom(1000, 0, 0)
	d.run(60)
	laid := d.now
	d.level["a1"], d.level["a2"] = gasFrom(1200, 700, laid), gasFrom(1000, 700, laid)
	d.fresh()
	d.run(12)
	var asked []*logbook.Alarm
	for _, a := range of[*logbook.Alarm](d.fresh()) {
		if a.Alarm == alarm.Untold {
			asked = append(asked, a)
		}
	}
	require.Len(t, asked, 1)
	assert.Equal(t, []any{logbook.AlarmRaised, logbook.PriorityMedium, false, "A", ""}, []any{asked[0].State, asked[0].Priority, asked[0].Wake, asked[0].Stack, asked[0].Line})
	assert.Greater(t, float64(asked[0].Value), untoldRise)
	d.act(&logbook.DoseAdded{OnStack: onA(), PhosphineG: 70}, logbook.KindDoseAdded, d.now.Sub(laid))
	assert.Equal(t, []string{"cleared"}, alarms(d.fresh(), alarm.Untold))
	d.run(24)
	assert.Empty(t, alarms(d.fresh(), alarm.Untold))
}

// What nobody answers is over once the gas has gone on as it should for a day.
func TestUntoldDoseUnanswered(t *testing.T) {
	d := underGas(t)
	d.level["a1"], d.level["a2"] = gasFrom(600, 0, 0), gasFrom(500, 0, 0)
	d.run(52)
	d.level["a1"], d.level["a2"] = gasFrom(900, 0, 0), gasFrom(750, 0, 0) // from a cylinder
	d.run(4)
	assert.Equal(t, []string{"raised"}, alarms(d.fresh(), alarm.Untold))
	d.run(20)
	assert.Empty(t, alarms(d.fresh(), alarm.Untold))
	d.run(20)
	assert.Equal(t, []string{"cleared"}, alarms(d.fresh(), alarm.Untold))
}

// Nothing is asked where the gas goes as it should, where a dose is on record, where one line
// alone rises, or where all are back from a pump that stood or a gap.
func TestNoUntoldDose(t *testing.T) {
	for name, happens := range map[string]func(d *day){
		"nothing": func(*day) {},
		"a dose on record": func(d *day) {
			d.act(&logbook.DoseAdded{OnStack: onA(), PhosphineG: 70}, logbook.KindDoseAdded, 0)
			d.level["a1"], d.level["a2"] = gasFrom(1200, 700, d.now), gasFrom(1000, 700, d.now)
		},
		"one line": func(d *day) { d.level["a1"] = gasFrom(1500, 0, 0) },
		"a pump that stood": func(d *day) {
			top, low, from := d.level["a1"], d.level["a2"], d.now
			used := func(at logbook.Time) float64 { return math.Exp(-0.2 * at.Hours(from)) }
			d.level["a1"] = func(at logbook.Time) float64 { return top(at) * used(at) }
			d.level["a2"] = func(at logbook.Time) float64 { return low(at) * used(at) }
			d.run(12)
			d.level["a1"], d.level["a2"] = top, low
		},
		"a gap": func(d *day) {
			top, low := d.level["a1"], d.level["a2"]
			d.level["a1"], d.level["a2"] = nil, nil
			d.run(9)
			d.level["a1"], d.level["a2"] = top, low
		},
	} {
		t.Run(name, func(t *testing.T) {
			d := underGas(t)
			d.level["a1"], d.level["a2"] = gasFrom(1200, 0, 0), gasFrom(1000, 0, 0)
			d.run(54)
			happens(d)
			d.run(30)
			assert.Empty(t, alarms(d.made, alarm.Untold))
		})
	}
}
