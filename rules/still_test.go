package rules

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"undersheet/logbook"
	"undersheet/rules/alarm"
)

// While the machine's clock stands behind, gas in the air, gas that could burn and an open door are
// told at once, by what is dated before or ahead of now (the project's own rule: what lives hang on
// is told before it is dated right). Nothing that comes then ends an alarm or opens a gate.

// behind sets the machine's clock back by three hours.
func (d *day) behind() {
	d.fresh()
	d.commit(d.stamp(&logbook.ClockStepped{StepSeconds: -3 * 3600}, logbook.KindClockStepped, 3*time.Hour))
}

// late commits a reading that is dated so long before now, which stands still.
func (d *day) late(channel string, value float64, unit string, back time.Duration, stamped bool) {
	d.commit(d.stamp(&logbook.Reading{Channel: channel, Value: value, Unit: unit, Stamped: stamped}, logbook.KindReading, back))
}

func TestGasWhileTheClockIsBehind(t *testing.T) {
	for name, back := range map[string]time.Duration{"dated by the machine": 3*time.Hour - time.Minute, "hardly late": 20 * time.Minute, "dated right": -40 * time.Minute} {
		d := underGas(t)
		d.run(3)
		d.behind()
		d.late("office", 0.02, logbook.PPM, back, false)
		assert.Empty(t, alarms(d.fresh(), alarm.AirGas), name)
		d.late("office", 5, logbook.PPM, back-time.Minute, false)
		rs := d.fresh()
		require.Equal(t, []string{"office raised"}, alarms(rs, alarm.AirGas), name)
		a := of[*logbook.Alarm](rs)[0]
		assert.Equal(t, []any{logbook.Number(5), true}, []any{a.Value, a.Wake}, name)
		d.late("office", 0.02, logbook.PPM, back-2*time.Minute, false)
		assert.Empty(t, of[*logbook.Alarm](d.fresh()), name)
		d.run(1)
		assert.Equal(t, []string{"office cleared"}, alarms(d.fresh(), alarm.AirGas), name)
		assert.Zero(t, d.state.Channels["office"].Unturned)
	}
}

// A reading that is dated before its channel's newest while the clock is right comes late, and is no
// news, whoever dated it: a file that was imported, or what an instrument had stored.
func TestLateIsNoNews(t *testing.T) {
	d := underGas(t)
	d.run(3)
	d.fresh()
	for _, stamped := range []bool{false, true} {
		d.late("office", 5, logbook.PPM, 3*time.Hour, stamped)
		d.now = d.now.Add(3 * time.Minute)
		d.commit(d.stamp(&logbook.Clock{}, logbook.KindClock, 0))
		assert.Empty(t, alarms(d.fresh(), alarm.AirGas), stamped)
	}
}

// A clearance falls by gas in the air while the clock is behind.
func TestClearanceFallsWhileTheClockIsBehind(t *testing.T) {
	d := cleared(t)
	d.run(1)
	d.behind()
	d.late("inside", 0.02, logbook.PPM, 3*time.Hour, false)
	require.Equal(t, logbook.GateCleared, d.gate())
	d.late("inside", 1.2, logbook.PPM, 3*time.Hour-time.Minute, false)
	assert.Equal(t, logbook.GateAiring, d.gate())
	assert.Equal(t, []string{"raised"}, alarms(d.fresh(), alarm.Rebound))
	d.late("inside", 0.02, logbook.PPM, 3*time.Hour-2*time.Minute, false)
	assert.Equal(t, logbook.GateAiring, d.gate())
	assert.Empty(t, alarms(d.fresh(), alarm.Rebound))
}

// A door that opens and gas that could burn (a quarter of the lower explosive limit, common practice) are told, too; a
// rise is not, for nobody knows over how long it came.
func TestDoorAndFireWhileTheClockIsBehind(t *testing.T) {
	d := underGas(t, func(s *logbook.Site) {
		s.Channels["gate-1"] = logbook.Channel{Unit: logbook.OnOff}
		s.Stores[0].Doors = []logbook.Contact{{Name: "gate", Channel: "gate-1"}}
		line := s.Channels["a1"]
		line.Range = 20000
		s.Channels["a1"] = line
	})
	d.level["gate-1"] = func(logbook.Time) float64 { return 0 }
	d.run(3)
	d.behind()
	d.late("gate-1", 1, logbook.OnOff, 3*time.Hour, false)
	assert.Equal(t, []string{"raised"}, alarms(d.fresh(), alarm.DoorOpened))
	for i, ppm := range []float64{1200, 1250, 1300} {
		d.late("a1", ppm, logbook.PPM, 3*time.Hour-time.Duration(i)*time.Minute, false)
	}
	assert.Empty(t, alarms(d.fresh(), alarm.Fire))
	for i, ppm := range []float64{6000, 6100} {
		d.late("a1", ppm, logbook.PPM, 2*time.Hour-time.Duration(i)*time.Minute, false)
	}
	assert.Equal(t, []string{"lower-explosive-limit raised"}, alarms(d.fresh(), alarm.Fire))
}
