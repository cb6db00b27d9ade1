package fault

import (
	"math"
	"slices"

	"undersheet/rules/leak"
)

// place is where among the newest slots a swap is looked for: so many slots lie after it, and it
// falls either between two slots or within one. Of the newest slot only a share may have passed.
type place struct {
	after, within int
	share         float64
}

// places are where a swap is looked for when a slot is over, the soonest first: one of
// lines that differ little is sure only later.
var places = [...]place{{2, 0, 1}, {2, 1, 1}, {4, 0, 1}, {4, 1, 1}}

const (
	slotsBefore = 8
	leastBefore = 4 // of them that were read
	leastShare  = 0.1
	leastSwap   = 0.04 // ln C: lines that differ by less are not told apart
	surelySD    = 6.0  // a jump is this many standard deviations
	maybeSD     = 4.0  // one that may be
	eachSD      = 2.5  // and each of the two by this many of its own
	likeSD      = 3.0  // what should be equal differs by no more
	gainLn      = 0.10 // by which the instruments of two lines may differ, of ln C: twice their usual accuracy
	commonLn    = 0.07 // by which two lines without others may fall in the three hours between the middles: at a loss of 0.5 a day
	evenly      = 0.5  // of the larger jump: what the smaller is at least
	swapSettles = 1.6  // hours from the start of its slot in which a jump that may be a swap becomes one or does not
)

// jumping looks at hours, before a slot is over, for two lines that jumped as by a swap,
// and lets the leak test wait until it is settled.
func (s *State) jumping(hours float64, test *leak.State) {
	s.Past = append(s.Past, s.running())
	if _, _, ok := s.jumped(place{after: 1, share: max(hours/slotHours-float64(s.Slot), leastShare)}, maybeSD, test); ok {
		test.Wait(float64(s.Slot)*slotHours + swapSettles)
	}
	s.Past = s.Past[:len(s.Past)-1]
}

// jumped is the first two lines that took each other's level at a place.
func (s *State) jumped(at place, surely float64, test *leak.State) (a, b int, ok bool) {
	leaps := s.leaps(at, test)
	for a := range leaps {
		for b := a + 1; b < s.Lines; b++ {
			one, other := leaps[a], leaps[b]
			if !one.ok || !other.ok || math.Abs(one.by-other.by) < 2*leastSwap {
				continue
			}
			common, slack := others(leaps, a, b)
			one.by, other.by = one.by-common, other.by-common
			if s.exchanged(a, b, &one, &other, surely, slack, test) {
				return a, b, true
			}
		}
	}
	return 0, 0, false
}

// others is how far the lines but two stand from before, and by how much the two may
// depart from that together. Of two lines without others it is not known.
func others(leaps []leap, a, b int) (common, slack float64) {
	var by []float32
	for i, l := range leaps {
		if i != a && i != b && l.ok {
			by = append(by, float32(l.by))
		}
	}
	if len(by) == 0 {
		return 0, 2 * commonLn
	}
	return median(by), 0
}

// swapped looks for two lines that took each other's level in the newest slots, and
// lets the leak test find the levels of both anew.
func (s *State) swapped(test *leak.State) []leak.Event {
	for _, at := range places {
		a, b, ok := s.jumped(at, surelySD, test)
		if !ok {
			continue
		}
		first := len(s.Past) - at.after
		for _, line := range []int{a, b} {
			s.forget(line, first)
			test.Anew(line)
		}
		return []leak.Event{s.exchange(a, b, s.hours(first))}
	}
	for _, at := range places[:2] {
		if _, _, ok := s.jumped(at, maybeSD, test); ok {
			test.Wait(s.hours(len(s.Past)-1) + swapSettles)
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

// exchange notes a swap at an hour, or that the two are back.
func (s *State) exchange(a, b int, onset float64) leak.Event {
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

// leap is by how much a line changed at the place of a swap, in ln C, and where it had stood; ok
// is false if it was not read there, or is out of the test.
type leap struct {
	by, was float64
	uneven  float64 // how much it changed before or after
	after   float64 // slots
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
	last := len(s.Past) - at.within - at.after // of before
	if last < leastBefore {
		return leap{}
	}
	first := max(last-slotsBefore, 0)
	var earlier, later [slotsBefore]float32
	before, after := s.read(earlier[:0], line, first, last-first), s.read(later[:0], line, len(s.Past)-at.after, at.after)
	if len(before) < leastBefore || len(after) < at.after {
		return leap{}
	}
	was := median(before)
	uneven := max(math.Abs(float64(after[0]-after[len(after)-1])), math.Abs(float64(before[len(before)-1])-was))
	return leap{median(after) - was, was, uneven, float64(at.after) - 1 + at.share, true}
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

// exchanged reports whether two lines took each other's level at once, by leaps of so
// many standard deviations. slack is by how much they may have changed together.
func (s *State) exchanged(a, b int, one, other *leap, surely, slack float64, test *leak.State) bool {
	by := (one.by - other.by) / 2
	if one.by*other.by >= 0 || math.Abs(by) <= leastSwap {
		return false
	}
	noise, others := s.noise(a, test), s.noise(b, test)
	part := math.Sqrt(1.0/slotsBefore + 1/one.after)
	sd := math.Hypot(noise, others) * part // of the sum of the leaps
	due := other.was - one.was
	return math.Abs(by) > surely*sd/2 && math.Abs(one.by) > eachSD*noise*part && math.Abs(other.by) > eachSD*others*part &&
		one.uneven < max(math.Abs(by)/2, math.Sqrt2*noise) && other.uneven < max(math.Abs(by)/2, math.Sqrt2*others) &&
		math.Abs(one.by+other.by) < likeSD*sd+slack &&
		(slack > 0 || min(math.Abs(one.by), math.Abs(other.by)) > evenly*max(math.Abs(one.by), math.Abs(other.by))) &&
		math.Abs(by-due) < min(likeSD*sd+gainLn, max(math.Abs(by)/2, gainLn))
}
