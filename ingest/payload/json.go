package payload

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	"undersheet/logbook"
	"undersheet/sensor"
)

// json reads one value at the paths of the site file.
func (s *source) json(topic string, payload []byte, _ time.Time) ([]sensor.Reading, []error) {
	f, err := s.jsonValue(topic, payload)
	return s.one(topic, f, err)
}

// jsonValue finds the value, its time, its key and what names its channel.
func (s *source) jsonValue(topic string, payload []byte) (f found, err error) {
	doc, err := parseJSON(payload)
	if err != nil {
		return f, err
	}
	v, err := at(doc, s.Value)
	if err != nil {
		return f, err
	}
	if f.value, f.unit, err = jsonNumber(v); err != nil {
		return f, fmt.Errorf("the value at %q: %w", s.Value, err)
	}
	if f.at, err = s.jsonTime(doc); err != nil {
		return f, err
	}
	if f.id, err = s.jsonSequence(topic, doc); err != nil || s.Name == "" {
		return f, err
	}
	if v, err = at(doc, s.Name); err != nil {
		return f, err
	}
	name, err := jsonText(v)
	if err != nil {
		return f, fmt.Errorf("the channel's name at %q: %w", s.Name, err)
	}
	f.names = map[string]string{"path": name}
	return f, nil
}

// parseJSON reads one JSON value and nothing after it; numbers keep their digits.
func parseJSON(payload []byte) (doc any, err error) {
	d := json.NewDecoder(bytes.NewReader(payload))
	d.UseNumber()
	if err := d.Decode(&doc); err != nil {
		if errors.Is(err, io.ErrUnexpectedEOF) || errors.Is(err, io.EOF) {
			return nil, fmt.Errorf("the JSON is cut short after %d bytes", len(payload))
		}
		return nil, fmt.Errorf("not valid JSON: %w", err)
	}
	if _, err := d.Token(); err != io.EOF {
		return nil, errors.New("not valid JSON: something follows the first value")
	}
	return doc, nil
}

// at returns what stands at path in doc: member names and array places (from 0)
// with dots between them.
func at(doc any, path string) (any, error) {
	for _, step := range strings.Split(path, ".") {
		switch d := doc.(type) {
		case map[string]any:
			v, ok := d[step]
			if !ok {
				return nil, fmt.Errorf("the payload has nothing at %q: there is no %q", path, step)
			}
			doc = v
		case []any:
			i, err := strconv.Atoi(step)
			if err != nil || i < 0 || i >= len(d) {
				return nil, fmt.Errorf("the payload has nothing at %q: %q is no place in an array of %d", path, step, len(d))
			}
			doc = d[i]
		default:
			return nil, fmt.Errorf("the payload has nothing at %q: what is before %q has no parts", path, step)
		}
	}
	return doc, nil
}

// jsonNumber reads a number, or true and false as a state.
func jsonNumber(v any) (value float64, unit string, err error) {
	switch v := v.(type) {
	case json.Number:
		value, err = parseNumber(v.String())
		return value, "", err
	case bool:
		return state(v), logbook.OnOff, nil
	case string:
		return 0, "", fmt.Errorf("%.100q is a text: send the number without quotes", v)
	case nil:
		return 0, "", errors.New("null is no number")
	}
	return 0, "", errors.New("is an object or an array, not a number")
}

// state is the value of a contact in logbook.OnOff.
func state(on bool) float64 {
	if on {
		return 1
	}
	return 0
}

// jsonTime reads the time, an RFC 3339 text or a number in TimeUnit since 1970;
// the zero time when the site file names none.
func (s *source) jsonTime(doc any) (time.Time, error) {
	if s.Time == "" {
		return time.Time{}, nil
	}
	v, err := at(doc, s.Time)
	if err != nil {
		return time.Time{}, err
	}
	t, err := s.parseTime(v)
	if err != nil {
		return time.Time{}, fmt.Errorf("the time at %q: %w", s.Time, err)
	}
	return t, nil
}

// parseTime reads an RFC 3339 text or a number in TimeUnit.
func (s *source) parseTime(v any) (time.Time, error) {
	switch v := v.(type) {
	case string:
		t, err := time.Parse(time.RFC3339Nano, v)
		if err != nil {
			return time.Time{}, fmt.Errorf("%.100q is not RFC 3339, for example 2026-03-01T14:00:00Z", v)
		}
		return checkTime(t)
	case json.Number:
		if n, err := v.Int64(); err == nil {
			return ticksTime(n, s.tick)
		}
		f, err := parseNumber(v.String())
		if err != nil {
			return time.Time{}, err
		}
		return secondsTime(f / float64(time.Second/s.tick))
	}
	return time.Time{}, errors.New("is neither an RFC 3339 text nor a number")
}

// jsonSequence returns the key of a measurement, TOPIC#NUMBER, from the device's
// sequence number, which must be there when the site file promises it: it is what
// tells two equal payloads apart. Empty when the site file names none. (No topic
// of a message has a #: MQTT 3.1.1, section 4.7.1.)
func (s *source) jsonSequence(topic string, doc any) (string, error) {
	if s.Sequence == "" {
		return "", nil
	}
	v, err := at(doc, s.Sequence)
	if err != nil {
		return "", err
	}
	n, err := jsonText(v)
	if err == nil && n == "" {
		err = errors.New("is empty")
	}
	if err != nil {
		return "", fmt.Errorf("the sequence number at %q: %w", s.Sequence, err)
	}
	return topic + "#" + n, nil
}

// jsonText reads a text, or a number as it is written.
func jsonText(v any) (string, error) {
	switch v := v.(type) {
	case string:
		return v, nil
	case json.Number:
		return v.String(), nil
	}
	return "", errors.New("is neither a text nor a number")
}
