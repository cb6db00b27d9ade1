package logbook

import (
	"fmt"
	"slices"
)

// Instrument is a device that is read: exactly one of Modbus, Frames and MQTT is set.
type Instrument struct {
	Name   string  `json:"name" yaml:"name"`
	Modbus *Modbus `json:"modbus,omitempty" yaml:"modbus"`
	Frames *Frames `json:"frames,omitempty" yaml:"frames"`
	MQTT   *MQTT   `json:"mqtt,omitempty" yaml:"mqtt"`
}

// Ways counts the ways in which the instrument is read; it must be 1.
func (in *Instrument) Ways() int {
	n := 0
	for _, way := range []bool{in.Modbus != nil, in.Frames != nil, in.MQTT != nil} {
		if way {
			n++
		}
	}
	return n
}

// Channels returns the channels that the instrument's settings name, by the unit on its
// line that gives them: "unit 3", as in states of instruments; "" where the instrument is
// alone. Channels that only lines of text or topics of a broker name are not among them.
func (in *Instrument) Channels() map[string][]string {
	named := map[string][]string{}
	if in.Modbus != nil {
		for _, u := range in.Modbus.Units {
			unit := fmt.Sprintf("unit %d", u.Address)
			for _, r := range u.Registers {
				named[unit] = append(named[unit], r.Channel)
			}
		}
	}
	if in.Frames != nil {
		if in.Frames.Channel != "" {
			named[""] = append(named[""], in.Frames.Channel)
		}
		for _, channel := range in.Frames.Channels {
			named[""] = append(named[""], channel)
		}
		slices.Sort(named[""])
	}
	return named
}

// Gives reports whether the instrument gives a channel, as far as its settings tell: they
// name it, or a source of its broker may give such a name. A source whose template cannot
// be read gives none.
func (in *Instrument) Gives(channel string) bool {
	for _, named := range in.Channels() {
		if slices.Contains(named, channel) {
			return true
		}
	}
	return in.MQTT != nil && slices.ContainsFunc(in.MQTT.Sources, func(s MQTTSource) bool {
		t, err := s.Template()
		return err == nil && t.Fits(channel)
	})
}

// Frames is an instrument on a serial line that speaks in lines of text.
type Frames struct {
	Port     string            `json:"port" yaml:"port"`                     // device path
	Baud     int               `json:"baud,omitempty" yaml:"baud"`           // 9600
	DataBits int               `json:"data_bits,omitempty" yaml:"data_bits"` // 7 or 8 (default)
	Parity   string            `json:"parity,omitempty" yaml:"parity"`       // none (default), even, odd
	StopBits int               `json:"stop_bits,omitempty" yaml:"stop_bits"` // 1 (default) or 2
	End      string            `json:"end,omitempty" yaml:"end"`             // what ends a line: lf (default; a cr before it is dropped) or cr
	Pattern  string            `json:"pattern" yaml:"pattern"`               // regular expression (RE2) with the named groups value and, as needed, channel, unit, status
	Channel  string            `json:"channel,omitempty" yaml:"channel"`     // of the value when the pattern has no group channel
	Channels map[string]string `json:"channels,omitempty" yaml:"channels"`   // what the group channel may hold, and the channel that it means; empty: it holds the channel's own name
	Unit     string            `json:"unit,omitempty" yaml:"unit"`           // of the value when the pattern has no group unit; the channel's when empty
	Units    map[string]string `json:"units,omitempty" yaml:"units"`         // what the group unit may hold, and the unit that it means
	Sound    []string          `json:"sound,omitempty" yaml:"sound"`         // what the group status holds when the value is to be trusted; anything else, nothing at all too, is a fault. Empty: nothing, "ok" and "OK"
	Ignore   string            `json:"ignore,omitempty" yaml:"ignore"`       // regular expression of lines that are no readings: headings, echoes
	Ask      string            `json:"ask,omitempty" yaml:"ask"`             // sent to have the instrument answer; empty: it speaks by itself
	Every    Duration          `json:"every,omitempty" yaml:"every"`         // how often it is asked, or speaks; 60 s
}

