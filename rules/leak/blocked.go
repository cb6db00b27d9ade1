package leak

import "math"

// A line that stands still while the others do not: blocked, or its instrument stuck.

// still is how long a line has read the same digits, or has only changed between two
// neighbouring ones.
type still struct {
	Step      float64 // the smallest between two readings, ppm
	Low, High float64 // of the readings since it stands still, ppm
	Count     float64 // of them after the first
	Same      float64 // −ln of the chance that they lie so close by themselves
	From      float64 // hours since which they do
}

const (
	stuckSure  = 18.0 // −ln of a chance: one in 65 million
	stuckHours = 1.0
	stillPart  = 1.0 / 3 // of its noise: a line that moves by less, or by one step, stands still
	movedHours = 0.5     // a line that moved since does not stand still
	quietNoise = 0.01    // of the stated variance: a line as quiet as that may stand still
)

// still adds to the evidence that a line stands still: that its readings are more alike than
// its noise allows. The chance that one reading equals the next by itself is that of two
// normal values rounded to the smallest step seen, step/(2σ√π), taken half again as high to be
// careful; the chance that they lie within a band of some steps is so many times as high.
func (l *line) still(r read, now float64) {
	t := &l.Still
	if step := math.Abs(r.ppm - l.PPM); l.PPM > 0 && r.fit && step > 0 && (t.Step == 0 || step < t.Step) {
		t.Step = step
	}
	l.PPM = r.ppm
	sigma := math.Sqrt(min(l.Hush.Noise, 1)*r.noise) * r.ppm
	low, high := min(t.Low, r.ppm), max(t.High, r.ppm)
	if !r.fit || high-low > max(t.Step, stillPart*sigma) {
		t.Low, t.High, t.Count, t.Same, t.From = r.ppm, r.ppm, 0, 0, now
		return
	}
	t.Low, t.High = low, high
	t.Count++
	switch quiet := l.Hush.Weight >= noiseReadings && l.Hush.Near < quietNoise; {
	case quiet:
		t.Same = 0
	case t.Step > 0:
		t.Same = -t.Count * math.Log(min(0.42*(t.Step+2*(high-low))/sigma, 1))
	}
}

// stuck returns the event that a line is blocked, because it stands still to the digit while
// another line moves; or that the pump has stopped, because all of them stand still.
func (s *State) stuck(r read, events []Event) []Event {
	l := &s.Lines[r.line]
	if s.Held != nil || l.Cause.Kind != "" || l.Still.Same < stuckSure || s.At-l.Still.From < stuckHours {
		return events
	}
	moved, still := s.moving(r.line)
	switch {
	case moved:
		s.set(r.line, Blocked, l.Still.From, r.y, 0)
		return append(events, Event{Kind: Blocked, Line: r.line, Onset: l.Still.From, OnsetLow: l.Still.From, OnsetHigh: l.Still.From})
	case still && l.Hush.Weight >= 2*noiseReadings: // it is known to be restless
		return append(events, s.stopped(l.Still.From, true))
	}
	return events
}

// moving reports whether another line than i moved in the newest half hour, and whether
// all others stand still to the digit for as long.
func (s *State) moving(i int) (moved, still bool) {
	for j := range s.Lines {
		l := &s.Lines[j]
		switch {
		case j == i || l.Cause.Kind != "" || !l.Known:
		case s.At-l.Still.From < movedHours:
			return true, false
		default:
			still = still || l.Still.Count > 0
		}
	}
	return false, still
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

// sameDigits is the evidence of standing still, −ln of a chance (one in 150), from which on a
// line is not said to fall until it reads anything else.
const sameDigits = 5.0

// doubtful reports whether a leak at a line may as well be a blocked line.
func (s *State) doubtful(f found) bool {
	if f.line >= 0 && s.Lines[f.line].Still.Same > sameDigits {
		return true
	}
	if f.line < 0 || s.Bank.alone(f.onset, f.line, onward).z >= s.threshold()+sureBlocked {
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
	s.loosen(drift)
	for j := range s.Lines {
		s.Bank.place(j) // beside the line that stood still the others seemed to move
	}
	return &Event{Kind: Blocked, Line: i, Onset: onset, OnsetLow: max(onset-onsetStep, 0), OnsetHigh: min(onset+onsetStep, s.At)}
}
