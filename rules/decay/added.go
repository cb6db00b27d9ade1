package decay

import (
	"math"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// AddDose tells that grams of phosphine were added at hours after t = 0; they
// are released on their own from then on. It may be told late, and out of order. The
// fit goes on: what was known of the stack stays known, and the new gas is what its
// grams promise until the next Refit holds it against readings. More doses than are
// told apart count with the one nearest in time.
func (s *State) AddDose(hours, grams float64) {
	if !(hours >= 0 && hours <= maxHours) || !(grams > 0) || !finite(grams) {
		s.Refused++
		return
	}
	d, old := Dose{hours, grams}, s.doseDays()
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
	if s.Fit == nil {
		return
	}
	prior, zs := s.Setup.addedPrior(d), scores(s.Fit.Refits, len(s.Added))
	s.recast(old, func(x []float64, draw int) ([]float64, float64) {
		z := 0.0
		if draw >= 0 {
			z = zs[draw%len(zs)]
		}
		return slices.Insert(x, inAdded+at, prior.mean+prior.sd*z), -z * z / 2
	})
	s.Fit.widen(inAdded+at, prior.sd*prior.sd)
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
// that is fixed but differs from dose to dose.
func scores(refits, doses int) []float64 {
	zs := make([]float64, draws)
	for i, to := range rand.New(rand.NewPCG(seedB, uint64(refits*(maxDoses+1)+doses))).Perm(draws) {
		zs[to] = distuv.UnitNormal.Quantile((float64(i) + 0.5) / draws)
	}
	return zs
}

// recast gives the fit other parameters, those of its mode (draw −1) and of each draw,
// with what their log posterior gains. old are the days of the doses that the fit
// knew. What the stack is known to hold does not change by it: where gas of a dose that
// is told late should be there by now, the misfit gives it back.
func (s *State) recast(old []float64, to func(x []float64, draw int) ([]float64, float64)) {
	if s.Fit == nil {
		return
	}
	f, doses := *s.Fit, s.doseDays()
	f.asked, s.Late = asked{}, true
	p := len(f.X)
	f.X, _ = to(copied(s.Fit.X), -1)
	f.States[atOffset] += s.lnFallen(s.Fit.X, old, f.X, doses)(f.Days)
	gone := s.lnFallen(s.Fit.X, old, f.X, doses)
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
		f.Draws[at+atOffset] += float32(s.lnFallen(was, old, x, doses)(f.Days))
		f.Draws[len(f.Draws)-1] += float32(gain)
	}
	s.Fit = &f
}

// lnFallen is by how much ln of the curve lies lower, by days, at parameters and
// doses than at others; days must be asked for in order.
func (s *State) lnFallen(x, doses, newX, newDoses []float64) func(days float64) float64 {
	a, b := walk(x, s.Setup.SamplingLossPerDay, doses), walk(newX, s.Setup.SamplingLossPerDay, newDoses)
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
