package modbus

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"undersheet/sensor/port"
)

// Settings used where a Unit leaves them zero, and those worth offering.
const (
	DefaultTimeout = 300 * time.Millisecond // of a Unit without one
	DefaultEvery   = time.Minute            // of a Unit without one
	DefaultRetries = 2                      // a good choice; a Unit's zero means no retry
)

// maxUnit is the highest address of a unit (serial line V1.02, section 2.2:
// 1 to 247; 0 is broadcast, 248 to 255 are reserved).
const maxUnit = 247

// Config is one serial line with the units on it.
type Config struct {
	Name  string      // instrument name of the site file
	Port  port.Config // the serial device and how the line is set
	Units []Unit
}

// Unit is one device on the line.
type Unit struct {
	Address   byte          // 1 to 247
	Timeout   time.Duration // longest time until it begins to answer; 0 = DefaultTimeout; what the bytes take on the wire comes on top
	Retries   int           // further attempts of a request that failed; 0 = none
	Every     time.Duration // interval between polls; 0 = DefaultEvery
	Registers []Register
}

// Register is one measured value of a unit.
type Register struct {
	Channel  string  // channel name of the site file
	Function byte    // 3 = holding register, 4 = input register
	Address  uint16  // as sent, counted from 0: what manuals call 40001 or 30001 is 0
	Type     string  // int16, uint16, int32, uint32 or float32
	Order    string  // ABCD, CDAB, BADC or DCBA (one register: AB or BA); empty = ABCD, as specified
	Scale    float64 // value = raw × Scale + Offset; 0 = 1
	Offset   float64
	Unit     string // of the value: "ppm", "mg/m3", …; empty = the channel's own
}

// WithDefaults returns u with its zero settings filled in.
func (u Unit) WithDefaults() Unit {
	if u.Timeout == 0 {
		u.Timeout = DefaultTimeout
	}
	if u.Every == 0 {
		u.Every = DefaultEvery
	}
	return u
}

// Validate returns all faults of c at once, joined, each saying where it is and
// what is allowed; nil when there is none.
func (c Config) Validate() error {
	v := validation{where: fmt.Sprintf("modbus instrument %q", c.Name)}
	v.check(c.Name != "", "name: missing")
	if err := c.Port.Validate(); err != nil {
		v.check(false, "port: %w", err)
	}
	v.check(len(c.Units) > 0, "units: none; a line needs at least one")
	addresses, channels := map[byte]bool{}, map[string]bool{}
	for i, u := range c.Units {
		v := v.at("units[%d] (address %d)", i, u.Address)
		v.check(!addresses[u.Address], "address: is that of another unit too")
		addresses[u.Address] = true
		u.validate(v)
		for j, r := range u.Registers {
			v := v.at("registers[%d] (channel %q)", j, r.Channel)
			v.check(r.Channel == "" || !channels[r.Channel], "channel: is that of another register too")
			channels[r.Channel] = true
			r.validate(v)
		}
	}
	return errors.Join(v.all()...)
}

// validate adds the faults of u itself.
func (u Unit) validate(v *validation) {
	u = u.WithDefaults()
	v.check(u.Address >= 1 && u.Address <= maxUnit, "address: must be from 1 to %d", maxUnit)
	v.check(u.Timeout >= time.Millisecond && u.Timeout <= time.Minute, "timeout: must be from 1ms to 1m (got %v)", u.Timeout)
	v.check(u.Retries >= 0 && u.Retries <= 10, "retries: must be from 0 to 10 (got %d)", u.Retries)
	v.check(u.Every >= 10*time.Millisecond && u.Every <= 24*time.Hour, "every: must be from 10ms to 24h (got %v)", u.Every)
	v.check(len(u.Registers) > 0, "registers: none; a unit needs at least one")
}

// validate adds the faults of r itself.
func (r Register) validate(v *validation) {
	v.check(r.Channel != "", "channel: missing")
	v.check(r.Function == ReadHolding || r.Function == ReadInput,
		"function: must be 3 (holding registers) or 4 (input registers) (got %d)", r.Function)
	k, known := kinds[r.Type]
	v.check(known, "type: must be int16, uint16, int32, uint32 or float32 (got %q)", r.Type)
	v.check(int(r.Address)+k.words <= 1<<16, "address: %d and the type %s reach beyond register 65535", r.Address, r.Type)
	_, known = orders[r.Order]
	v.check(known, "order: must be ABCD, CDAB, BADC or DCBA, or AB or BA (got %q)", r.Order)
	v.check(k.words != 2 || len(r.Order) != 2, "order: %s takes two registers and needs an order of four letters (got %q)", r.Type, r.Order)
	v.check(finite(r.Scale), "scale: must be a finite number (got %v)", r.Scale)
	v.check(finite(r.Offset), "offset: must be a finite number (got %v)", r.Offset)
}

// finite says whether x is a finite number.
func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }

// validation collects faults, each with where it was found.
type validation struct {
	where  string
	faults []error
	parts  []*validation
}

// at returns a part of v for a place below v's.
func (v *validation) at(format string, args ...any) *validation {
	part := &validation{where: v.where + ": " + fmt.Sprintf(format, args...)}
	v.parts = append(v.parts, part)
	return part
}

// check adds a fault unless ok.
func (v *validation) check(ok bool, format string, args ...any) {
	if !ok {
		v.faults = append(v.faults, fmt.Errorf("%s: %w", v.where, fmt.Errorf(format, args...)))
	}
}

// all returns the faults of v and its parts, in order.
func (v *validation) all() []error {
	faults := slices.Clone(v.faults)
	for _, part := range v.parts {
		faults = append(faults, part.all()...)
	}
	return faults
}
