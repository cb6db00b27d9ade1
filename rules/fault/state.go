package fault

import (
	"encoding/json"
	"fmt"
	"slices"
)

// UnmarshalJSON reads a State that was written as JSON. It refuses one whose parts do
// not belong together, and leaves s as it was.
func (s *State) UnmarshalJSON(data []byte) error {
	type plain State
	var in plain
	if err := json.Unmarshal(data, &in); err != nil {
		return fmt.Errorf("read the state of line faults: %w", err)
	}
	n := in.Lines
	line := func(i int) bool { return i >= 0 && i < n }
	switch {
	case n < 0 || len(in.Now) != n || len(in.Draws) != n || len(in.Digit) != n || len(in.Past) > keepSlots,
		slices.ContainsFunc(in.Past, func(row []float32) bool { return len(row) != n }):
		return fmt.Errorf("read the state of line faults: its slots do not fit %d lines", n)
	case slices.ContainsFunc(in.Swaps, func(w Swap) bool { return !line(w.A) || !line(w.B) }),
		slices.ContainsFunc(in.Drift, func(d Drift) bool { return !line(d.Line) }):
		return fmt.Errorf("read the state of line faults: a fault of a line that is none of %d", n)
	}
	*s = State(in)
	return nil
}
