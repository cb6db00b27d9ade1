package logbook

import (
	"fmt"
	"math"
)

// Kinds of inputs that nobody acts out: readings, time and configuration.
const (
	KindReading         Kind = "reading"
	KindClock           Kind = "clock"
	KindClockStepped    Kind = "clock-stepped"
	KindSiteConfigured  Kind = "site-configured"
	KindInstrumentState Kind = "instrument-state"
	KindPayloadRefused  Kind = "payload-refused"
)

// Units that a reading may carry.
const (
	PPM   = "ppm"
	MgM3  = "mg/m3"
	GM3   = "g/m3"
	Cel   = "C"
	RH    = "%RH"
	HPa   = "hPa"
	MS    = "m/s"
	LMin  = "L/min"
	OnOff = "state"
	Deg   = "deg" // degrees from north, clockwise
)

// Units lists the units of readings in the order of the manual.
var Units = []string{PPM, MgM3, GM3, Cel, RH, HPa, MS, LMin, OnOff, Deg}

// IsUnit reports whether u is a unit of readings.
func IsUnit(u string) bool {
	for _, k := range Units {
		if k == u {
			return true
		}
	}
	return false
}

// Reading is one measured value of one channel.
type Reading struct {
	Header
	Channel  string  `json:"channel"`
	Value    float64 `json:"value"`
	Unit     string  `json:"unit"`
	Retained bool    `json:"retained,omitempty"` // a broker's stored value: shown, never judged unless it carries its own time
	Stamped  bool    `json:"stamped,omitempty"`  // the source gave no time; Time is the moment of arrival
	Fault    string  `json:"fault,omitempty"`    // the instrument's own word that the value is not to be trusted
}

// Validate implements Entry.
func (r *Reading) Validate() error {
	if err := need("channel", r.Channel, "unit", r.Unit); err != nil {
		return err
	}
	if math.IsNaN(r.Value) || math.IsInf(r.Value, 0) {
		return fmt.Errorf("the value of channel %q is not a finite number", r.Channel)
	}
	if !IsUnit(r.Unit) {
		return fmt.Errorf("the unit %q is none of %v", r.Unit, Units)
	}
	return nil
}

// Clock says only that time has passed.
type Clock struct{ Header }

// Validate implements Entry.
func (*Clock) Validate() error { return nil }

// ClockStepped says that the wall clock moved against the monotonic one, or that it has stood
// before the newest entry since the start.
type ClockStepped struct {
	Header
	StepSeconds   float64 `json:"step_seconds"`             // positive: the wall clock jumped ahead
	PassedSeconds float64 `json:"passed_seconds,omitempty"` // how much of a jump ahead is time that passed: the machine slept, or had just started by a clock that was not set yet
}

// Validate implements Entry.
func (*ClockStepped) Validate() error { return nil }

// SiteConfigured carries the whole normalised site file, without secrets.
type SiteConfigured struct {
	Header
	Site Site `json:"site"`
}

// Validate implements Entry.
func (s *SiteConfigured) Validate() error { return need("site", s.Site.Name) }

// InstrumentState says that an instrument, or one unit on its line, began or
// ceased to answer.
type InstrumentState struct {
	Header
	Instrument string `json:"instrument"`
	Unit       string `json:"unit,omitempty"` // unit on a shared line
	OK         bool   `json:"ok"`
	Detail     string `json:"detail,omitempty"`
}

// Validate implements Entry.
func (s *InstrumentState) Validate() error { return need("instrument", s.Instrument) }

// PayloadRefused keeps what could not be decoded, so that nothing is lost.
type PayloadRefused struct {
	Header
	Instrument string `json:"instrument"`
	Topic      string `json:"topic,omitempty"`
	Size       int    `json:"size"`              // bytes of the whole payload
	SHA256     string `json:"sha256,omitempty"`  // of the whole payload, in hexadecimal
	Excerpt    []byte `json:"excerpt,omitempty"` // first bytes, base64 in JSON
	Why        string `json:"why"`
}

// Validate implements Entry.
func (p *PayloadRefused) Validate() error { return need("instrument", p.Instrument, "why", p.Why) }