// Modbus is a serial line with Modbus RTU units on it.
type Modbus struct {
	Port     string       `json:"port" yaml:"port"`                     // device path
	Baud     int          `json:"baud,omitempty" yaml:"baud"`           // 9600
	Parity   string       `json:"parity,omitempty" yaml:"parity"`       // none, even (default of the standard), odd
	StopBits int          `json:"stop_bits,omitempty" yaml:"stop_bits"` // 1 or 2
	Units    []ModbusUnit `json:"units" yaml:"units"`
}

// ModbusUnit is one unit on the line.
type ModbusUnit struct {
	Address   int              `json:"address" yaml:"address"`           // 1 to 247
	Timeout   Duration         `json:"timeout,omitempty" yaml:"timeout"` // 300 ms
	Retries   int              `json:"retries,omitempty" yaml:"retries"` // tries after the first
	Every     Duration         `json:"every,omitempty" yaml:"every"`     // 60 s
	Registers []ModbusRegister `json:"registers" yaml:"registers"`
}

// ModbusRegister is one value of a unit.
type ModbusRegister struct {
	Channel  string  `json:"channel" yaml:"channel"`
	Function int     `json:"function,omitempty" yaml:"function"` // 3 holding registers, 4 input registers (default)
	Register int     `json:"register" yaml:"register"`           // address on the wire, from 0
	Type     string  `json:"type,omitempty" yaml:"type"`         // int16, uint16 (default), int32, uint32, float32
	Order    string  `json:"order,omitempty" yaml:"order"`       // byte order of the 32-bit value as sent: abcd (default), cdab, badc, dcba; of a 16-bit one: ab, ba
	Scale    float64 `json:"scale,omitempty" yaml:"scale"`       // value = raw × scale + offset; 0 = 1
	Offset   float64 `json:"offset,omitempty" yaml:"offset"`
	Unit     string  `json:"unit,omitempty" yaml:"unit"` // the channel's when empty
}

// MQTT is a broker and what is read from it.
type MQTT struct {
	Broker       string       `json:"broker" yaml:"broker"`                 // tcp://host:1883 or tls://host:8883
	ClientID     string       `json:"client_id,omitempty" yaml:"client_id"` // default: undersheet-<site>-<instrument>
	CA           string       `json:"ca,omitempty" yaml:"ca"`               // file
	Cert         string       `json:"cert,omitempty" yaml:"cert"`           // file
	Key          string       `json:"key,omitempty" yaml:"key"`             // file
	UserEnv      string       `json:"user_env,omitempty" yaml:"user_env"`
	UserFile     string       `json:"user_file,omitempty" yaml:"user_file"`
	PasswordEnv  string       `json:"password_env,omitempty" yaml:"password_env"`
	PasswordFile string       `json:"password_file,omitempty" yaml:"password_file"`
	Sources      []MQTTSource `json:"sources" yaml:"sources"`
}

// MQTTSource is one subscription and how its payload is read.
type MQTTSource struct {
	Topic    string `json:"topic" yaml:"topic"`                         // filter, + and # allowed
	QoS      int    `json:"qos,omitempty" yaml:"qos"`                   // 0, 1 (default 1)
	Payload  string `json:"payload" yaml:"payload"`                     // senml, json, number or line-protocol
	Channel  string `json:"channel,omitempty" yaml:"channel"`           // see Template
	Value    string `json:"value,omitempty" yaml:"value"`               // path of the value in JSON, dots between steps; or field of line protocol
	Time     string `json:"time,omitempty" yaml:"time"`                 // path of the time in JSON: RFC 3339 text or a number
	TimeUnit string `json:"time_unit,omitempty" yaml:"time_unit"`       // s (default), ms, us, ns
	Sequence string `json:"sequence,omitempty" yaml:"sequence"`         // path of a device sequence number in JSON
	Name     string `json:"channel_path,omitempty" yaml:"channel_path"` // path of the channel name in JSON, {path} in the template
	Unit     string `json:"unit,omitempty" yaml:"unit"`                 // the channel's when empty
}
