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
	leaps := s.leaps(place{after: 1}, test)
	for a := range leaps {
		for b := a + 1; b < s.Lines; b++ {
			if s.exchanged(a, b, &leaps[a], &leaps[b], maybeSD, test) {
				test.Wait(float64(s.Slot)*slotHours + swapSettles)
			}
		}
	}
	s.Past = s.Past[:len(s.Past)-1]
}

// swapped looks for two lines that took each other's level in the newest slots, and
// lets the leak test find the levels of both anew.
func (s *State) swapped(test *leak.State) []leak.Event {
	between, within := s.leaps(place{after: 2}, test), s.leaps(place{after: 2, within: 1}, test)
	for a := range s.Lines {
		for b := a + 1; b < s.Lines; b++ {
			if !s.exchanged(a, b, &between[a], &between[b], surelySD, test) && !s.exchanged(a, b, &within[a], &within[b], surelySD, test) {
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

// leap is how far a line stands after a swap from before, in ln C, and where it stood;
// ok is false where it did not change at once, was not read, or is out of the test.
type leap struct {
	by, was float64
	after   int // slots
	ok      bool
}

// leaps lists those of all lines.
func (s *State) leaps(at place, test *leak.State) []leap {
	leaps := make([]leap, s.Lines)
	for line := range leaps {
		if !test.Out(line) {
			leaps[line] = s.leap(line, at)
		}
	}
	return leaps
}

func (s *State) leap(line int, at place) leap {
	first := len(s.Past) - slotsBefore - at.within - at.after
	if first < 0 {
		return leap{}
	}
	var earlier, later [slotsBefore]float32
	before, after := s.read(earlier[:0], line, first, slotsBefore), s.read(later[:0], line, len(s.Past)-at.after, at.after)
	if len(before) < slotsBefore-1 || len(after) < at.after {
		return leap{}
	}
	was := median(before)
	by := median(after) - was
	half := math.Abs(by) / 2
	step := math.Abs(float64(after[0] - after[len(after)-1]))
	return leap{by, was, at.after, step < half && math.Abs(float64(before[len(before)-1])-was) < half}
}

// read appends what a line read in n slots from first on.
func (s *State) read(seen []float32, line, first, n int) []float32 {
	for _, r := range s.Past[first : first+n] {
		if r[line] != 0 {
			seen = append(seen, r[line])
		}
	}
	return seen
}

// exchanged reports whether two lines took each other's level, by leaps of so many
// standard deviations.
func (s *State) exchanged(a, b int, one, other *leap, surely float64, test *leak.State) bool {
	if !one.ok || !other.ok || one.by*other.by >= 0 {
		return false
	}
	by := (one.by - other.by) / 2
	sd := math.Hypot(s.noise(a, test), s.noise(b, test)) * math.Sqrt(1.0/slotsBefore+1/float64(one.after)) // of the sum of the leaps
	due := other.was - one.was
	return math.Abs(by) > max(leastSwap, surely*sd/2) &&
		math.Abs(one.by+other.by) < likeSD*sd+2*commonLn &&
		math.Abs(by-due) < min(likeSD*sd+gainLn, math.Abs(by)/2)
}
