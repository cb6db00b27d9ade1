package logbook

import (
	"errors"
	"fmt"
	"slices"
)

// Kinds of acts around a treatment: what was checked before it, and the instruments.
const (
	KindChecksSigned      Kind = "checks-signed"
	KindInstrumentChecked Kind = "instrument-checked"
	KindInstrumentSwapped Kind = "instrument-swapped"
)

// ChecksSigned: a person walked round before dosing and signs what was found.
type ChecksSigned struct {
	Header
	OnStore
	InOrder []string `json:"in_order,omitempty"` // codes of checks that were found in order
	Wanting []string `json:"wanting,omitempty"`  // codes of those that were not
	Second  string   `json:"second,omitempty"`   // the second person
	Act
}

// Validate implements Entry.
func (c *ChecksSigned) Validate() error {
	if len(c.InOrder)+len(c.Wanting) == 0 {
		return errors.Join(c.OnStore.Validate(), errors.New("nothing is signed: name checks under \"in_order\" or \"wanting\""))
	}
	for _, w := range c.Wanting {
		if slices.Contains(c.InOrder, w) {
			return fmt.Errorf("the check %q is both in order and wanting", w)
		}
	}
	return c.OnStore.Validate()
}

// Ways of checking an instrument.
const (
	CheckZero        = "zero"        // read in clean air
	CheckBump        = "bump"        // a known gas is let in to see that it answers
	CheckCalibration = "calibration" // set right against a standard
)

// InstrumentChecked: a channel was zeroed, bump tested or calibrated.
type InstrumentChecked struct {
	Header
	OnSite
	Channel string  `json:"channel"`
	Check   string  `json:"check"`             // zero, bump or calibration
	Applied float64 `json:"applied,omitempty"` // concentration that was let in, in Unit
	Read    float64 `json:"read"`              // what the channel showed, in Unit
	Unit    string  `json:"unit"`
	Passed  bool    `json:"passed"`
	Due     Expiry  `json:"due,omitempty"` // the last day on which it holds: the next one is due; empty = not said
	Act
}

// Validate implements Entry.
func (i *InstrumentChecked) Validate() error {
	err := errors.Join(need("channel", i.Channel, "unit", i.Unit), notNegative("applied", i.Applied))
	if i.Due != "" {
		_, _, bad := i.Due.Read()
		err = errors.Join(err, bad)
	}
	switch i.Check {
	case CheckZero:
		return err
	case CheckBump, CheckCalibration:
		return errors.Join(err, positive("applied", i.Applied))
	}
	return errors.Join(err, fmt.Errorf("the field \"check\" is %q: want %s, %s or %s", i.Check, CheckZero, CheckBump, CheckCalibration))
}

// InstrumentSwapped: another instrument reads a channel from now on.
type InstrumentSwapped struct {
	Header
	OnSite
	Channel string `json:"channel"`
	Out     string `json:"out,omitempty"` // serial number of the one that was taken out
	In      string `json:"in"`            // serial number of the one that was put in
	Act
}

// Validate implements Entry.
func (i *InstrumentSwapped) Validate() error { return need("channel", i.Channel, "in", i.In) }
