// Package sensor says what a raw reading is: the one form in which every way in
// (serial Modbus RTU, MQTT, the simulated depot) hands over what an instrument gave.
//
// It is for whoever writes a way in, and for whoever takes what they deliver.
// A way in builds [Reading] values and gives them to its [Sink]:
//
//	err := sink.Readings(ctx, []sensor.Reading{{
//		Channel: "b-north-top", Value: 412, Unit: "ppm", Time: at, Source: "rack 1",
//	}})
//
// When Readings returns nil the readings are durable; only then may a way in
// acknowledge them to a broker or an instrument.
//
// The package judges nothing: range, detection limit, silence and lateness are
// other rooms' work. It refuses one thing: a value that is not a finite number
// is no reading. A decoder turns it into a Reading with a Fault and Value 0, or
// into a [Refused]. [Reading.Check] says whether a reading keeps this rule.
package sensor

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"math"
	"time"
	"unicode/utf8"
)

// MaxPayload is how many bytes of a refused payload are kept, from its start.
const MaxPayload = 1024

// Reading is one measured value as an instrument gave it, before anything was judged.
type Reading struct {
	Channel  string    // channel name of the site file
	Value    float64   // in Unit; always finite; 0 when a Fault says that there is no value
	Unit     string    // "ppm", "mg/m3", …; empty = the channel's own unit
	Time     time.Time // when it was measured, if the source says so; zero = the source gives no time
	Retained bool      // a stored last value of the broker, not a fresh measurement
	Fault    string    // the instrument's own word that the value is not to be trusted; empty = none
	Source   string    // instrument name of the site file
	ID       string    // Source's own key of this measurement, as its topic and sequence number; a repeated message has it again. Empty = none
}

// Check returns an error when r is not fit to leave a decoder: no channel, or a
// value that is not a finite number.
func (r Reading) Check() error {
	if r.Channel == "" {
		return errors.New("check reading: no channel")
	}
	if math.IsNaN(r.Value) || math.IsInf(r.Value, 0) {
		return fmt.Errorf("check reading of channel %q: value %v is not a finite number", r.Channel, r.Value)
	}
	return nil
}

// Status is a change in an instrument's ability to answer.
type Status struct {
	Instrument string    // instrument name of the site file
	Unit       string    // which device of the instrument, e.g. "unit 7" on a bus; empty = the instrument as a whole
	OK         bool      // it answers again; false = it stopped answering
	Detail     string    // why, in words, for people
	Time       time.Time // when the change was noticed
}

// Refused is a payload that could not be decoded. Its start is kept, so that
// nothing is lost without a trace, and the sum of the whole, so that one that
// was kept elsewhere can be known again. Make one with [NewRefused].
type Refused struct {
	Instrument string    // instrument name of the site file
	Topic      string    // MQTT topic, or what was asked of a serial instrument
	Payload    []byte    // its first MaxPayload bytes; all of it when it is shorter
	Size       int       // of the whole payload, bytes
	SHA256     string    // of the whole payload, in hexadecimal
	Why        string    // why it could not be decoded, in words
	Time       time.Time // when it arrived
}

// NewRefused makes a Refused of the whole payload: a copy of its first MaxPayload
// bytes, its size and its sum. It does not hold on to payload.
func NewRefused(instrument, topic string, payload []byte, why string, at time.Time) Refused {
	kept := append([]byte(nil), payload[:min(len(payload), MaxPayload)]...)
	sum := sha256.Sum256(payload)
	return Refused{Instrument: instrument, Topic: topic, Payload: kept, Size: len(payload), SHA256: hex.EncodeToString(sum[:]), Why: clean(why), Time: at}
}

// clean returns s as valid UTF-8, so that it can be written as JSON unchanged.
func clean(s string) string {
	if utf8.ValidString(s) {
		return s
	}
	return fmt.Sprintf("%q", s)
}

// Sink takes what the ways in deliver. It is declared here because all ways in
// share it. Its methods may be called by several goroutines at once.
type Sink interface {
	// Readings returns after the readings are durable.
	Readings(ctx context.Context, rs []Reading) error
	// Status records a change in an instrument's ability to answer.
	Status(ctx context.Context, s Status) error
	// Refused records a payload that could not be decoded; durable before it returns.
	Refused(ctx context.Context, r Refused) error
}
