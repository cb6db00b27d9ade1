package decay

import (
	"math"
	"sort"
)

// hourDays is the step of the fit's grid; hour i is seen at its middle.
const hourDays = 1.0 / 24

// sight is what one line showed in one hour.
type sight struct {
	line         int
	ln           float64 // of the mean of the readings with a value
	ppm          float64 // that mean
	days         float64 // mean time
	n            float64 // readings with a value
	below, above float64 // readings below the detection limit, at the top of the range
	weight       float64 // 1, less for what looks like a spike
}

// leastPPM is the concentration below which ln C is not looked at.
const leastPPM = 1.0

// gather turns the bins from one hour until another into sights, by hour.
func (s *State) gather(from, till int) [][]sight {
	hours := 0
	for _, bs := range s.Bins {
		if n := len(bs); n > 0 {
			hours = max(hours, int(float64(bs[n-1].at)*tickHours)+1)
		}
	}
	hours = min(hours, till)
	out, room := make([][]sight, hours), make([]sight, max(hours-from, 0)*len(s.Bins))
	for h := from; h < hours; h++ {
		out[h] = room[(h-from)*len(s.Bins):][:0:len(s.Bins)]
	}
	for line, bs := range s.Bins {
		bend := s.Setup.Lines[line].bend()
		for i := sort.Search(len(bs), func(i int) bool { return int(float64(bs[i].at)*tickHours) >= from }); i < len(bs); {
			h := int(float64(bs[i].at) * tickHours)
			if h >= hours {
				break
			}
			j := i + 1
			for j < len(bs) && int(float64(bs[j].at)*tickHours) == h {
				j++
			}
			b := bs[i]
			if j > i+1 {
				b, _ = bs[i:j].pool(bend)
			}
			i = j
			b = b.withoutStrays(s.Setup.Lines[line])
			if b.count() > 0 {
				out[h] = append(out[h], sight{line: line, ppm: float64(b.ppm), ln: math.Log(max(float64(b.ppm), leastPPM)), days: (float64(b.at) + 0.5) * tickHours / 24,
					n: float64(b.weight), below: float64(b.below), above: float64(b.above), weight: 1})
			}
		}
	}
	for h := from; h < hours; h++ {
		out[h] = s.withoutFailed(out[h])
	}
	return out
}

// farAbove decides whether an instrument at the top of its range has failed there: it has if that
// top is so many times what the other lines show. Lines of a stack that truly differ lie nearer
// to each other once gas has mixed (from memory).
const farAbove = 2.0

// withoutFailed leaves out of an hour the lines at the top of their range if as many other lines,
// or more, read far below that. Readings that all lie at a limit have no spread by which they
// could be known as wild, and would pull the whole stack up.
func (s *State) withoutFailed(hour []sight) []sight {
	most, within, above := 0.0, 0, 0
	for i := range hour {
		if o := &hour[i]; o.above > 0 {
			above++
		} else if o.n > 0 {
			most, within = max(most, o.ppm), within+1
		}
	}
	if above == 0 || above > within {
		return hour
	}
	kept := hour[:0]
	for _, o := range hour {
		if o.above > 0 && s.Setup.Lines[o.line].Range > farAbove*most {
			o.above = 0
		}
		if o.n+o.below+o.above > 0 {
			kept = append(kept, o)
		}
	}
	return kept
}

// withoutStrays leaves out the few readings of an hour that lay beyond a limit while
// the others were far from it, or far from it while the others lay beyond: spikes.
func (b bin) withoutStrays(l Line) bin {
	if float64(b.ppm) < 0.9*l.Range {
		b.weight, b.above = minority(b.weight, b.above)
	}
	if float64(b.ppm) > 3*max(l.DetectionLimit, leastPPM) {
		b.weight, b.below = minority(b.weight, b.below)
	}
	return b
}

// minority leaves out the fewer of two kinds of readings where they are at most half
// as many.
func minority(a, b float32) (float32, float32) {
	switch {
	case a >= 2*b:
		return a, 0
	case b >= 2*a:
		return 0, b
	}
	return a, b
}
