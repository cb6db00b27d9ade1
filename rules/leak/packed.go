package leak

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
)

// doubles and singles are numbers whose JSON form is the base64 of their bits,
// little end first: a third to a half of the size of decimal digits, and exact.
type (
	doubles []float64
	singles []float32
)

// MarshalJSON writes the bits.
func (d doubles) MarshalJSON() ([]byte, error) {
	raw := make([]byte, 0, 8*len(d))
	for _, x := range d {
		b := math.Float64bits(x)
		raw = append(raw, byte(b), byte(b>>8), byte(b>>16), byte(b>>24), byte(b>>32), byte(b>>40), byte(b>>48), byte(b>>56))
	}
	return json.Marshal(raw)
}

// UnmarshalJSON reads the bits; what is no finite number is refused.
func (d *doubles) UnmarshalJSON(data []byte) error {
	var raw []byte
	if err := json.Unmarshal(data, &raw); err != nil || len(raw)%8 != 0 {
		return fmt.Errorf("read packed numbers of 8 bytes: %d bytes: %w", len(raw), orShort(err))
	}
	out := make(doubles, 0, len(raw)/8)
	for ; len(raw) > 0; raw = raw[8:] {
		b := uint64(0)
		for i := 7; i >= 0; i-- {
			b = b<<8 | uint64(raw[i])
		}
		x := math.Float64frombits(b)
		if !finite(x) {
			return fmt.Errorf("read packed numbers: %v is not finite", x)
		}
		out = append(out, x)
	}
	*d = out
	return nil
}

// MarshalJSON writes the bits.
func (d singles) MarshalJSON() ([]byte, error) {
	raw := make([]byte, 0, 4*len(d))
	for _, x := range d {
		b := math.Float32bits(x)
		raw = append(raw, byte(b), byte(b>>8), byte(b>>16), byte(b>>24))
	}
	return json.Marshal(raw)
}

// UnmarshalJSON reads the bits; what is no finite number is refused.
func (d *singles) UnmarshalJSON(data []byte) error {
	var raw []byte
	if err := json.Unmarshal(data, &raw); err != nil || len(raw)%4 != 0 {
		return fmt.Errorf("read packed numbers of 4 bytes: %d bytes: %w", len(raw), orShort(err))
	}
	out := make(singles, 0, len(raw)/4)
	for ; len(raw) > 0; raw = raw[4:] {
		x := math.Float32frombits(uint32(raw[0]) | uint32(raw[1])<<8 | uint32(raw[2])<<16 | uint32(raw[3])<<24)
		if !finite(float64(x)) {
			return fmt.Errorf("read packed numbers: %v is not finite", x)
		}
		out = append(out, x)
	}
	*d = out
	return nil
}

// errShort is what is wrong when the bytes are base64 but too few.
var errShort = errors.New("the last number is cut")

func orShort(err error) error {
	if err == nil {
		return errShort
	}
	return err
}

func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }

// UnmarshalJSON reads a State that was written as JSON. It refuses one whose
// parts do not belong together, and leaves s as it was.
func (s *State) UnmarshalJSON(data []byte) error {
	type plain State
	var in plain
	if err := json.Unmarshal(data, &in); err != nil {
		return fmt.Errorf("read the state of a leak test: %w", err)
	}
	n := in.Setup.Lines
	if n < 1 || n > MaxLines || len(in.Lines) != n || !in.Filter.fits(n) || !in.Bank.fits(n) || !in.Ref.fits(n) || !in.Recent.fits(n) || !in.Stood.fits(n) || !in.Pace.fits(n) {
		return fmt.Errorf("read the state of a leak test: its parts do not fit %d lines", n)
	}
	if r := in.Raised; r != nil {
		for _, e := range r.all() {
			if e.Line < -1 || e.Line >= n {
				return fmt.Errorf("read the state of a leak test: a leak at line %d of %d", e.Line, n)
			}
		}
	}
	for _, r := range in.Whole.Rises {
		if !(r.SD > 0) {
			return fmt.Errorf("read the state of a leak test: a rise that is known to %v", r.SD)
		}
	}
	if in.Held != nil && len(in.Held.Level) != n {
		return fmt.Errorf("read the state of a leak test: %d lines stand still of %d", len(in.Held.Level), n)
	}
	for _, w := range in.Bank.Wide {
		if !(w >= leastWide) {
			return fmt.Errorf("read the state of a leak test: a scatter of %v", w)
		}
	}
	in.Bank.Lines = n
	*s = State(in)
	return nil
}
