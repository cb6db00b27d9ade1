// Package fault tells the faults of lines and instruments under one sheet from a
// leak, by how the lines stand to each other: two lines that were connected the
// wrong way round, an instrument that drifts, and a line that draws no gas.
//
// [New] takes the instruments on the lines. A [Bin] gathers what they read; every 5
// minutes [State.Observe] takes it, lets the leak test have it and returns the events of
// both. [State.DoseAdded] forgets what an added dose makes unlike. Times are hours since
// dosing, concentrations ppm, rates ln C per day.
//
// The medians of half an hour are kept for a day and a half, in ln C. What moves
// all lines, loss, release, breathing, falls out of the ratio of one line to the
// others.
//
// # Swapped lines
//
// At one moment each of two lines takes the other's level: both jump within half an
// hour, by as much, one up and one down, and by the difference of the two. Lines
// that differ by less than their noise, or by less than 4 %, are not told apart,
// and it does no harm: they read the same gas. A second such jump of the same two
// says that they are back.
//
// # An instrument that drifts
//
// The ratio of a line to the others goes up or down as a straight line for 18 hours or more.
//
// A line that goes up shows no leak: its instrument drifts. But the gas that stands in a
// blocked tube goes up against the others as well, so a line that was called blocked stays so
// unless it moves as a blocked one never does.
//
// A line that goes down may show a leak beside it. Gas mixes under a sheet within hours, so the
// other lines should then fall, too; but where gas mixes badly, or little leaks, that cannot be
// seen within a day. So a line that goes down is told as a leak that it alone shows
// ([leak.Event] Alone), and a hand reading settles which it is, see [State.Hand]. While a leak
// stands that other lines follow, no line is called drifting.
//
// # A line that draws no gas
//
// From 8 hours after dosing on, a line that has never read a twentieth of what the others
// do draws air: it was not connected, or its end lies beside the stack. One that reads so
// little later, three times in a row, came off, where the leak test has not told it.
//
// # What it refuses
//
// It needs three lines that are read to say which of them drifts. It never sees a drift that all
// lines share, as when one instrument reads them in turn: only hand readings show that. It does
// not use readings that are censored, below 10 ppm, or below 10 of the instrument's steps.
package fault

import (
	"math"
	"slices"

	"undersheet/rules/decay"
	"undersheet/rules/leak"
)

// State is what is remembered of the lines of one stack. The zero value is of no
// use: New makes one. Its fields are exported for the JSON form only.
type State struct {
	Lines int
	From  float64     // hours from which on the lines can be compared
	Slot  int         // that is running
	Now   [][]float32 // ln ppm of the readings of the running slot, by line
	Past  [][]float32 // medians of the slots before it, oldest first, by line; 0 = not read
	Draws []Draw      // by line
	Digit []float64   // smallest step of each line's instrument, ppm; 0 = not known
	Swaps []Swap      `json:",omitempty"`
	Drift []Drift     `json:",omitempty"`
}

// Swap is two lines that are connected the wrong way round.
type Swap struct {
	A, B  int
	Onset float64 // hours
}

// Drift is an instrument that drifts.
type Drift struct {
	Line  int
	Onset float64 // hours
	Gap   float64 // ln of the line over the others before it began
	Now   float64 // and by now, smoothed
	Back  int     // slots in a row with the line where it was
}

const (
	slotHours   = 0.5
	keepSlots   = 72
	leastPPM    = 10.0
	leastDigits = 10.0 // in a reading, for lines to be held against each other
	mixed       = 16.0 // hours after dosing from which on lines stand to each other as they will
)

// New begins with a stack at t = 0. lines are its instruments, of which the Resolution
// counts here; those beyond [leak.MaxLines] are not looked at.
func New(lines []decay.Line) *State {
	n := min(len(lines), leak.MaxLines)
	s := &State{Lines: n, From: mixed, Now: make([][]float32, n), Draws: make([]Draw, n), Digit: make([]float64, n)}
	for i := range s.Digit {
		s.Digit[i] = lines[i].Resolution
	}
	return s
}

// DoseAdded tells that phosphine was added at hours. What is raised stays raised.
func (s *State) DoseAdded(hours float64) {
	s.From, s.Past = max(hours+mixed, s.From), nil
	clear(s.Now)
}

