package main

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/mat"

	"undersheet/cmd/bench/scenario"
)

// The Bayesian Cramér–Rao bound (van Trees 1968, Detection, Estimation and
// Modulation Theory I, 2.4.3): no estimate of g(θ) has a mean square error below
// E[∇g]ᵀ (E[F(θ)] + P)⁻¹ E[∇g], where F is Fisher's information of the readings and
// P the precision of the prior, both expectations over the prior. Here θ is (ln
// yield, ln release, ln loss, lag, sorption, permanent sorption, ln return rate of what
// is sorbed), g is ln C at the end, and readings are ln C with white noise.
//
// The clean family gives every stack one return rate, one gain (none) and no ramp. The
// bound is told of all three; the fit is told of none. So it is drawn twice: with the
// return rate known, which is the bound of what the family draws, and with it as little
// known as the fit knows it.

// shape is the clean family's curve: first-order release after a lag into a gas
// that is lost for good and for a time.
type shape struct{ lnYield, lnRelease, lnLoss, lagDays, sorb, bind, lnFree float64 }

// unknowns is the number of a shape's parameters.
const unknowns = 7

// Standard deviations of ln of the return rate: known, and as the fit's prior has it.
const (
	freeKnown   = 1e-4
	freeUnknown = 0.5
)

// with returns the shape with parameter j moved by h.
func (s shape) with(j int, h float64) shape {
	*[]*float64{&s.lnYield, &s.lnRelease, &s.lnLoss, &s.lagDays, &s.sorb, &s.bind, &s.lnFree}[j] += h
	return s
}

// lnC is ln of the concentration in ppm at days; −∞ before gas comes. The gas and
// what is sorbed are two compartments with rates λ (Wagner 1975, Fundamentals of
// Clinical Pharmacokinetics, ch. 2), the dose a first-order input.
func (s shape) lnC(days float64) float64 {
	t := days - s.lagDays
	if t <= 0 {
		return math.Inf(-1)
	}
	r, k, f := math.Exp(s.lnRelease), math.Exp(s.lnLoss)+s.bind, math.Exp(s.lnFree)
	sum := k + s.sorb + f
	root := math.Sqrt(max(sum*sum-4*k*f, 1e-18))
	a, b := (sum+root)/2, (sum-root)/2
	term := func(λ float64) float64 {
		if math.Abs(r-λ) < 1e-7 {
			return r * t * math.Exp(-r*t)
		}
		return r * (math.Exp(-λ*t) - math.Exp(-r*t)) / (r - λ)
	}
	return s.lnYield + math.Log(((a-f)*term(a)+(f-b)*term(b))/(a-b))
}

// slopes are the derivatives of lnC by the parameters.
func (s shape) slopes(days float64) (d [unknowns]float64) {
	for j := range d {
		const h = 1e-5
		d[j] = (s.with(j, h).lnC(days) - s.with(j, -h).lnC(days)) / (2 * h)
	}
	return d
}

// shapeOf is the curve of a clean record.
func shapeOf(t *scenario.Truth) shape {
	return shape{math.Log(t.Yield), math.Log(t.Release), math.Log(t.Loss - t.Permanent), t.Lag / 24, t.Sorb, t.Permanent, math.Log(t.Free)}
}

// inform adds Fisher's information of lines of readings every hours until, whose ln has
// the standard deviation sd. Readings below 1 ppm say nothing.
func (s shape) inform(f *mat.SymDense, until, every, sd float64, lines int) {
	for h := every; h <= until+1e-9; h += every {
		if s.lnC(h/24-2e-5) < 0 {
			continue
		}
		d := s.slopes(h / 24)
		f.SymRankOne(f, float64(lines)/(sd*sd), mat.NewVecDense(unknowns, d[:]))
	}
}

// precision is the prior's, with the standard deviation of ln of the return rate.
func precision(freeSD float64) *mat.SymDense {
	p := mat.NewSymDense(unknowns, nil)
	for j, sd := range []float64{scenario.CleanYieldSD, scenario.CleanReleaseSD, scenario.CleanLossSD, scenario.CleanLagSD, scenario.CleanSorbSD, scenario.CleanBindSD, freeSD} {
		p.SetSym(j, j, 1/(sd*sd))
	}
	return p
}

// deviation is the standard deviation of what has gradient g under information f.
func deviation(f *mat.SymDense, g []float64) float64 {
	var chol mat.Cholesky
	if !chol.Factorize(f) {
		return math.NaN()
	}
	v, x := mat.NewVecDense(len(g), g), mat.NewVecDense(len(g), nil)
	if chol.SolveVecTo(x, v) != nil {
		return math.NaN()
	}
	return math.Sqrt(mat.Dot(v, x))
}

// localBound is the bound of one record at its truth: its own information and the
// prior's.
func localBound(t *scenario.Truth, until, freeSD float64) float64 {
	f, s := precision(freeSD), shapeOf(t)
	s.inform(f, until, scenario.CleanEvery, scenario.CleanNoise, scenario.CleanLines)
	g := s.slopes(scenario.Hours / 24)
	return deviation(f, g[:])
}

// bound is the bound over the prior at a time of forecast.
func bound(until float64, draws int) float64 {
	sum, grad := mat.NewSymDense(unknowns, nil), make([]float64, unknowns)
	rnd := rand.New(rand.NewPCG(1, 0x626f756e64))
	for range draws {
		s := shapeOf(scenario.CleanTruth(rnd))
		f := mat.NewSymDense(unknowns, nil)
		s.inform(f, until, scenario.CleanEvery, scenario.CleanNoise, scenario.CleanLines)
		sum.AddSym(sum, f)
		for j, d := range s.slopes(scenario.Hours / 24) {
			grad[j] += d / float64(draws)
		}
	}
	sum.ScaleSym(1/float64(draws), sum)
	sum.AddSym(sum, precision(freeKnown))
	return deviation(sum, grad)
}
