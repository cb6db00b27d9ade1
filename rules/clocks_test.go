package rules

import (
	"encoding/json"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"undersheet/logbook"
	"undersheet/rules/alarm"
	"undersheet/rules/gate"
	"undersheet/rules/reading"
	"undersheet/rules/treatment"
)

// box reads both lines and the air beside stack A, and gives its readings its own time.
func box(s *logbook.Site) {
	s.Instruments = []logbook.Instrument{{Name: "box", Frames: &logbook.Frames{Channels: map[string]string{"t": "a1", "l": "a2", "b": "inside"}}}}
}

// ahead lets time pass in steps of five minutes in which the box dates what it reads so far
// ahead; every other channel is right.
func (d *day) ahead(hours float64, by time.Duration) {
	for end := d.now.Add(treatment.Hours(hours)); d.now < end; {
		d.run(5.0 / 60)
		for channel, ppm := range map[string]float64{"a1": 600, "a2": 500, "inside": 0.02} {
			d.commit(d.stamp(&logbook.Reading{Channel: channel, Value: ppm, Unit: logbook.PPM}, logbook.KindReading, -by))
		}
	}
}

// A source whose clock runs half an hour ahead is told once, with by how much, in the
// place of all that is silent by it; nothing that it sends counts, and the gate says why
// it is shut. More than 5 min is the mark: common practice of clocks that are set by hand.
func TestClockAhead(t *testing.T) {
	d := underGas(t, box)
	d.run(3)
	d.level["a1"], d.level["a2"], d.level["inside"] = nil, nil, nil
	last := d.state.Channels["a1"].Newest
	d.fresh()
	d.ahead(2, 30*time.Minute)
	got := of[*logbook.Alarm](d.fresh())
	require.Len(t, got, 1, "one cause is one message")
	assert.Equal(t, []any{"clock-ahead", "box", logbook.Number(30), logbook.PriorityMedium, false},
		[]any{got[0].Alarm, got[0].Channel, got[0].Value, got[0].Priority, got[0].Wake})
	assert.Equal(t, []string{"line-silent A low", "line-silent A top", "point-silent Long Barn beside A"}, got[0].Also)
	assert.Equal(t, last, d.state.Channels["a1"].Newest)
	assert.Equal(t, reading.Future, d.state.sample("a1").State)

	raw, err := json.Marshal(d.state)
	require.NoError(t, err)
	again := New()
	require.NoError(t, json.Unmarshal(raw, again))
	assert.Equal(t, d.state.Ahead, again.Ahead)

	d.air()
	d.ahead(3, 30*time.Minute)
	assert.Equal(t, logbook.GateAiring, d.gate())
	assert.Contains(t, d.reasons(), gate.ClockAhead)
	assert.NotContains(t, d.reasons(), gate.PointSilent)
	d.fresh()
	d.ahead(0.5, 0) // set right
	assert.Equal(t, []string{"cleared"}, alarms(d.fresh(), alarm.Clock))
	assert.NotContains(t, d.reasons(), gate.ClockAhead)
}

// One reading that is dated ahead is no clock that runs ahead, and who sends nothing more
// is silent, whatever its clock showed.
func TestClockAheadIsOfWhatIsSent(t *testing.T) {
	d := underGas(t)
	d.run(1)
	d.fresh()
	d.commit(d.stamp(&logbook.Reading{Channel: "a1", Value: 600, Unit: logbook.PPM}, logbook.KindReading, -40*time.Minute))
	d.run(1)
	assert.Empty(t, of[*logbook.Alarm](d.fresh()))

	d.level["a1"], d.level["a2"], d.level["inside"] = nil, nil, nil
	d.ahead(1, 30*time.Minute)
	assert.Equal(t, []string{"raised", "raised", "raised"}, alarms(d.fresh(), alarm.Clock), "no instrument is known to feed them: each for itself")
	d.level["a2"], d.level["inside"] = flat(500), flat(0.02)
	d.run(2)
	rs := d.fresh()
	assert.Equal(t, []string{"cleared", "cleared", "cleared"}, alarms(rs, alarm.Clock))
	assert.Equal(t, []string{"raised"}, linesOf(rs, alarm.LineSilent, "top"))
}

// Behind one broker stand many clocks. One that runs ahead later is told, too: the alarm of
// the first was of what the first sends.
func TestAnotherClockAhead(t *testing.T) {
	d := underGas(t, func(s *logbook.Site) {
		s.Instruments = []logbook.Instrument{{Name: "broker", MQTT: &logbook.MQTT{Sources: []logbook.MQTTSource{{Topic: "gas/+", Channel: "{2}"}}}}}
	})
	d.run(3)
	ahead := func(hours float64, channels ...string) []string {
		d.fresh()
		for _, name := range channels {
			d.level[name] = nil
		}
		for end := d.now.Add(treatment.Hours(hours)); d.now < end; {
			d.run(5.0 / 60)
			for _, name := range channels {
				d.commit(d.stamp(&logbook.Reading{Channel: name, Value: 0.02, Unit: logbook.PPM}, logbook.KindReading, -30*time.Minute))
			}
		}
		return alarms(d.fresh(), alarm.Clock)
	}
	assert.Equal(t, []string{"raised"}, ahead(2, "a1"))
	assert.Equal(t, []string{"raised"}, ahead(2, "a1", "inside"))
	a := d.state.Alarms[AlarmKey{Alarm: alarm.Clock, Channel: "broker"}]
	assert.Equal(t, []string{"line-silent A top", "point-silent Long Barn beside A"}, a.Record.Also)
	assert.Empty(t, ahead(3, "a1", "inside"))
}
