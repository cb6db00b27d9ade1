package decay

import "math"

// ChanceWith is the chance that all lines are at or above endLevel at an hour when
// grams of phosphine are added at another, its own release, lag and losses included.
// False = no fit, or what the grams give is not known (no dose and no gas space).
func (s *State) ChanceWith(grams, at, hours, endLevel float64) (chance float64, ok bool) {
	ratio, known := s.yieldRatio(grams)
	if s.Fit == nil || len(s.Setup.Lines) == 0 || !known || !(at >= 0 && at <= maxHours) || !(hours >= 0 && hours <= maxHours) {
		return 0, false
	}
	told := s.told()
	table := s.draw(hours/24, func(x []float64) float64 {
		w := told.walk(x)
		w.count = 1 // nothing but the first dose, at that hour
		w.charges[0].days += at / 24
		w.charges[0].ppm *= ratio(x)
		return w.to(hours / 24).air
	})
	met := 0.5
	for i := range table[0] {
		all := true
		for _, col := range table {
			all = all && col[i] >= endLevel
		}
		if all {
			met++
		}
	}
	return met / float64(len(table[0])+1), true
}

// yieldRatio returns what grams yield over what the first dose did.
func (s *State) yieldRatio(grams float64) (func(x []float64) float64, bool) {
	if !(grams >= 0) || !finite(grams) {
		return nil, false
	}
	if s.Setup.DoseG > 0 {
		return func([]float64) float64 { return grams / s.Setup.DoseG }, true
	}
	if y := s.Setup.ppmOf(grams); y > 0 {
		return func(x []float64) float64 { return y / exp(x[inYield]) }, true
	}
	return nil, grams == 0
}

// mostTopUp bounds a top-up: so many times the first dose, or g per m³ of gas space
// where the dose is not known. More is a new treatment.
const mostTopUp = 3.0

// TopUp returns the least grams of phosphine that, added at an hour, bring the chance
// that all lines meet endLevel at another hour to want (0.95, say); 0 where nothing is
// needed. False = it cannot be done in that time, or is not known.
func (s *State) TopUp(at, hours, endLevel, want float64) (grams float64, ok bool) {
	most := mostTopUp * s.Setup.DoseG
	if !(most > 0) {
		most = mostTopUp * s.Setup.GasSpaceM3
	}
	chance := func(g float64) float64 {
		c, _ := s.ChanceWith(g, at, hours, endLevel)
		return c
	}
	if low, known := s.Lowest(hours, endLevel); !known || !(want > 0 && want < 1) {
		return 0, false
	} else if low.ChanceMet >= want {
		return 0, true
	}
	if !(most > 0) || chance(most) < want {
		return 0, false
	}
	low, high := 0.0, most
	for range 9 { // to a 500th
		if mid := (low + high) / 2; chance(mid) >= want {
			high = mid
		} else {
			low = mid
		}
	}
	return high, true
}

// LatestTopUp returns the latest hour from now on at which grams still bring the
// chance at hours to want, to the quarter of an hour. False = not even now.
func (s *State) LatestTopUp(grams, now, hours, endLevel, want float64) (at float64, ok bool) {
	works := func(at float64) bool {
		c, known := s.ChanceWith(grams, at, hours, endLevel)
		return known && c >= want
	}
	if !(now >= 0 && now <= hours) || !works(now) {
		return 0, false
	}
	low, high := now, hours
	for high-low > 0.25 {
		if mid := (low + high) / 2; works(mid) {
			low = mid
		} else {
			high = mid
		}
	}
	return low, true
}

// LongestHeld returns the last hour, up to a limit, at which the chance that all lines
// are at or above endLevel is still want: whether a longer exposure, or a longer
// protocol with a lower level, still reaches it. False = not at from.
func (s *State) LongestHeld(from, limit, endLevel, want float64) (hours float64, ok bool) {
	held := func(h float64) bool {
		low, known := s.Lowest(h, endLevel)
		return known && low.ChanceMet >= want
	}
	limit = min(limit, maxHours)
	if !(from <= limit) || !held(from) {
		return 0, false
	}
	hours = from
	for stride := 8.0; stride >= 1; stride /= 2 { // no dip is shorter than a stride
		for hours+stride <= limit && held(hours+stride) {
			hours += stride
		}
	}
	return hours, true
}

// ExpectedCTP returns the expected concentration–time product of each line from one
// hour to another, in ppm·h: the mean of the draws, by the trapezoidal rule over
// steps of at most 2 h. False = no fit.
func (s *State) ExpectedCTP(from, to float64) (perLine []float64, ok bool) {
	if s.Fit == nil || len(s.Setup.Lines) == 0 || !(from >= 0 && to >= from && to <= maxHours) {
		return nil, false
	}
	steps := max(int(math.Ceil((to-from)/2)), 1)
	dt := (to - from) / float64(steps)
	perLine = make([]float64, len(s.Setup.Lines))
	for k := 0; k <= steps; k++ {
		weight := dt
		if k == 0 || k == steps {
			weight /= 2
		}
		for l, col := range s.draw((from+float64(k)*dt)/24, nil) {
			sum := 0.0
			for _, c := range col {
				sum += c
			}
			perLine[l] += weight * sum / float64(len(col))
		}
	}
	return perLine, true
}