// Observe takes what the lines read in a bin around hours, lets the leak test have
// it, and returns what began or ended. expect is the fit, for the leak test.
func (s *State) Observe(hours float64, obs []leak.Obs, test *leak.State, expect leak.Expecter) []leak.Event {
	events := s.close(hours, test)
	for _, o := range obs {
		if o.Line >= 0 && o.Line < s.Lines && !o.Censored && o.PPM >= max(leastPPM, leastDigits*s.Digit[o.Line]) && o.PPM < 1e6 {
			s.Now[o.Line] = append(s.Now[o.Line], float32(math.Log(o.PPM)))
		}
	}
	events = append(events, s.undrawn(hours, obs, test)...)
	s.jumping(hours, test)
	for _, e := range test.Observe(hours, obs, expect) {
		switch {
		case e.Kind == leak.Leak && e.Cleared:
			s.From = max(hours, s.From) // lines come back to each other
		case e.Cleared && e.Line >= 0:
			s.forget(e.Line, len(s.Past))
		}
		events = append(events, e)
	}
	return events
}

// close ends the running slot when hours are past it, and judges.
func (s *State) close(hours float64, test *leak.State) []leak.Event {
	slot := int(math.Floor(hours / slotHours))
	if slot <= s.Slot || !(hours < 1e6) {
		return nil
	}
	s.Past = append(s.Past, s.running())
	for i, now := range s.Now {
		s.Now[i] = now[:0]
	}
	for range min(slot-s.Slot-1, keepSlots) {
		s.Past = append(s.Past, make([]float32, s.Lines))
	}
	if n := len(s.Past); n > keepSlots {
		s.Past = append(s.Past[:0], s.Past[n-keepSlots:]...)
	}
	s.Slot = slot
	events := s.swapped(test)
	events = append(events, s.back(test)...)
	return append(events, s.drifting(test)...)
}

// running is the medians of the running slot.
func (s *State) running() []float32 {
	row := make([]float32, s.Lines)
	for i, now := range s.Now {
		if len(now) > 0 {
			row[i] = float32(median(now))
		}
	}
	return row
}

// hours is when a slot of the past began.
func (s *State) hours(at int) float64 { return float64(s.Slot-len(s.Past)+at) * slotHours }

// doubted reports whether a line is no measure for the others: it is out of the leak
// test, or it alone shows a leak.
func doubted(test *leak.State, line int) bool {
	_, leaking := test.LeakAt(line)
	return test.Out(line) || leaking
}

// ratio is ln of a line over the mean of the others in a slot: those that are read
// and not in doubt. others is how many.
func (s *State) ratio(at, line int, test *leak.State) (ln float64, others int) {
	sum := 0.0
	for j, m := range s.Past[at] {
		if j != line && m != 0 && !doubted(test, j) {
			sum, others = sum+float64(m), others+1
		}
	}
	if s.Past[at][line] == 0 || others == 0 {
		return 0, 0
	}
	return float64(s.Past[at][line]) - sum/float64(others), others
}

// usualNoise is the standard deviation of a line's ratio in a slot while too little is
// known of it: 3 % in a reading, from memory of electrochemical cells, and a few
// readings.
const usualNoise = 0.02

// noise is the standard deviation of a line's ratio in one slot, from differences
// of neighbouring slots: 1.4826 times the median of their size, over √2 (the median
// absolute deviation of a normal distribution).
func (s *State) noise(line int, test *leak.State) float64 {
	var steps []float32
	last, had := 0.0, false
	for at := range s.Past {
		ln, n := s.ratio(at, line, test)
		if n > 0 && had {
			steps = append(steps, float32(math.Abs(ln-last)))
		}
		last, had = ln, n > 0
	}
	noise := usualNoise
	if len(steps) >= 8 {
		noise = max(1.4826*median(steps)/math.Sqrt2, 0.002)
	}
	return math.Hypot(noise, s.digit(line))
}

// digit is half the smallest step of a line's instrument, in ln C at its present level. A median
// can be wrong by that much; and while it keeps falling on the same step, the noise of the line
// does not show in it.
func (s *State) digit(line int) float64 {
	for at := len(s.Past) - 1; at >= 0; at-- {
		if ln := float64(s.Past[at][line]); ln != 0 {
			return s.Digit[line] / math.Exp(ln) / 2
		}
	}
	return 0
}

// median sorts a copy.
func median(v []float32) float64 {
	var room [keepSlots]float32
	sorted := append(room[:0], v...)
	slices.Sort(sorted)
	m := len(sorted) / 2
	if len(sorted)%2 == 1 {
		return float64(sorted[m])
	}
	return (float64(sorted[m-1]) + float64(sorted[m])) / 2
}
