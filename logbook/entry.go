package logbook

import (
	"bytes"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strings"
	"unicode/utf8"
)

// Version is the newest format version of entries that this program writes and
// understands.
const Version = 1

// Kind names what an entry is.
type Kind string

// Header is what every entry carries.
type Header struct {
	Time     Time   `json:"time"`              // when it happened
	Kind     Kind   `json:"kind"`              // what it is
	Seq      uint64 `json:"seq,omitempty"`     // place in the logbook, from 1 without gaps; 0 = not committed
	Received Time   `json:"received,omitzero"` // when it was committed; never decreases along Seq
	ID       string `json:"id,omitempty"`      // client idempotency key of an act; a source's own key of a reading
	V        int    `json:"v,omitempty"`       // format version; 0 counts as 1
}

// Head returns the header itself, so that every kind that embeds it is an Entry.
func (h *Header) Head() *Header { return h }

// Entry is one item of the logbook: a pointer to one of the kinds' types.
type Entry interface {
	Head() *Header
	// Validate reports what the kind needs and the entry lacks.
	Validate() error
}

// ErrNewer marks an entry or block written by a newer program.
var ErrNewer = errors.New("written by a newer version of undersheet: upgrade this program, nothing was changed")

// New returns an empty entry of kind k, its Kind set.
func New(k Kind) (Entry, error) {
	f, ok := makers[k]
	if !ok {
		return nil, fmt.Errorf("unknown kind %q", k)
	}
	e := f()
	e.Head().Kind = k
	return e, nil
}

// IsRecord reports whether k is what the program made of inputs, not an input.
func IsRecord(k Kind) bool { return records[k] }

// Decode reads one JSON object. Unknown kinds and fields, trailing text, a newer
// version, and entries that their kind's Validate refuses are errors.
func Decode(line []byte) (Entry, error) {
	if r, ok := plainReading(line); ok {
		return r, nil
	}
	return decode(line)
}

// decode is Decode for every form.
func decode(line []byte) (Entry, error) {
	var probe struct {
		Kind Kind `json:"kind"`
		V    int  `json:"v"`
	}
	if err := json.Unmarshal(line, &probe); err != nil {
		return nil, jsonError(line, err)
	}
	if !utf8.Valid(line) {
		return nil, errors.New("the line is not UTF-8: save the file as UTF-8")
	}
	if probe.V < 0 {
		return nil, fmt.Errorf("kind %q has format version %d: want %d", probe.Kind, probe.V, Version)
	}
	if probe.V > Version {
		return nil, fmt.Errorf("kind %q has format version %d: %w", probe.Kind, probe.V, ErrNewer)
	}
	if probe.Kind == "" {
		return nil, errors.New("the field \"kind\" is missing")
	}
	e, err := New(probe.Kind)
	if err != nil {
		return nil, err
	}
	d := json.NewDecoder(bytes.NewReader(line))
	d.DisallowUnknownFields()
	if err := d.Decode(e); err != nil {
		return nil, fmt.Errorf("%s: %w", probe.Kind, jsonError(line, err))
	}
	if e.Head().Time == 0 {
		return nil, fmt.Errorf("%s: the field \"time\" is missing", probe.Kind)
	}
	if err := e.Validate(); err != nil {
		return nil, fmt.Errorf("%s: %w", probe.Kind, err)
	}
	return e, nil
}

// jsonError says where a JSON text breaks, in words for whoever wrote it.
func jsonError(line []byte, err error) error {
	var se *json.SyntaxError
	var te *json.UnmarshalTypeError
	switch {
	case errors.Is(err, io.ErrUnexpectedEOF) || strings.Contains(err.Error(), "unexpected end of JSON"):
		return fmt.Errorf("the JSON object is cut short after %d bytes: write the whole object on one line", len(line))
	case errors.As(err, &se):
		return fmt.Errorf("not valid JSON at byte %d: %w", se.Offset, err)
	case errors.As(err, &te):
		return fmt.Errorf("the field %q cannot be a JSON %s", te.Field, te.Value)
	}
	return errors.New(strings.TrimPrefix(err.Error(), "json: "))
}

// Encode writes e as one JSON object without a line end.
func Encode(e Entry) ([]byte, error) {
	var b bytes.Buffer
	enc := json.NewEncoder(&b)
	enc.SetEscapeHTML(false)
	if err := enc.Encode(e); err != nil {
		return nil, fmt.Errorf("encode %s: %w", e.Head().Kind, err)
	}
	return bytes.TrimSuffix(b.Bytes(), []byte("\n")), nil
}

// Identity returns the key by which a repeated entry is known: that of the
// client's id when it gave one, else of time, kind and body.
func Identity(e Entry) ([16]byte, error) {
	h := e.Head()
	var key [16]byte
	if h.ID != "" {
		sum := sha256.Sum256([]byte("id\x00" + h.ID))
		copy(key[:], sum[:])
		return key, nil
	}
	kept := *h
	h.Seq, h.Received, h.V = 0, 0, 0
	b, err := Encode(e)
	*h = kept
	if err != nil {
		return key, err
	}
	sum := sha256.Sum256(b)
	copy(key[:], sum[:])
	return key, nil
}

// need returns an error naming the first empty value; pairs are name, value.
func need(pairs ...string) error {
	for i := 0; i+1 < len(pairs); i += 2 {
		if strings.TrimSpace(pairs[i+1]) == "" {
			return fmt.Errorf("the field %q is missing", pairs[i])
		}
	}
	return nil
}
