package rules

import (
	"encoding/json"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"undersheet/logbook"
	"undersheet/rules/reading"
)

// wired is the test site with a door contact, a water sensor, mains, a watched pump
// that draws stack A and the air beside it, and the wind.
func wired(s *logbook.Site) {
	state := logbook.Channel{Unit: logbook.OnOff}
	for _, c := range []string{"gate-1", "floor", "grid"} {
		s.Channels[c] = state
	}
	s.Channels["flow"] = logbook.Channel{Unit: logbook.LMin, Resolution: 0.1, Accuracy: 0.5}
	s.Channels["wind"] = logbook.Channel{Unit: logbook.MS}
	s.Channels["vane"] = logbook.Channel{Unit: logbook.Deg, Resolution: 1, Accuracy: 0.1}
	s.Stores[0].Doors = []logbook.Contact{{Name: "west gate", Channel: "gate-1"}}
	s.Stores[0].Water = []logbook.Contact{{Name: "drain", Channel: "floor", Inverted: true}}
	s.Mains = []logbook.Contact{{Name: "grid", Channel: "grid"}}
	s.Pumps = []logbook.Pump{{Name: "P1", Channel: "flow", Flow: 1, Draws: []string{"a1", "a2", "inside"}, Returns: logbook.ReturnsOutside}}
	s.Wind = &logbook.Wind{Speed: "wind", Direction: "vane"}
}

// signal commits a reading that is no gas.
func (d *day) signal(channel string, value float64) {
	unit := d.state.Site.Channels[channel].Unit
	d.commit(d.stamp(&logbook.Reading{Channel: channel, Value: value, Unit: unit}, logbook.KindReading, 0))
}

// still lets the signals of a wired site stand as they are while time passes.
func (d *day) still(values map[string]float64) {
	for c, v := range values {
		d.level[c] = func(logbook.Time) float64 { return v }
	}
}

// dry is a wired site on which nothing is the matter.
var dry = map[string]float64{"gate-1": 0, "floor": 1, "grid": 1, "flow": 1, "wind": 3, "vane": 270}

func TestSignalsAreShown(t *testing.T) {
	d := aday(t, wired)
	v := d.state.View()
	require.Len(t, v.Stores[0].Doors, 1)
	assert.Equal(t, ContactView{Name: "west gate", Channel: "gate-1", Last: Sample{Unit: logbook.OnOff, State: reading.None}}, v.Stores[0].Doors[0], "never read: not known")
	assert.Equal(t, PumpNotKnown, v.Pumps[0].State)
	assert.Equal(t, 0.5, v.Pumps[0].Least, "half of its flow")
	d.signal("gate-1", 0)
	d.now = d.now.Add(time.Minute)
	opened := d.now
	d.signal("gate-1", 1)
	d.signal("floor", 0) // inverted
	d.signal("grid", 1)
	d.signal("flow", 0.5)
	d.signal("wind", 4.5)
	d.signal("vane", 359)
	d.now = d.now.Add(time.Minute)
	d.signal("gate-1", 1)
	v = d.state.View()
	door := v.Stores[0].Doors[0]
	assert.Equal(t, []any{true, true, opened}, []any{door.On, door.Known, door.Since}, "open since it was opened, not since it was last read")
	assert.True(t, v.Stores[0].Water[0].On, "0 of an inverted contact is wet")
	assert.True(t, v.Mains[0].On)
	assert.Equal(t, PumpRuns, v.Pumps[0].State)
	assert.Equal(t, []float64{4.5, 359}, []float64{v.Wind.Speed.PPM, v.Wind.Direction.PPM})
	feeds := map[string]string{}
	for _, c := range v.Channels {
		feeds[c.Name] = c.Signal + ": " + c.Feeds
	}
	assert.Equal(t, "door: Long Barn west gate", feeds["gate-1"])
	assert.Equal(t, "water: Long Barn drain", feeds["floor"])
	assert.Equal(t, "mains: grid", feeds["grid"])
	assert.Equal(t, "pump: P1", feeds["flow"])
	assert.Equal(t, "wind direction: ", feeds["vane"])
	d.now = d.now.Add(time.Minute)
	d.signal("flow", 0.49)
	assert.Equal(t, PumpOff, d.state.View().Pumps[0].State)
	d.now = d.now.Add(time.Minute)
	d.signal("flow", 1)
	d.now = d.now.Add(11 * time.Minute)
	d.commit(d.stamp(&logbook.Clock{}, logbook.KindClock, 0))
	assert.Equal(t, PumpNotKnown, d.state.View().Pumps[0].State, "nobody says that it runs")
}

// What an instrument does not trust, what is late and what is out of its turn does
// not move a contact.
func TestSignalsTakeOnlyWhatCounts(t *testing.T) {
	d := aday(t, wired)
	d.signal("gate-1", 1)
	bad := &logbook.Reading{Channel: "gate-1", Value: 0, Unit: logbook.OnOff, Fault: "loop open"}
	d.now = d.now.Add(time.Minute)
	d.commit(d.stamp(bad, logbook.KindReading, 0))
	d.commit(d.stamp(&logbook.Reading{Channel: "gate-1", Value: 0, Unit: logbook.OnOff}, logbook.KindReading, 30*time.Second+time.Minute))
	d.commit(d.stamp(&logbook.Reading{Channel: "gate-1", Value: 0, Unit: logbook.PPM}, logbook.KindReading, 0))
	assert.True(t, d.state.View().Stores[0].Doors[0].On)
}

// A door that stays shut, a calm and a thermometer that stands still are not stuck.
func TestSteadySignalsAreNotStuck(t *testing.T) {
	d := underGas(t, wired)
	d.still(dry)
	d.fresh()
	d.run(6)
	assert.NotContains(t, findings(d.fresh()), reading.Stuck)
	for _, c := range d.state.View().Channels {
		if _, ok := dry[c.Name]; ok {
			assert.Equal(t, reading.OK, c.Last.State, c.Name)
		}
	}
}

// A snapshot keeps the signals.
func TestSignalsSurviveARestart(t *testing.T) {
	d := aday(t, wired)
	d.signal("gate-1", 1)
	b, err := json.Marshal(d.state)
	require.NoError(t, err)
	var again State
	require.NoError(t, json.Unmarshal(b, &again))
	assert.Equal(t, d.state.View().Stores[0].Doors, again.View().Stores[0].Doors)
}
