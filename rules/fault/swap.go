package fault

import (
	"math"
	"slices"

	"undersheet/rules/leak"
)

// place is where a swap is looked for in the newest slots: so many after it, and
// one in which it may fall or none; four before.
type place struct{ after, within int }

const (
	slotsBefore = 4
	leastSwap   = 0.04 // ln C: lines that differ by less are not told apart
	surelySD    = 6.0  // a jump is this many standard deviations
	maybeSD     = 4.0  // one that may be
	likeSD      = 3.0  // what should be equal differs by no more
	gainLn      = 0.05 // by which the instruments of two lines may differ, of ln C: their usual accuracy
	commonLn    = 0.04 // by which all lines may fall in these two hours: at a loss of 0.5 a day
	swapSettles = 1.6  // hours from the start of its slot in which a jump that may be a swap becomes one or does not
)

// jumping looks, before a slot is over, for two lines that jumped as by a swap, and
// lets the leak test wait until it is settled.
func (s *State) jumping(test *leak.State) {
	s.Past = append(s.Past, s.running())
	for a := range s.Lines {
		for b := a + 1; b < s.Lines; b++ {
			if !test.Out(a) && !test.Out(b) && s.exchanged(a, b, place{after: 1}, maybeSD, test) {
				test.Wait(float64(s.Slot)*slotHours + swapSettles)
			}
		}
	}
	s.Past = s.Past[:len(s.Past)-1]
}

// swapped looks for two lines that took each other's level in the newest slots, and
// lets the leak test find the levels of both anew.
func (s *State) swapped(test *leak.State) []leak.Event {
	for a := range s.Lines {
		for b := a + 1; b < s.Lines; b++ {
			if test.Out(a) || test.Out(b) {
				continue
			}
			if !s.exchanged(a, b, place{after: 2}, surelySD, test) && !s.exchanged(a, b, place{after: 2, within: 1}, surelySD, test) {
				continue
			}
			for _, line := range []int{a, b} {
				s.forget(line, len(s.Past)-2)
				test.Anew(line)
			}
			return []leak.Event{s.exchange(a, b)}
		}
	}
	return nil
}

// forget drops what a line read before a slot: it is of another place, or wrong.
func (s *State) forget(line, before int) {
	for at := range before {
		s.Past[at][line] = 0
	}
}

// exchange notes a swap, or that the two are back.
func (s *State) exchange(a, b int) leak.Event {
	onset := s.hours(len(s.Past) - 2)
	e := leak.Event{Kind: leak.Swapped, Line: a, Other: b, Onset: onset, OnsetLow: onset - slotHours, OnsetHigh: onset}
	at := slices.IndexFunc(s.Swaps, func(w Swap) bool { return w.A == a && w.B == b })
	if at < 0 {
		s.Swaps = append(s.Swaps, Swap{A: a, B: b, Onset: onset})
		return e
	}
	e.Cleared, e.Onset = true, s.Swaps[at].Onset
	s.Swaps = slices.Delete(s.Swaps, at, at+1)
	return e
}

// jump is how far a line stands after a swap from before, in ln C, and where it
// stood; ok is false where it did not change at once or was not read.
func (s *State) jump(line int, at place) (by, was float64, ok bool) {
	first := len(s.Past) - slotsBefore - at.within - at.after
	if first < 0 {
		return 0, 0, false
	}
	before, after := s.read(line, first, slotsBefore), s.read(line, len(s.Past)-at.after, at.after)
	if len(before) < slotsBefore-1 || len(after) < at.after {
		return 0, 0, false
	}
	was = median(before)
	by = median(after) - was
	half := math.Abs(by) / 2
	step := math.Abs(float64(after[0] - after[len(after)-1]))
	return by, was, step < half && math.Abs(float64(before[len(before)-1])-was) < half
}

// read lists what a line read in n slots from first on.
func (s *State) read(line, first, n int) (seen []float32) {
	for _, r := range s.Past[first : first+n] {
		if r[line] != 0 {
			seen = append(seen, r[line])
		}
	}
	return seen
}

// exchanged reports whether two lines took each other's level, by a jump of so many
// standard deviations.
func (s *State) exchanged(a, b int, at place, surely float64, test *leak.State) bool {
	jumpA, wasA, okA := s.jump(a, at)
	jumpB, wasB, okB := s.jump(b, at)
	if !okA || !okB || jumpA*jumpB >= 0 {
		return false
	}
	by := (jumpA - jumpB) / 2
	sd := math.Hypot(s.noise(a, test), s.noise(b, test)) * math.Sqrt(1.0/slotsBefore+1/float64(at.after)) // of the sum of the jumps
	due := wasB - wasA
	return math.Abs(by) > max(leastSwap, surely*sd/2) &&
		math.Abs(jumpA+jumpB) < likeSD*sd+2*commonLn &&
		math.Abs(by-due) < min(likeSD*sd+gainLn, math.Abs(by)/2)
}
