package leak

import "math"

// A line that comes off draws air: it falls while the others do not.

// off returns the event that a line came off: it fell to less than half within two readings and
// stays there, while another line that was read since then did not fall. A line that only rises
// less than a young fit had promised has not fallen.
func (s *State) off(r read, events []Event) []Event {
	l := &s.Lines[r.line]
	if l.Cause.Kind != "" || s.At < s.Hold || l.Far.Down < offRuns || l.Used < jumpRuns || !s.neighbour(r.line, l.Far.DownAt) || r.y-r.innovation < math.Log(leastLevel) || r.y > l.Was-farLn/2 {
		return events
	}
	since := l.Far.DownAt
	over, low := s.cameOff(r.line, since)
	s.set(r.line, LineOff, since, r.y, 0)
	l.Cause.Depth = -r.innovation
	return append(append(events, over...), Event{Kind: LineOff, Line: r.line, Onset: since, OnsetLow: low, OnsetHigh: since})
}

// A line that comes off over an hour or two looks like a tear beside it until it is off.
const (
	comesOff = 3.0 // hours that it takes at the most: what the line showed then was no leak
	slowZ    = 2.0 // least z of its fall before: to forget what it made of the stack
)

// cameOff takes back what a line that is off since an hour told on its way: a leak that it alone
// showed, and what it made of the stack. low is the last hour at which it read the gas.
func (s *State) cameOff(i int, since float64) (over []Event, low float64) {
	low = s.Lines[i].Good
	if e, ok := s.LeakAt(i); ok && e.Onset > since-comesOff {
		over, low = s.withdraw(i), min(low, e.Onset)
	}
	if f := s.Bank.best(i, 1, s.At); f.z > slowZ && s.Bank.Onset[f.onset] > since-comesOff {
		low = min(low, s.Bank.Onset[f.onset])
		s.loosen(s.Bank.alone(f.onset, i, f.shape).rate * faded(s.At-low, fade[f.shape]))
		s.Bank.clear()
	}
	return over, low
}

// loosen opens the level of the stack, and how the lines lie to it: they moved by their part in
// what one line moved by, ln C, for itself.
func (s *State) loosen(by float64) {
	by /= float64(s.Setup.Lines)
	s.Filter.Stack.Cov[0] += by * by
	for i := range s.Filter.Lines {
		s.Filter.Lines[i].Cov[0] += by * by
	}
}

// neighbour reports whether another line was read after the hour since and read as predicted, up
// to its newest reading. Where there is no other line it is true: nothing contradicts.
func (s *State) neighbour(i int, since float64) bool {
	alone := true
	for j := range s.Lines {
		l := &s.Lines[j]
		if j == i || l.Cause.Kind != "" || !l.Known {
			continue
		}
		alone = false
		if l.Good >= since && l.Seen > since && l.Miss > -dropLn {
			return true
		}
	}
	return alone
}
