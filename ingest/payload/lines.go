package payload

import (
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"

	"github.com/influxdata/line-protocol/v2/lineprotocol"

	"undersheet/logbook"
	"undersheet/sensor"
)

// lines reads line protocol: one line a point, each field of it one value.
func (s *source) lines(topic string, payload []byte, _ time.Time) (rs []sensor.Reading, faults []error) {
	d := lineprotocol.NewDecoderWithBytes(payload)
	for n := 1; d.Next(); n++ {
		p, err := s.point(d)
		if err != nil {
			faults = append(faults, fmt.Errorf("point %d: %w", n, err))
			continue
		}
		got, bad := s.fields(topic, p)
		rs = append(rs, got...)
		for _, err := range bad {
			faults = append(faults, fmt.Errorf("point %d: %w", n, err))
		}
	}
	return rs, faults
}

// point is one line.
type point struct {
	names  map[string]string // measurement, and tag:KEY for each tag
	fields []lineField
	at     time.Time // zero: no timestamp
}

// lineField is one field of a point.
type lineField struct {
	key   string
	value lineprotocol.Value
}

// point reads the next line whole, so that a line with an error gives nothing.
func (s *source) point(d *lineprotocol.Decoder) (p point, err error) {
	measurement, err := d.Measurement()
	if err != nil {
		return p, err
	}
	p.names = map[string]string{"measurement": string(measurement)}
	for {
		key, value, err := d.NextTag()
		if err != nil {
			return p, err
		}
		if key == nil {
			break
		}
		name := logbook.TagPart + string(key)
		if _, twice := p.names[name]; twice {
			return p, fmt.Errorf("the tag %.100q stands twice", key)
		}
		p.names[name] = string(value)
	}
	for {
		key, value, err := d.NextField()
		if err != nil {
			return p, err
		}
		if key == nil {
			break
		}
		p.fields = append(p.fields, lineField{string(key), detached(value)})
	}
	stamp, err := d.TimeBytes()
	if err != nil || stamp == nil {
		return p, err
	}
	n, err := strconv.ParseInt(string(stamp), 10, 64)
	if err != nil {
		return p, fmt.Errorf("the timestamp %.40q is no whole number of 64 bits", stamp)
	}
	p.at, err = ticksTime(n, s.tick)
	return p, err
}

// detached returns v without the decoder's buffer behind it.
func detached(v lineprotocol.Value) lineprotocol.Value {
	if v.Kind() == lineprotocol.String {
		v, _ = lineprotocol.StringValue(strings.Clone(v.StringV()))
	}
	return v
}

// fields makes readings of a point: of the field that Value names, else of all.
func (s *source) fields(topic string, p point) (rs []sensor.Reading, faults []error) {
	seen := false
	for _, f := range p.fields {
		if s.Value != "" && f.key != s.Value {
			continue
		}
		seen = true
		r, err := s.field(topic, p, f)
		if err != nil {
			faults = append(faults, fmt.Errorf("field %.100q: %w", f.key, err))
			continue
		}
		rs = append(rs, r)
	}
	if !seen {
		faults = append(faults, fmt.Errorf("there is no field %q", s.Value))
	}
	return rs, faults
}

// field makes a reading of one field of p.
func (s *source) field(topic string, p point, f lineField) (sensor.Reading, error) {
	v, unit, err := lineNumber(f.value)
	if err != nil {
		return sensor.Reading{}, err
	}
	p.names["field"] = f.key
	return s.reading(topic, found{value: v, unit: unit, at: p.at, names: p.names})
}

// lineNumber reads a number, or a boolean as a state.
func lineNumber(v lineprotocol.Value) (value float64, unit string, err error) {
	switch v.Kind() {
	case lineprotocol.Float:
		return v.FloatV(), "", nil
	case lineprotocol.Int:
		return float64(v.IntV()), "", nil
	case lineprotocol.Uint:
		return float64(v.UintV()), "", nil
	case lineprotocol.Bool:
		return state(v.BoolV()), logbook.OnOff, nil
	}
	return 0, "", errors.New("a text is no reading")
}
