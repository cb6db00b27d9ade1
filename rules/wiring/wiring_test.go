package wiring_test

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"undersheet/logbook"
	"undersheet/rules/wiring"
)

func depot() *logbook.Site {
	return &logbook.Site{
		Channels: map[string]logbook.Channel{"top": {Unit: logbook.PPM}, "low": {Unit: logbook.PPM}, "door air": {Unit: logbook.PPM}, "flow": {Unit: logbook.LMin}, "relay": {Unit: logbook.OnOff}},
		Stores: []logbook.Store{
			{Name: "Long Barn", Adjoins: []string{"Brick Store"}, Doors: []logbook.Contact{{Name: "east", Channel: "contact", Inverted: true}},
				Air:    []logbook.AirPoint{{Name: "west door", Channel: "door air", Where: logbook.WhereDoor}, {Name: "beside A", Channel: "beside"}},
				Stacks: []logbook.Stack{{Name: "A", Temperature: "grain", Lines: []logbook.Line{{Name: "top", Channel: "top"}, {Name: "low", Channel: "low"}}}}},
			{Name: "Brick Store"}, {Name: "Shed", Adjoins: []string{"Long Barn", "Shed"}},
		},
		Mains:       []logbook.Contact{{Name: "grid", Channel: "relay"}},
		Pumps:       []logbook.Pump{{Name: "one", Channel: "flow", Flow: 1.2, Draws: []string{"top", "door air"}}, {Name: "two", Draws: []string{"top", "low"}}},
		Wind:        &logbook.Wind{Speed: "speed"},
		Instruments: []logbook.Instrument{{Name: "rack", Frames: &logbook.Frames{Channels: map[string]string{"1": "low", "2": "top"}}}},
	}
}

func TestFeeds(t *testing.T) {
	w := wiring.Of(depot())
	for channel, want := range map[string]wiring.Feed{
		"low":      {Store: "Long Barn", Stack: "A", Line: 1, Name: "low"},
		"door air": {Store: "Long Barn", Line: -1, Name: "west door", Where: logbook.WhereDoor},
		"beside":   {Store: "Long Barn", Line: -1, Name: "beside A", Where: logbook.WhereInside},
		"grain":    {Store: "Long Barn", Stack: "A", Line: -1, Signal: wiring.Grain},
		"speed":    {Line: -1, Signal: wiring.Wind},
	} {
		want.Channel = channel
		got, ok := w.Feed(channel)
		assert.True(t, ok, channel)
		assert.Equal(t, want, got)
	}
	for channel, measured := range map[string]bool{"grain": true, "speed": true, "contact": false, "flow": false} {
		f, _ := w.Feed(channel)
		assert.Equal(t, measured, f.Measured(), channel)
	}
	_, ok := w.Feed("nobody's")
	assert.False(t, ok)
	_, ok = wiring.Of(nil).Feed("top")
	assert.False(t, ok)
	assert.Equal(t, []string{"low", "top"}, w.FedBy("rack", ""))
}

// A channel of gas that is said to be of something else as well stays one of gas.
func TestSharedChannelStaysOneOfGas(t *testing.T) {
	site := depot()
	site.Mains[0].Channel = "top"
	f, _ := wiring.Of(site).Feed("top")
	assert.Equal(t, [3]any{"A", "", true}, [3]any{f.Stack, f.Signal, f.Shared})
}

// A pump runs from half of its flow on, where the site says nothing else (common practice);
// a contact may be inverted.
func TestSignals(t *testing.T) {
	w := wiring.Of(depot())
	for _, c := range []struct {
		channel      string
		value        float64
		means, worse bool
	}{
		{"flow", 0.7, true, false}, {"flow", 0.3, false, true},
		{"contact", 1, false, false}, {"contact", 0, true, true},
		{"relay", 1, true, false}, {"relay", 0, false, true},
	} {
		f, _ := w.Feed(c.channel)
		assert.Equal(t, [2]bool{c.means, c.worse}, [2]bool{f.Means(c.value), f.Worse(c.value)}, "%s %g", c.channel, c.value)
	}
}

// Of two pumps that are said to draw a channel the first counts.
func TestPumps(t *testing.T) {
	w := wiring.Of(depot())
	assert.Equal(t, [2]string{"one", "two"}, [2]string{w.Pump("top").Name, w.Pump("low").Name})
	assert.Nil(t, w.Pump("beside"))
}

func TestAdjoining(t *testing.T) {
	w := wiring.Of(depot())
	assert.Equal(t, []string{"Brick Store", "Shed"}, w.Adjoining("Long Barn"))
	assert.Equal(t, []string{"Long Barn"}, w.Adjoining("Shed"))
	assert.Equal(t, []string{"Long Barn"}, w.Adjoining("Brick Store"))
	assert.Empty(t, wiring.Of(nil).Adjoining("Shed"))
}
