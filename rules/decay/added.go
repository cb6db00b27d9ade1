package decay

import (
	"math"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// AddDose tells that grams of phosphine were added at hours after t = 0, which release their gas
// from then on. Doses may be told late, and out of order. What the fit knows of the stack stays
// known; the new gas is taken to be what its grams promise until the next Refit compares it with
// readings. A dose beyond the most that are told apart counts with the one nearest in time.
func (s *State) AddDose(hours, grams float64) {
	if !(hours >= 0 && hours <= maxHours) || !(grams > 0) || !finite(grams) {
		s.Refused++
		return
	}
	d, old := Dose{hours, grams}, s.told()
	if len(s.Added) == maxDoses {
		at := s.nearestDose(hours)
		one, sum := s.Added[at], s.Added[at].Grams+grams
		s.Added[at] = Dose{one.Hours + (hours-one.Hours)*grams/sum, sum}
		by := s.Setup.addedPrior(s.Added[at]).mean - s.Setup.addedPrior(one).mean
		s.recast(old, func(x []float64, _ int) ([]float64, float64) {
			x[inAdded+at] += by
			return x, 0
		})
		return
	}
	at := 0
	for at < len(s.Added) && s.Added[at].Hours <= hours {
		at++
	}
	s.Added = slices.Insert(s.Added, at, d)
	s.admit(old, inAdded+at, s.Setup.addedPrior(d), seedB)
}

// admit puts a new parameter into the fit at a place, with values drawn from its prior. old is
// what was told before, seed that of the draws.
func (s *State) admit(old told, at int, prior normal, seed uint64) {
	if s.Fit == nil {
		return
	}
	zs := scores(seed, s.Fit.Refits, len(s.Fit.X))
	s.recast(old, func(x []float64, draw int) ([]float64, float64) {
		z := 0.0
		if draw >= 0 {
			z = zs[draw%len(zs)]
		}
		return slices.Insert(x, at, prior.mean+prior.sd*z), -z * z / 2
	})
	s.Fit.widen(at, prior.sd*prior.sd)
}

// nearestDose is the added dose nearest in time.
func (s *State) nearestDose(hours float64) int {
	at := 0
	for i, d := range s.Added {
		if math.Abs(d.Hours-hours) < math.Abs(s.Added[at].Hours-hours) {
			at = i
		}
	}
	return at
}

// scores are as many standard normals as there are draws, evenly spread, in an order
// that is fixed but differs from one new parameter to the next.
func scores(seed uint64, refits, params int) []float64 {
	zs := make([]float64, draws)
	for i, to := range rand.New(rand.NewPCG(seed, uint64(refits*(inAdded+maxDoses+maxChanges)+params))).Perm(draws) {
		zs[to] = distuv.UnitNormal.Quantile((float64(i) + 0.5) / draws)
	}
	return zs
}

// recast gives the fit other parameters: to returns those of its mode (draw −1) or of a draw, and
// by how much their log posterior grows. old is what the fit had been told before. How much gas
// the stack is known to hold stays as it is: if the curve now rises by the gas of a dose that
// was told late, the misfit is lowered by as much.
func (s *State) recast(old told, to func(x []float64, draw int) ([]float64, float64)) {
	if s.Fit == nil {
		return
	}
	f, now := *s.Fit, s.told()
	f.asked, s.Late = asked{}, true
	p := len(f.X)
	f.X, _ = to(copied(s.Fit.X), -1)
	f.States[atOffset] += lnFallen(&old, s.Fit.X, &now, f.X)(f.Days)
	gone := lnFallen(&old, s.Fit.X, &now, f.X)
	f.Path = copied(f.Path)
	for i := range f.Path {
		f.Path[i] += gone((float64(i) + 0.5) * f.PathStep)
	}
	f.Draws = make(numbers, 0, len(s.Fit.Draws)+draws)
	for i, row := 0, p+states+1; i*row < len(s.Fit.Draws); i++ {
		was, rest := make([]float64, p), s.Fit.Draws[i*row+p:i*row+row]
		for j := range was {
			was[j] = float64(s.Fit.Draws[i*row+j])
		}
		x, gain := to(copied(was), i)
		for _, v := range x {
			f.Draws = append(f.Draws, float32(v))
		}
		at := len(f.Draws)
		f.Draws = append(f.Draws, rest...)
		f.Draws[at+atOffset] += float32(lnFallen(&old, was, &now, x)(f.Days))
		f.Draws[len(f.Draws)-1] += float32(gain)
	}
	s.Fit = &f
}

// lnFallen is by how much ln of the curve lies lower, by days, with what is told now
// than with what was before, each at its parameters; days must be asked for in order.
func lnFallen(was *told, x []float64, now *told, newX []float64) func(days float64) float64 {
	a, b := was.walk(x), now.walk(newX)
	return func(days float64) float64 {
		return lnAbove(a.to(days).air) - lnAbove(b.to(days).air)
	}
}

// widen makes room for the parameter that is new at a place, with a variance of its
// own, in what is said of the mode's surroundings.
func (f *fit) widen(at int, variance float64) {
	p := len(f.X)
	old, wide := square(f.Cov, p-1), make([]float64, p*p)
	to := func(i int) int { return i + btoi(i >= at) }
	for i := range p - 1 {
		for j := range p - 1 {
			wide[to(i)*p+to(j)] = old[i*(p-1)+j]
		}
	}
	wide[at*p+at] = variance
	f.Cov = triangle(wide, p)
	f.Move = slices.Insert(copied(f.Move), at*states, make([]float64, states)...)
}

// narrow is the reverse of widen: the parameter at a place is gone.
func (f *fit) narrow(at int) {
	p := len(f.X)
	wide, left := square(f.Cov, p+1), make([]float64, 0, p*p)
	for i := range p + 1 {
		for j := range p + 1 {
			if i != at && j != at {
				left = append(left, wide[i*(p+1)+j])
			}
		}
	}
	f.Cov = triangle(left, p)
	f.Move = slices.Delete(copied(f.Move), at*states, (at+1)*states)
}
