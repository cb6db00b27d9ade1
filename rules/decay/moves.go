package decay

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/floats"
)

// leap lets every draw try to go anywhere in the normal that fits the other half.
func (m *model) leap(k *knots, e []draw, rnd *rand.Rand) {
	half, p, n := len(e)/2, len(e[0].x), len(k.hours)
	trial, z := newDraws(1, p, n)[0], make([]float64, p)
	for _, own := range []int{0, half} {
		q, ok := normalOf(e[half-own : 2*half-own])
		if !ok {
			continue
		}
		for i := own; i < own+half; i++ {
			for j := range z {
				z[j] = rnd.NormFloat64()
			}
			lq := -floats.Dot(z, z) / 2
			times(q.root, z, trial.x)
			floats.Add(trial.x, q.mean)
			u := rnd.Float64()
			if trial.x[inSorb] < 0 || trial.x[inRamp] < 0 {
				continue
			}
			trial.lp = m.logPosterior(k, trial.x, trial.diff)
			if u < math.Exp(trial.lp-e[i].lp+q.ln(e[i].x, z)-lq) {
				e[i], trial = trial, newDraws(1, p, n)[0]
			}
		}
	}
}

// step lets every draw try one step, by a difference of two draws of the other half.
func (m *model) step(k *knots, e []draw, rnd *rand.Rand) {
	half, p, n := len(e)/2, len(e[0].x), len(k.hours)
	trial := newDraws(1, p, n)[0]
	usual := 2.38 / math.Sqrt(2*float64(p))
	for i := range e {
		other := 0
		if i < half {
			other = half
		}
		a, b := e[other+rnd.IntN(half)].x, e[other+rnd.IntN(half)].x
		by := usual * (0.5 + 0.7*rnd.Float64())
		if rnd.Float64() < wholeShare {
			by = 1
		}
		for j, x := range e[i].x {
			trial.x[j] = x + by*(a[j]-b[j]) + 1e-3*rnd.NormFloat64()
		}
		fold(trial.x)
		trial.lp = m.logPosterior(k, trial.x, trial.diff)
		if rnd.Float64() < math.Exp(trial.lp-e[i].lp) {
			e[i], trial = trial, newDraws(1, p, n)[0]
		}
	}
}

// cloud is a normal around draws.
type cloud struct{ mean, root []float64 }

// normalOf is the normal with mean and covariance of draws; false where they do not
// differ in every parameter.
func normalOf(e []draw) (cloud, bool) {
	p, n := len(e[0].x), float64(len(e))
	c, cov, off := cloud{mean: make([]float64, p)}, make([]float64, p*p), make([]float64, p)
	for i := range e {
		floats.AddScaled(c.mean, 1/n, e[i].x)
	}
	for i := range e {
		floats.SubTo(off, e[i].x, c.mean)
		for j, v := range off {
			floats.AddScaled(cov[j*p:j*p+p], v/(n-1), off)
		}
	}
	var ok bool
	c.root, ok = lower(cov, p)
	return c, ok
}

// ln is the log density at x, up to a constant; z is room for as many numbers.
func (c *cloud) ln(x, z []float64) float64 {
	floats.SubTo(z, x, c.mean)
	divide(c.root, z, z)
	return -floats.Dot(z, z) / 2
}
