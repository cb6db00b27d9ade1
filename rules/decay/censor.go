package decay

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// beyond returns the value and variance that stand, at now, for a reading that is
// only known to lie below a limit (sign 1) or above it (sign −1), with noise sd:
// those of the Newton step on the normal log likelihood of that event (tobit
// regression).
func beyond(now, limit, sign, sd float64) (aim, variance float64) {
	a := sign * (limit - now) / sd
	hazard, weight := -a, 1.0
	if a > -8 {
		hazard = distuv.UnitNormal.Prob(a) / distuv.UnitNormal.CDF(a)
		weight = max(hazard*(hazard+a), 1e-9)
	}
	return now - sign*sd*hazard/weight, sd * sd / weight
}

// overAll reports whether all readings of an hour lay at the top of the range.
func overAll(sights []sight) bool {
	for i := range sights {
		if o := &sights[i]; o.n > 0 || o.below > 0 {
			return false
		}
	}
	return len(sights) > 0
}

// over is how far the stack was above the range in an hour in which all lines were.
type over struct {
	hour  int
	first bool      // of a stretch of such hours
	start float64   // ln, at the curve in hand
	by    []float64 // for a difference at each knot
	root  float64   // over its standard deviation
}

// look notes how far the stack was above the range at the states x of an hour, where
// that is one in which all lines were, and the first or last of them or at a knot.
func (k *knots) look(m *model, h int, x *[states]float64) {
	if !m.exact || !overAll(m.sights[h]) {
		return
	}
	first := h == 0 || !overAll(m.sights[h-1])
	last := h == len(m.sights)-1 || !overAll(m.sights[h+1])
	if _, knot := slices.BinarySearch(k.hours, h); !first && !last && !knot {
		return
	}
	level := math.Inf(-1) // of the stack, that the line needs which shows least
	for i := range m.sights[h] {
		l := m.sights[h][i].line
		mean, _, _ := m.dev[l].seen(m.feed[h])
		level = max(level, math.Log(max(m.lines[l].Range, leastPPM))-mean)
	}
	k.over = append(k.over, over{hour: h, first: first, start: m.curve[h] + m.hops[h].sees(x) - level, root: m.hops[h].root})
}

// lookBy notes what a line that is tent in an hour adds to that, with its states x.
func (k *knots) lookBy(m *model, h int, tent float64, x *[states]float64) {
	i, found := slices.BinarySearchFunc(k.over, h, func(o over, h int) int { return o.hour - h })
	if found {
		o := &k.over[i]
		o.by = append(o.by, tent-m.hops[h].sees(x))
	}
}

// above is the log likelihood of the hours in which all lines were above their range, for a
// difference at the knots. The hours of one stretch are not independent, since the misfit hardly
// changes from one to the next, so only the least likely hour of each stretch counts.
func (k *knots) above(diff []float64) float64 {
	if len(k.over) == 0 {
		return 0
	}
	ll, least := 0.0, math.Inf(1)
	for i := range k.over {
		o := &k.over[i]
		if o.first {
			ll, least = ll+lnNormal(least), math.Inf(1)
		}
		z := o.start
		for j, by := range o.by {
			z += by * diff[j]
		}
		least = min(least, z*o.root)
	}
	return ll + lnNormal(least)
}

// lnNormal is ln of the standard normal distribution function.
func lnNormal(z float64) float64 {
	if z < -30 {
		return -z * z / 2
	}
	return math.Log(math.Erfc(-z/math.Sqrt2) / 2)
}
