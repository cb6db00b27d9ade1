package logbook

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
)

// KindCorrected says that an act was recorded wrongly.
const KindCorrected Kind = "corrected"

// Corrected puts another entry in the place of an act that was recorded wrongly, or
// strikes it. The old entry and what was made of it stay in the logbook; what is
// thought now is as if the right one had stood at its place.
type Corrected struct {
	Header
	OnSite
	Of        uint64          `json:"of"`                  // seq of the act
	Entry     json.RawMessage `json:"entry,omitempty"`     // the right one: the same kind, with its own time
	Withdrawn bool            `json:"withdrawn,omitempty"` // it never happened: Entry is empty
	Why       string          `json:"why"`
	Act
}

// Validate implements Entry.
func (c *Corrected) Validate() error {
	if err := need("why", c.Why, "by", c.By); err != nil {
		return err
	}
	if c.Of == 0 {
		return errors.New("the field \"of\" is missing: give the seq of the act that is corrected")
	}
	if c.Withdrawn == (len(c.Entry) > 0) {
		return errors.New("a correction gives either the right \"entry\" or \"withdrawn\": true")
	}
	if c.Withdrawn {
		return nil
	}
	e, err := c.Right()
	if err != nil {
		return err
	}
	if !Correctable(e.Head().Kind) {
		return fmt.Errorf("an entry of kind %q cannot be corrected: record a new one", e.Head().Kind)
	}
	return nil
}

// Right returns the entry that stands in the old one's place.
func (c *Corrected) Right() (Entry, error) {
	e, err := Decode(bytes.TrimSpace(c.Entry))
	if err != nil {
		return nil, fmt.Errorf("the field \"entry\": %w", err)
	}
	return e, nil
}

// Correctable reports whether entries of a kind can be corrected: facts that people
// stated. Permissions, acknowledgements and corrections stand as they were made: a
// wrong one is answered by a new one.
func Correctable(k Kind) bool {
	switch k {
	case KindEntryConfirmed, KindNoGasDeclared, KindAcknowledged, KindCorrected:
		return false
	}
	return slices.Contains(ActKinds, k)
}
