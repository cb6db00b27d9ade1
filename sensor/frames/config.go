package frames

import (
	"errors"
	"fmt"
	"time"

	"undersheet/sensor/port"
)

// DefaultEvery is the interval of a Config without one.
const DefaultEvery = time.Minute

// What ends a line.
const (
	EndLF = "lf" // a line feed; a carriage return before it is dropped
	EndCR = "cr" // a carriage return; a line feed after it is dropped
)

// maxAsk is the longest text with which an instrument is asked, in bytes.
const maxAsk = 256

// Config is one instrument that speaks in lines.
type Config struct {
	Name   string        // instrument name of the site file
	Port   port.Config   // the serial device and how the line is set
	End    string        // EndLF or EndCR; empty = EndLF
	Format Format        // how a line is read
	Ask    string        // sent as it is to have the instrument answer; empty: it speaks by itself
	Every  time.Duration // how often it is asked, or speaks; 0 = DefaultEvery
}

// WithDefaults returns c with its zero settings filled in.
func (c Config) WithDefaults() Config {
	if c.End == "" {
		c.End = EndLF
	}
	if c.Every == 0 {
		c.Every = DefaultEvery
	}
	return c
}

// Validate returns all faults of c at once, joined, each saying where it is and
// what is allowed; nil when there is none.
func (c Config) Validate() error {
	c = c.WithDefaults()
	var faults []error
	check := func(ok bool, format string, args ...any) {
		if !ok {
			faults = append(faults, fmt.Errorf("frames instrument %q: %w", c.Name, fmt.Errorf(format, args...)))
		}
	}
	check(c.Name != "", "name: missing")
	check(c.End == EndLF || c.End == EndCR, "end: must be lf or cr (got %q)", c.End)
	check(len(c.Ask) <= maxAsk, "ask: longer than %d bytes", maxAsk)
	check(c.Every >= 100*time.Millisecond && c.Every <= 24*time.Hour, "every: must be from 100ms to 24h (got %v)", c.Every)
	for _, err := range parts(c.Port.Validate()) {
		check(false, "port: %w", err)
	}
	_, err := Compile(c.Format)
	for _, err := range parts(err) {
		check(false, "%w", err)
	}
	return errors.Join(faults...)
}

// parts takes a joined error apart.
func parts(err error) []error {
	var joined interface{ Unwrap() []error }
	switch {
	case err == nil:
		return nil
	case errors.As(err, &joined):
		return joined.Unwrap()
	}
	return []error{err}
}
