package exposure

import (
	"encoding/binary"
	"encoding/json"
	"fmt"
	"math"
	"time"

	"undersheet/logbook"
)

// Hour is what one hour of an exposure held on one line.
type Hour struct {
	PPMh  float64 // ppm·h
	Above float64 // hours at or above the level
	Read  float64 // how much of the hour readings cover, 0 to 1
	Over  bool    // a reading was at the top of the range: at least PPMh
	Away  bool    // the line was not drawing the stack's gas: what was read tells nothing of it
}

// leastRead is how much of an hour readings must cover to speak for it: half,
// common practice.
const leastRead = 0.5

// Mean returns the mean of the hour in ppm; false when less than half of it was read
// of the stack's gas.
func (h Hour) Mean() (ppm float64, ok bool) {
	if h.Read < leastRead || h.Away {
		return 0, false
	}
	return h.PPMh / h.Read, true
}

// Hours are the hours of an exposure, the first from t = 0 on. Their JSON form is the
// base64 of their bits, little end first: exact, and short.
type Hours []Hour

// mostHours bounds the memory: 60 days, above the longest exposure published that
// treatments are held against (54 days). Later hours are not kept one by one.
const mostHours = 60 * 24

// at returns the hour that holds a moment, nil when it is not kept; began = 0 keeps none.
func (h *Hours) at(began, at logbook.Time) *Hour {
	i := int(at.Sub(began) / time.Hour)
	if began == 0 || at < began || i >= mostHours {
		return nil
	}
	for len(*h) <= i {
		*h = append(*h, Hour{})
	}
	return &(*h)[i]
}

// Away reports whether a moment lies in an hour in which the line did not draw the
// stack's gas; began is t = 0.
func (h Hours) Away(began, at logbook.Time) bool {
	i := int(at.Sub(began) / time.Hour)
	return at >= began && i < len(h) && h[i].Away
}

// MarshalJSON writes the bits.
func (h Hours) MarshalJSON() ([]byte, error) {
	raw, err := binary.Append(nil, binary.LittleEndian, []Hour(h))
	if err != nil {
		return nil, fmt.Errorf("write hours: %w", err)
	}
	return json.Marshal(raw)
}

// UnmarshalJSON reads the bits; what is no finite number is refused.
func (h *Hours) UnmarshalJSON(data []byte) error {
	var raw []byte
	if err := json.Unmarshal(data, &raw); err != nil {
		return fmt.Errorf("read hours: %w", err)
	}
	size := binary.Size(Hour{})
	if len(raw)%size != 0 || len(raw)/size > mostHours {
		return fmt.Errorf("read hours: %d bytes are no whole number of hours up to %d", len(raw), mostHours)
	}
	var out []Hour
	if len(raw) > 0 {
		out = make([]Hour, len(raw)/size)
		if _, err := binary.Decode(raw, binary.LittleEndian, out); err != nil {
			return fmt.Errorf("read hours: %w", err)
		}
	}
	for i, x := range out {
		if v := x.PPMh + x.Above + x.Read; math.IsNaN(v) || math.IsInf(v, 0) {
			return fmt.Errorf("read hours: hour %d holds %g ppm·h in %g h", i, x.PPMh, x.Read)
		}
	}
	*h = out
	return nil
}
