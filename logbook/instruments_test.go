package rules

import (
	"testing"

	"github.com/stretchr/testify/require"

	"undersheet/logbook"
)

// An instrument that does not answer is why its channels are silent, however the
// site file names them.
func TestFeedsAny(t *testing.T) {
	from := func(s logbook.MQTTSource) logbook.Instrument {
		return logbook.Instrument{Name: "broker", MQTT: &logbook.MQTT{Sources: []logbook.MQTTSource{s}}}
	}
	rack := logbook.Instrument{Name: "rack", Modbus: &logbook.Modbus{Units: []logbook.ModbusUnit{{Address: 1, Registers: []logbook.ModbusRegister{{Channel: "b-top"}}}}}}
	for name, c := range map[string]struct {
		in   logbook.Instrument
		want bool
	}{
		"register":       {rack, true},
		"level":          {from(logbook.MQTTSource{Topic: "depot/+", Payload: "number", Channel: "b-{2}"}), true},
		"another level":  {from(logbook.MQTTSource{Topic: "depot/b/+", Payload: "number", Channel: "{1}-{3}"}), false},
		"tags":           {from(logbook.MQTTSource{Topic: "lp", Payload: "line-protocol", Channel: "{tag:stack}-{tag:line}"}), true},
		"tag, other end": {from(logbook.MQTTSource{Topic: "lp", Payload: "line-protocol", Channel: "{tag:stack}-low"}), false},
		"fixed field":    {from(logbook.MQTTSource{Topic: "lp", Payload: "line-protocol", Channel: "b-{field}", Value: "low"}), false},
		"unreadable":     {from(logbook.MQTTSource{Topic: "lp", Payload: "number", Channel: "{tag:stack}-top"}), false},
		"text line":      {logbook.Instrument{Name: "hood", Frames: &logbook.Frames{Channel: "b-top"}}, true},
		"named in text":  {logbook.Instrument{Name: "hood", Frames: &logbook.Frames{Channels: map[string]string{"P1": "b-top", "P2": "b-low"}}}, true},
		"another text":   {logbook.Instrument{Name: "hood", Frames: &logbook.Frames{Channels: map[string]string{"P2": "b-low"}}}, false},
		"nothing":        {logbook.Instrument{Name: "new"}, false},
	} {
		t.Run(name, func(t *testing.T) { require.Equal(t, c.want, feedsAny(c.in, "b-top")) })
	}
}
