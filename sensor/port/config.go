package port

import (
	"errors"
	"fmt"
	"time"

	"go.bug.st/serial"
)

// Line settings used where a Config leaves them empty.
const (
	DefaultBaud     = 9600
	DefaultDataBits = 8
	DefaultStopBits = 1
)

// Config says which serial device to open, and how the line is set.
type Config struct {
	Device   string // path, best a stable one from /dev/serial/by-id
	Baud     int    // bits per second; 0 = DefaultBaud
	DataBits int    // 7 or 8; 0 = DefaultDataBits
	Parity   string // "none", "even" or "odd"; empty = "none"
	StopBits int    // 1 or 2; 0 = DefaultStopBits
}

// parities are the parity names of a Config.
var parities = map[string]serial.Parity{
	"none": serial.NoParity,
	"even": serial.EvenParity,
	"odd":  serial.OddParity,
}

// WithDefaults returns c with every empty line setting filled in.
func (c Config) WithDefaults() Config {
	if c.Baud == 0 {
		c.Baud = DefaultBaud
	}
	if c.DataBits == 0 {
		c.DataBits = DefaultDataBits
	}
	if c.Parity == "" {
		c.Parity = "none"
	}
	if c.StopBits == 0 {
		c.StopBits = DefaultStopBits
	}
	return c
}

// Validate returns all faults of c at once, joined, each naming its field; nil when there is none.
func (c Config) Validate() error {
	c = c.WithDefaults()
	var faults []error
	check := func(ok bool, format string, args ...any) {
		if !ok {
			faults = append(faults, fmt.Errorf(format, args...))
		}
	}
	check(c.Device != "", `device: missing; name the serial device, e.g. "/dev/ttyUSB0"`)
	check(c.Baud >= 300 && c.Baud <= 4_000_000, "baud: must be from 300 to 4000000 (got %d)", c.Baud)
	check(c.DataBits == 7 || c.DataBits == 8, "data bits: must be 7 or 8 (got %d)", c.DataBits)
	check(c.StopBits == 1 || c.StopBits == 2, "stop bits: must be 1 or 2 (got %d)", c.StopBits)
	_, known := parities[c.Parity]
	check(known, `parity: must be "none", "even" or "odd" (got %q)`, c.Parity)
	return errors.Join(faults...)
}

// CharTime is how long n characters last on the wire: a start bit, the data
// bits, a parity bit if there is one, and the stop bits, at Baud bits per second.
func (c Config) CharTime(n int) time.Duration {
	c = c.WithDefaults()
	bits := 1 + c.DataBits + c.StopBits
	if c.Parity != "none" {
		bits++
	}
	return time.Duration(n*bits) * time.Second / time.Duration(c.Baud)
}

// mode is c in the serial library's words.
func (c Config) mode() *serial.Mode {
	c = c.WithDefaults()
	stop := serial.OneStopBit
	if c.StopBits == 2 {
		stop = serial.TwoStopBits
	}
	return &serial.Mode{BaudRate: c.Baud, DataBits: c.DataBits, Parity: parities[c.Parity], StopBits: stop}
}
