package fault

import (
	"math"
	"slices"

	"undersheet/rules/leak"
)

// settles is the least difference, ln C, between what a line reads and what the
// others make due there, for a hand reading to tell which is right: detector tubes
// and hand meters are true to about 10 % (common practice).
const settles = 0.12

// Hand takes a hand reading at the end of a line, ppm. Where the line alone shows a
// leak and the hand reading is nearer to what the others make due there, its
// instrument drifts, and there is no leak; where an instrument was said to drift and
// the hand reading is nearer to it, or agrees with it where the two hardly differ, it
// does not, or no longer.
func (s *State) Hand(line int, ppm float64, test *leak.State) []leak.Event {
	if line < 0 || line >= s.Lines {
		return nil
	}
	at := s.newest(line, test)
	if at < 0 || !(ppm >= leastPPM && ppm < 1e6) {
		return nil
	}
	ratio, _ := s.ratio(at, line, test)
	reads := float64(s.Past[at][line])
	known := slices.IndexFunc(s.Drift, func(d Drift) bool { return d.Line == line })
	e, leaking := test.LeakAt(line)
	gap := 0.0
	switch {
	case known >= 0:
		gap = s.Drift[known].Gap
	case leaking:
		gap = s.before(line, e.Onset, test)
	default:
		return nil
	}
	due := reads - ratio + gap
	hand := math.Log(ppm)
	right := math.Abs(hand-reads) < math.Abs(hand-due)
	if math.Abs(reads-due) < settles { // then it reads right as far as anybody can tell
		right = known >= 0 && math.Abs(hand-reads) < settles
	}
	switch {
	case right != (known >= 0), known < 0 && math.Abs(reads-due) < settles:
		return nil
	case known >= 0:
		d := s.Drift[known]
		s.Drift = slices.Delete(s.Drift, known, known+1)
		test.Anew(line)
		return []leak.Event{{Kind: leak.Drifting, Line: line, Onset: d.Onset, OnsetLow: d.Onset, OnsetHigh: d.Onset, Cleared: true}}
	}
	found := leak.Event{Kind: leak.Drifting, Line: line, Onset: e.Onset, OnsetLow: e.OnsetLow, OnsetHigh: e.OnsetHigh, Rate: (ratio - gap) / max((s.hours(at)-e.Onset)/24, slotHours/24)}
	s.drifts(found, gap, test)
	return append(test.Distrust(line), found)
}

// newest is the newest of the last slots in which a line and others were read; −1 =
// none.
func (s *State) newest(line int, test *leak.State) int {
	for at := len(s.Past) - 1; at >= max(len(s.Past)-slotsBefore, 0); at-- {
		if _, others := s.ratio(at, line, test); others > 0 {
			return at
		}
	}
	return -1
}

// before is where a line stood to the others before onset, or when it was first seen
// of what is remembered: the median of up to eight slots.
func (s *State) before(line int, onset float64, test *leak.State) float64 {
	var seen []float32
	for at := range s.Past {
		if s.hours(at) >= onset && len(seen) > 0 {
			break
		}
		if ln, others := s.ratio(at, line, test); others > 0 {
			seen = append(seen, float32(ln))
		}
	}
	if len(seen) == 0 {
		return 0
	}
	return median(seen[max(len(seen)-firstSlots, 0):])
}

// Changed tells that another instrument reads a line from now on: where it stands to the
// others is found anew, and the drift of the one before is over. A line that is off or
// blocked stays so.
func (s *State) Changed(line int, test *leak.State) (events []leak.Event) {
	if line < 0 || line >= s.Lines {
		return nil
	}
	s.forget(line, len(s.Past))
	s.Now[line] = s.Now[line][:0]
	if s.Draws[line].Off {
		return nil
	}
	if at := slices.IndexFunc(s.Drift, func(d Drift) bool { return d.Line == line }); at >= 0 {
		d := s.Drift[at]
		s.Drift = slices.Delete(s.Drift, at, at+1)
		events = []leak.Event{{Kind: leak.Drifting, Line: line, Onset: d.Onset, OnsetLow: d.Onset, OnsetHigh: d.Onset, Cleared: true}}
	} else if test.Cause(line) != "" {
		return nil
	}
	test.Anew(line)
	return events
}
