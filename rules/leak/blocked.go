package leak

import "math"

// A line that stands still while the others do not: blocked, or its instrument stuck.

// still is how long a line has stood still to the digit.
type still struct {
	Step float64 // the smallest between two readings, ppm
	Same float64 // −ln of the chance that the readings stay equal by themselves
	From float64 // hours since which they are equal
}

const (
	stuckSure  = 18.0 // −ln of a chance: one in 65 million
	stuckHours = 1.0
)

// still adds to the evidence that a line's readings are equal for no good reason.
// The chance that two equal ones follow by themselves is that of a normal value
// rounded to the smallest step seen, step/(2σ√π), taken half again as high.
func (l *line) still(r read, now float64) {
	if r.ppm != l.PPM || !r.fit {
		if step := math.Abs(r.ppm - l.PPM); l.PPM > 0 && r.fit && step > 0 && (l.Still.Step == 0 || step < l.Still.Step) {
			l.Still.Step = step
		}
		l.PPM, l.Still.Same, l.Still.From = r.ppm, 0, now
		return
	}
	if sigma := math.Sqrt(min(l.Hush.Noise, 1)*r.noise) * r.ppm; l.Still.Step > 0 {
		l.Still.Same -= math.Log(min(0.42*l.Still.Step/sigma, 1))
	}
}

// stuck says that a line stands still to the digit while a neighbour does not.
func (s *State) stuck(r read, events []Event) []Event {
	l := &s.Lines[r.line]
	if l.Cause.Kind != "" || l.Still.Same < stuckSure || s.At-l.Still.From < stuckHours || !s.otherMoves(r.line) {
		return events
	}
	s.set(r.line, Blocked, l.Still.From, r.y, 0)
	return append(events, Event{Kind: Blocked, Line: r.line, Onset: l.Still.From, OnsetLow: l.Still.From, OnsetHigh: l.Still.From})
}

// otherMoves reports whether another line was read since this one stands still,
// and changed.
func (s *State) otherMoves(i int) bool {
	for j, l := range s.Lines {
		if j != i && l.Cause.Kind == "" && l.Still.From > s.Lines[i].Still.From && l.Known {
			return true
		}
	}
	return false
}

// flat reports whether a change of a line alone means that the line stands still
// while the stack does not.
func (s *State) flat(f found) bool {
	age := s.At - s.Bank.Onset[f.onset]
	stack := s.level() - s.Bank.Level[f.onset]
	line, sd := stack-f.rate*age, f.sd*age
	return math.Abs(stack) > 0.04 && math.Abs(line) < 2*sd+0.01 && math.Abs(line) < math.Abs(stack)/2
}

// sureBlocked is how far above the threshold z must be before a line that seems
// to stand still while the others rise is called blocked rather than leaking.
const sureBlocked = 2.0

// sameDigits is the least −ln of the chance that a line's readings are equal by
// themselves at which it is not said to fall: one in 20, until it reads anything else.
const sameDigits = 3.0

// doubtful reports whether a leak at a line may as well be a blocked line.
func (s *State) doubtful(f found) bool {
	if f.line >= 0 && s.Lines[f.line].Still.Same > sameDigits {
		return true
	}
	if f.line < 0 || f.z >= s.threshold()+sureBlocked {
		return false
	}
	for k, onset := range s.Bank.Onset {
		if s.At-onset >= youngest && s.flat(s.Bank.alone(k, f.line, onward)) {
			return true
		}
	}
	return false
}

// blocked looks for a line that stands still while the others change.
func (s *State) blocked() *Event {
	if s.Setup.Lines < 2 {
		return nil
	}
	for i := range s.Lines {
		if s.Lines[i].Cause.Kind != "" {
			continue
		}
		for k, onset := range s.Bank.Onset {
			if s.At-onset < youngest {
				break
			}
			f := s.Bank.alone(k, i, onward)
			limit := s.threshold()
			if f.z > 0 {
				limit += sureBlocked
			}
			// Where another line falls, the rest only seem to rise.
			if math.Abs(f.z) > limit && s.flat(f) && (f.z > 0 || s.other(i, 1) < -f.z) {
				if s.passes(i, s.stepOf(i, i)) {
					break // it reads another gas, or its instrument was set anew
				}
				return s.block(f)
			}
		}
	}
	return nil
}

func (s *State) block(f found) *Event {
	i, onset := f.line, s.Bank.Onset[f.onset]
	drift := -f.rate * (s.At - onset)
	for j, t := range s.Bank.line(f.onset, i, f.shape) {
		s.Filter.Lines[i].Mean[j] += f.rate * float64(t)
	}
	mean, _ := s.Filter.see(i)
	s.set(i, Blocked, onset, s.Lines[i].Ref+mean, drift)
	s.Bank.place(i)
	return &Event{Kind: Blocked, Line: i, Onset: onset, OnsetLow: max(onset-onsetStep, 0), OnsetHigh: min(onset+onsetStep, s.At)}
}
