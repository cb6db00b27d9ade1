package decay

import (
	"encoding/base64"
	"encoding/binary"
	"encoding/json"
	"errors"
	"math"
)

// numbers are written as base64 of their IEEE 754 single precision bits, low byte
// first, which takes a third of the room of digits.
type numbers []float32

// MarshalJSON writes the numbers as a string.
func (n numbers) MarshalJSON() ([]byte, error) {
	raw := make([]byte, 0, 4*len(n))
	for _, v := range n {
		raw = binary.LittleEndian.AppendUint32(raw, math.Float32bits(v))
	}
	return json.Marshal(base64.StdEncoding.EncodeToString(raw))
}

// UnmarshalJSON reads what MarshalJSON writes, and refuses what is no number.
func (n *numbers) UnmarshalJSON(data []byte) error {
	var text string
	if err := json.Unmarshal(data, &text); err != nil {
		return err
	}
	raw, err := base64.StdEncoding.DecodeString(text)
	if err != nil {
		return err
	}
	if len(raw)%4 != 0 {
		return errors.New("read packed numbers: the last one is cut short")
	}
	out := make(numbers, 0, len(raw)/4)
	for i := 0; i < len(raw); i += 4 {
		v := math.Float32frombits(binary.LittleEndian.Uint32(raw[i:]))
		if !finite(float64(v)) {
			return errors.New("read packed numbers: one is no number")
		}
		out = append(out, v)
	}
	*n = out
	return nil
}
