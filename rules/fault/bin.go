package fault

import (
	"math"

	"undersheet/rules/decay"
	"undersheet/rules/leak"
)

// BinHours is the grain of the leak test: 5 minutes.
const BinHours = 5.0 / 60

// Bin gathers what the lines of one stack read within 5 minutes, for [State.Observe]. Its
// fields are exported for the JSON form only.
type Bin struct {
	Slot int   // the running bin, counted from t = 0
	Sums []Sum // of the running bin, one per line
}

// Sum is what one line has read in the running bin.
type Sum struct {
	PPM      float64 // sum of the readings
	N        int     // how many there were
	Censored bool    // one of them was below the detection limit or over the range
}

// NewBin begins the first bin of a stack with so many lines.
func NewBin(lines int) Bin { return Bin{Sums: make([]Sum, lines)} }

// Add takes what a line read, hours after dosing; a reading that is not of the running bin
// is left out.
func (b *Bin) Add(hours float64, line int, ppm float64, censored bool) {
	if slotOf(hours) != b.Slot {
		return
	}
	s := &b.Sums[line]
	s.PPM, s.N, s.Censored = s.PPM+ppm, s.N+1, s.Censored || censored
}

// Forget drops what a line has read in the running bin.
func (b *Bin) Forget(line int) { b.Sums[line] = Sum{} }

// Over reports whether the running bin is over, hours after dosing.
func (b *Bin) Over(hours float64) bool { return slotOf(hours) > b.Slot }

// Next returns what the lines read in the running bin, and the hour of its middle, and
// begins the bin of the given hour. lines are the stack's instruments.
func (b *Bin) Next(hours float64, lines []decay.Line) (middle float64, obs []leak.Obs) {
	middle = (float64(b.Slot) + 0.5) * BinHours
	for i, s := range b.Sums {
		if s.N > 0 {
			ppm := s.PPM / float64(s.N)
			obs = append(obs, leak.Obs{Line: i, PPM: ppm, SDLn: scatter(lines[i].Resolution, ppm, s.N), Censored: s.Censored})
		}
	}
	b.Slot = slotOf(hours)
	clear(b.Sums)
	return middle, obs
}

// slotOf is the bin of an hour after dosing.
func slotOf(hours float64) int { return int(math.Floor(hours / BinHours)) }

// scatter is the standard deviation of ln of the mean of n readings around ppm: 3 % of the
// value and one step of the instrument, at least 1 ppm; from memory of electrochemical cells
// (1–4 % + 1 ppm).
func scatter(step, ppm float64, n int) float64 {
	if !(ppm > 0) {
		return 1
	}
	digit := math.Max(step, 1) / ppm
	return math.Sqrt((0.03*0.03 + digit*digit) / float64(n))
}
