package leak

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/floats"
)

// A line that falls back to where it stood earlier in the last day does not leak: it was too high
// in between, as when it was blocked while the gas fell and is free again. The same holds for a
// whole stack whose pump had stopped.

// stood is where the lines stood, ln C less what was expected, hour by hour.
type stood struct {
	Hour int     // of the last row
	Ln   singles // by hour and line; unread where that was not known
}

const (
	stoodHours = 24
	stoodLeast = 6       // of them that are needed
	stoodPart  = 4       // a line that stood as low for one part in so many of them is back
	nearShare  = 1 / 3.0 // by which a new reading moves where a line stands, at the least
	nearHours  = 0.4     // e-folding time after which readings that come seldom move it wholly: a third in 10 minutes, as nearShare
	backHours  = 5.0     // after which a line, or a stack whose pump runs again, is back; with 4 and 0.6 of goesOn two of 50 stopped pumps of hard stacks were called leaks, with these one
	lastHours  = 3       // before the onset: how far above a line stood then is what it fell
	goesOn     = 0.7     // of the rate that was found: a stack that has fallen by so much lately was not back
	backShare  = 0.4     // of the fall that was found: a line that lies less below is back; of 67 tears of hard stacks, 95 % showed more, and of 50 skirts and 50 tears elsewhere none was missed for it
)

// fits reports whether the parts fit each other.
func (h *stood) fits(lines int) bool {
	return len(h.Ln)%lines == 0 && len(h.Ln) <= stoodHours*lines
}

// stand notes where the lines stand when an hour has passed.
func (s *State) stand() {
	h, n := &s.Stood, s.Setup.Lines
	hour := int(math.Floor(s.At))
	if hour == h.Hour {
		return
	}
	h.Hour = hour
	if len(h.Ln) >= stoodHours*n {
		h.Ln = h.Ln[:copy(h.Ln, h.Ln[n:])]
	}
	for i := range s.Lines {
		if l := &s.Lines[i]; l.Known && l.Cause.Kind == "" && l.Used >= leastSeries && s.At-l.Told.At < 1 {
			h.Ln = append(h.Ln, float32(l.Stand))
		} else {
			h.Ln = append(h.Ln, unread)
		}
	}
}

// movesBy is by how much a reading moves where its line stands, so many hours after the
// one before: where readings come seldom, that would else lag hours behind a leak.
func movesBy(hours float64) float64 { return max(nearShare, 1-math.Exp(-hours/nearHours)) }

// forgetStood drops where a line stood: it is of another place.
func (s *State) forgetStood(line int) {
	for k := line; k < len(s.Stood.Ln); k += s.Setup.Lines {
		s.Stood.Ln[k] = unread
	}
}

// cameBack reports whether the line, or the stack, that was found to fall only fell to where
// it stood before.
func (s *State) cameBack(f found) bool {
	n, age := s.Setup.Lines, s.At-s.Bank.Onset[f.onset]
	rows := len(s.Stood.Ln)/n - int(math.Ceil(age))
	var above []float64
	for k := range max(rows, 0) {
		if by, ok := s.above(f.line, s.Stood.Ln[k*n:k*n+n]); ok {
			above = append(above, by)
		}
	}
	if len(above) < stoodLeast {
		return false
	}
	strayed := 0.0
	if f.whole != nil {
		strayed = strays(above)
	}
	if f.line < 0 && s.fallsOn(f.rate-strayed, age) {
		return false
	}
	for k := range above {
		above[k] += strayed * (age + float64(len(above)-1-k))
	}
	before := floats.Sum(above[len(above)-lastHours:]) / lastHours
	slices.Sort(above)
	back, fell := above[len(above)/stoodPart], f.rate*age
	if f.line >= 0 {
		fell = s.Bank.alone(f.onset, f.line, f.shape).rate * faded(age, fade[f.shape])
		fell = max(fell, before)
	}
	return back < backShare*fell
}

// strays is by how much an hour the stack rose, before it was found to fall, against what was
// expected of it a day before: a fit that has seen that since does not call it back. What rose
// in the second half of the hours alone is no slope, but a pump that stood.
func strays(above []float64) float64 {
	third := len(above) / 3
	mean := func(part []float64) float64 { return floats.Sum(part) / float64(len(part)) }
	first, middle, last := mean(above[:third]), mean(above[third:len(above)-third]), mean(above[len(above)-third:])
	apart := float64(len(above)-third) / 2 // hours between the middles
	return max(min(middle-first, last-middle)/apart, 0)
}

// isBack reports whether what was found to fall came back. A line that has stood there for some
// hours is taken as it is.
func (s *State) isBack(f found) bool {
	if !s.cameBack(f) {
		return false
	}
	if f.line >= 0 && s.At-s.Bank.Onset[f.onset] > backHours {
		s.takeLine(f.line)
	}
	return true
}

// fallsOn reports whether the stack, which was found to fall at a rate per hour since age
// hours, has fallen in the second half of them, too: what comes back stands then.
func (s *State) fallsOn(rate, age float64) bool {
	n, half := s.Setup.Lines, math.Ceil(age/2)
	k := len(s.Stood.Ln)/n - int(half)
	if age < backHours || k < 0 {
		return false
	}
	by, ok := s.above(-1, s.Stood.Ln[k*n:k*n+n])
	return ok && by > goesOn*rate*half
}

// above is how much higher than now a line stood against the others in a row, or, -1, the
// stack.
func (s *State) above(line int, row []float32) (by float64, ok bool) {
	if line >= 0 && row[line] == unread {
		return 0, false
	}
	sum, others := 0.0, 0.0
	for j := range s.Lines {
		if l := &s.Lines[j]; j != line && row[j] != unread && l.Known && l.Cause.Kind == "" {
			sum, others = sum+float64(row[j])-l.Stand, others+1
		}
	}
	if others == 0 {
		return 0, false
	}
	if line < 0 {
		return sum / others, true
	}
	return float64(row[line]) - s.Lines[line].Stand - sum/others, true
}
