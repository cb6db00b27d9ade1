package payload

import (
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"time"

	"undersheet/logbook"
	"undersheet/sensor"
)

const (
	// senmlVersion is the version of RFC 8428 (section 4.4).
	senmlVersion = 10
	// absolute is the first time in seconds that is not relative to now (RFC 8428, section 4.5.3): 2^28.
	absolute = 1 << 28
)

// record is one SenML record, its fields by their labels.
type record map[string]json.RawMessage

// base is what records inherit from those before them (RFC 8428, section 4.1).
type base struct {
	name, unit  string
	time, value float64
}

// senml reads a SenML pack in JSON (RFC 8428, section 5). A pack with a wrong
// base field is refused whole: no record after it could be resolved for sure.
func (s *source) senml(topic string, payload []byte, now time.Time) (rs []sensor.Reading, faults []error) {
	if _, err := parseJSON(payload); err != nil {
		return nil, []error{err}
	}
	var pack []record
	if err := json.Unmarshal(payload, &pack); err != nil {
		return nil, []error{errors.New("a SenML pack is an array of records: send [{…}]")}
	}
	if err := understood(pack); err != nil {
		return nil, []error{err}
	}
	var b base
	for i, rec := range pack {
		if err := b.take(rec); err != nil {
			return nil, []error{fmt.Errorf("record %d: %w: the whole pack is refused", i+1, err)}
		}
		if rec.onlyBase() {
			continue
		}
		f, err := rec.resolve(b, now)
		var r sensor.Reading
		if err == nil {
			r, err = s.reading(topic, f)
		}
		if err != nil {
			faults = append(faults, fmt.Errorf("record %d: %w", i+1, err))
			continue
		}
		rs = append(rs, r)
	}
	return rs, faults
}

// understood refuses a pack of a newer version, of two versions, or with a field
// that must be understood (its label ends with "_") and is not known.
func understood(pack []record) error {
	stated := 0.0
	for i, rec := range pack {
		for label := range rec {
			if strings.HasSuffix(label, "_") {
				return fmt.Errorf("record %d: the field %.40q must be understood and is not: the whole pack is refused", i+1, label)
			}
		}
		v, ok, err := field[float64](rec, "bver")
		if err != nil {
			return fmt.Errorf("record %d: %w: the whole pack is refused", i+1, err)
		}
		if !ok {
			continue
		}
		if v < 1 || v > senmlVersion || v != float64(int(v)) {
			return fmt.Errorf("record %d: SenML version %v is not understood, only up to %d: the whole pack is refused", i+1, v, senmlVersion)
		}
		if stated != 0 && v != stated {
			return fmt.Errorf("record %d: SenML version %v after %v: the whole pack is refused", i+1, v, stated)
		}
		stated = v
	}
	return nil
}

// field reads the field label of rec; ok is false when it is not there.
func field[T string | float64 | bool](rec record, label string) (v T, ok bool, err error) {
	raw, ok := rec[label]
	if !ok {
		return v, false, nil
	}
	var p *T
	if err := json.Unmarshal(raw, &p); err != nil || p == nil {
		return v, false, fmt.Errorf("the field %q is %.60s, which is no %s that can be read", label, raw, kindOf(v))
	}
	return *p, true, nil
}

// kindOf names the type of v in JSON's words.
func kindOf(v any) string {
	switch v.(type) {
	case float64:
		return "number"
	case bool:
		return "boolean"
	}
	return "string"
}

// take lets b inherit the base fields of rec.
func (b *base) take(rec record) error {
	_, _, sum := field[float64](rec, "bs") // a sum is not used, but must be a number
	return errors.Join(inherit(rec, "bn", &b.name), inherit(rec, "bu", &b.unit), inherit(rec, "bt", &b.time),
		inherit(rec, "bv", &b.value), sum)
}

// inherit sets to when rec has the base field label.
func inherit[T string | float64](rec record, label string, to *T) error {
	v, ok, err := field[T](rec, label)
	if ok {
		*to = v
	}
	return err
}

// own are the labels of fields that belong to one record only.
var own = []string{"n", "u", "v", "vs", "vb", "vd", "s", "t", "ut"}

// onlyBase reports whether rec says nothing of its own.
func (rec record) onlyBase() bool {
	for _, label := range own {
		if _, ok := rec[label]; ok {
			return false
		}
	}
	return true
}

// resolve adds the base fields to those of rec (RFC 8428, section 4.6).
func (rec record) resolve(b base, now time.Time) (f found, err error) {
	name, _, err := field[string](rec, "n")
	if err != nil {
		return f, err
	}
	if name, err = senmlName(b.name + name); err != nil {
		return f, err
	}
	f.names = map[string]string{"name": name}
	seconds, _, err := field[float64](rec, "t")
	if err != nil {
		return f, err
	}
	if f.at, err = senmlTime(b.time+seconds, now); err != nil {
		return f, err
	}
	f.value, f.unit, err = rec.measured(b)
	return f, err
}

// senmlName checks a name against RFC 8428, section 4.5.1.
func senmlName(name string) (string, error) {
	const first = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789"
	if name == "" {
		return "", errors.New("has neither a name nor a base name")
	}
	if strings.Trim(name, first+"-:./_") != "" || !strings.Contains(first, name[:1]) {
		return "", fmt.Errorf("the name %.100q has other characters than letters, digits and -:./_ or begins with one of these", name)
	}
	return name, nil
}

// senmlTime returns the moment of a resolved time in seconds. Below 2^28 it is
// relative to now; zero means about now, which is no time of the source's own.
func senmlTime(s float64, now time.Time) (time.Time, error) {
	switch {
	case s >= absolute:
		return secondsTime(s)
	case s == 0 || now.IsZero():
		return time.Time{}, nil
	case s < firstSecond/100:
		return time.Time{}, fmt.Errorf("the relative time %v s is too long ago", s)
	}
	return checkTime(now.Add(time.Duration(s * float64(time.Second))))
}

// measured returns the record's value. A text, data or a sum alone is no
// reading; a boolean is a state.
func (rec record) measured(b base) (float64, string, error) {
	var kinds []string
	for _, label := range []string{"v", "vb", "vs", "vd"} {
		if _, ok := rec[label]; ok {
			kinds = append(kinds, label)
		}
	}
	if len(kinds) > 1 {
		return 0, "", fmt.Errorf("has %d values (%s), where one is allowed", len(kinds), strings.Join(kinds, ", "))
	}
	if v, ok, err := field[bool](rec, "vb"); ok || err != nil {
		return state(v), logbook.OnOff, err
	}
	v, ok, err := field[float64](rec, "v")
	if err != nil {
		return 0, "", err
	}
	if !ok {
		return 0, "", fmt.Errorf("has no number: %s", noNumber(rec))
	}
	unit, stated, err := field[string](rec, "u")
	if err != nil {
		return 0, "", err
	}
	if !stated {
		unit = b.unit
	}
	return convert(b.value+v, unit)
}

// noNumber says what a record has instead of one.
func noNumber(rec record) string {
	for _, k := range [][2]string{{"vs", "a text"}, {"vd", "data"}, {"s", "a sum"}} {
		if _, ok := rec[k[0]]; ok {
			return k[1] + " is no reading"
		}
	}
	return "there is no value"
}
