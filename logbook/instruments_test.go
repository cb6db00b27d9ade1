package logbook

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// An instrument that does not answer is why its channels are silent, however the
// site file names them.
func TestGives(t *testing.T) {
	from := func(s MQTTSource) Instrument {
		return Instrument{Name: "broker", MQTT: &MQTT{Sources: []MQTTSource{s}}}
	}
	rack := Instrument{Name: "rack", Modbus: &Modbus{Units: []ModbusUnit{{Address: 1, Registers: []ModbusRegister{{Channel: "b-top"}}}}}}
	for name, c := range map[string]struct {
		in   Instrument
		want bool
	}{
		"register":       {rack, true},
		"level":          {from(MQTTSource{Topic: "depot/+", Payload: "number", Channel: "b-{2}"}), true},
		"another level":  {from(MQTTSource{Topic: "depot/b/+", Payload: "number", Channel: "{1}-{3}"}), false},
		"tags":           {from(MQTTSource{Topic: "lp", Payload: "line-protocol", Channel: "{tag:stack}-{tag:line}"}), true},
		"tag, other end": {from(MQTTSource{Topic: "lp", Payload: "line-protocol", Channel: "{tag:stack}-low"}), false},
		"fixed field":    {from(MQTTSource{Topic: "lp", Payload: "line-protocol", Channel: "b-{field}", Value: "low"}), false},
		"unreadable":     {from(MQTTSource{Topic: "lp", Payload: "number", Channel: "{tag:stack}-top"}), false},
		"text line":      {Instrument{Name: "hood", Frames: &Frames{Channel: "b-top"}}, true},
		"named in text":  {Instrument{Name: "hood", Frames: &Frames{Channels: map[string]string{"P1": "b-top", "P2": "b-low"}}}, true},
		"another text":   {Instrument{Name: "hood", Frames: &Frames{Channels: map[string]string{"P2": "b-low"}}}, false},
		"nothing":        {Instrument{Name: "new"}, false},
	} {
		t.Run(name, func(t *testing.T) { require.Equal(t, c.want, c.in.Gives("b-top")) })
	}
}
