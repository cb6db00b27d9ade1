package decay

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// Figures of the refit.
const (
	warmRounds  = 2  // rounds of weights from an earlier fit
	coldRounds  = 6  // and from nothing
	coldEvery   = 24 // every so many refits the fit also starts anew
	sizeSteeper = 3  // the priors of sizes fall off so much faster above their middle
	pathPoints  = 96 // at most so many steps are kept of the path
)

// sizes that are tried, and what is thought of the logs of sizes beforehand.
var (
	firstSize = size{Noise: 0.025, Swing: 0.012, Gust: 0.2, Slow: 0.1}
	sizeTries = [4][]float64{
		{0.007, 0.01, 0.014, 0.02, 0.028, 0.04, 0.056},
		{0.001, 0.002, 0.004, 0.008, 0.016, 0.03, 0.06},
		{0.003, 0.01, 0.03, 0.06, 0.12, 0.2, 0.3, 0.45, 0.7},
		{0.003, 0.01, 0.02, 0.04, 0.08, 0.16, 0.3},
	}
	sizePrior = [4]normal{{math.Log(0.025), 0.6}, {math.Log(0.012), 1.2}, {math.Log(0.25), 1.2}, {math.Log(0.06), 1.2}}
)

func (z *size) all() [4]*float64 { return [4]*float64{&z.Noise, &z.Swing, &z.Gust, &z.Slow} }

// Refit fits everything observed so far: the mode of the posterior, and draws from
// the posterior around it, with the robust weights and the sizes of the misfit found
// again. The caller calls it once an hour, or when a correction came in. Where the
// sums come to nothing (hostile readings) the fit before it stays.
func (s *State) Refit() {
	m := newModel(s)
	x, cost := s.search(m)
	if x == nil || math.IsNaN(cost) {
		return
	}
	m.suspectChange(x)
	if x, _ = m.mode(x, 1); x == nil {
		return
	}
	tries := 1
	if s.Fit == nil {
		tries = 2
	}
	for range tries {
		which := []int{s.refits() % 4, (s.refits() + 2) % 4}
		if s.Fit == nil {
			which = []int{0, 1, 2, 3}
		}
		m.chooseSizes(x, which)
		x, _ = m.mode(x, 1)
		if x == nil {
			return
		}
	}
	if f := m.posterior(x, s.Fit); f != nil {
		f.Refits = s.refits() + 1
		s.Fit = f
	}
}

func (s *State) refits() int {
	if s.Fit == nil {
		return 0
	}
	return s.Fit.Refits
}

// search finds the mode from the fit before, and when there is none or it is time
// from several starts; it returns the parameters and their cost.
func (s *State) search(m *model) (best []float64, cost float64) {
	cost = math.Inf(1)
	try := func(x []float64, rounds int) {
		m.placed = false
		if x, c := m.mode(x, rounds); c < cost {
			best, cost = x, c
		}
	}
	if f := s.Fit; f != nil {
		m.size = f.Size
		try(f.X, warmRounds)
	}
	if best == nil || s.Fit.Refits%coldEvery == coldEvery-1 {
		for _, loss := range []float64{0.12, 0.4, 1.2} {
			m.placed = false
			x := m.coldStart(loss)
			for _, m.soft = range []float64{0.5, 0.15, 0.05} {
				m.placed = false
				if to, _ := m.mode(x, 2); to != nil {
					x = to
				}
			}
			m.soft = 0
			try(x, coldRounds)
		}
		if best != nil { // the last start need not have been the best: its path is not
			m.placed = false
			best, cost = m.mode(best, 2)
		}
	}
	return best, cost
}

// coldStart is the priors' means with a given loss, and a yield that fits the
// highest reading where the dose does not tell it.
func (m *model) coldStart(loss float64) []float64 {
	x := make([]float64, len(m.prior))
	for j, p := range m.prior {
		x[j] = p.mean
	}
	x[inLoss], x[inSorb] = math.Log(loss), priorSorbSD/2
	if m.prior[inYield].sd > 2*priorYieldSD {
		top := 0.0
		for _, os := range m.sights {
			for i := range os {
				top = max(top, os[i].ppm)
			}
		}
		if top > leastPPM {
			x[inYield] = math.Log(top * (1.2 + loss))
		}
	}
	return x
}

// mode alternates weights and least squares from x; the cost is twice the negative
// log posterior, up to a constant.
func (m *model) mode(x []float64, rounds int) ([]float64, float64) {
	x, n := copied(x), m.seen()
	cost := math.NaN()
	for range rounds {
		m.place(x)
		ll := m.pool(true)
		_, logDet := m.track(m.suspect.Open)
		s, _ := leastSquares(x, n+len(x), 8, 1e-4, m.residuals)
		if !allFinite(s.x) {
			return nil, math.NaN()
		}
		still := m.placed
		for j := range x {
			still = still && math.Abs(s.x[j]-x[j]) < 1e-4
		}
		x, cost = s.x, s.rss+logDet-2*ll
		m.follow(x)
		if still {
			break
		}
	}
	return x, cost
}

// follow makes the path that of the curve at x with the misfit.
func (m *model) follow(x []float64) {
	m.lnCurve(x, m.curve)
	out := make([]float64, m.seen())
	m.whiten(m.residual, out, jumpMean, func(h int, s *[states]float64) {
		m.path[h] = m.curve[h] + s[atOffset] + s[atSwing] + m.hops[h].feed*s[atFeed]
		m.pathVar[h] = 0
		if p := &m.hops[h]; p.seen {
			m.pathVar[h] = 1 / (p.root * p.root)
		}
	})
	m.placed = true
}

// residual is what the stack showed less the curve in hand, in ln, by hour.
func (m *model) residual(h int) float64 { return m.pooled[h].ln - m.curve[h] }

// chooseSizes moves the sizes of the misfit, one at a time, to where the readings are
// most likely (a Laplace approximation of the evidence, with the weights kept).
func (m *model) chooseSizes(x []float64, which []int) {
	best := m.evidence(x)
	for _, k := range which {
		p := m.size.all()[k]
		here := nearest(sizeTries[k], *p)
		for _, side := range []int{-1, 1} {
			moved := false
			for next := here + side; next >= 0 && next < len(sizeTries[k]); next += side {
				old := *p
				*p = sizeTries[k][next]
				e := m.evidence(x)
				if !(e > best) {
					*p = old
					break
				}
				best, moved = e, true
			}
			if moved {
				break
			}
		}
	}
	m.pool(false)
	m.track(m.suspect.Open)
}

func nearest(list []float64, x float64) int {
	at := 0
	for i, v := range list {
		if math.Abs(math.Log(v/x)) < math.Abs(math.Log(list[at]/x)) {
			at = i
		}
	}
	return at
}

// evidence is the log likelihood of the readings at the sizes in hand with the
// parameters integrated out, up to a constant.
func (m *model) evidence(x []float64) float64 {
	ll := m.pool(false)
	_, logDet := m.track(m.suspect.Open)
	n, p := m.seen(), len(x)
	r, jac := make([]float64, n+p), make([]float64, (n+p)*p)
	m.residuals(x, r, jac)
	normal, grad := mat.NewSymDense(p, nil), make([]float64, p)
	normalEquations(r, jac, normal, grad)
	var chol mat.Cholesky
	if !chol.Factorize(normal) {
		return math.Inf(-1)
	}
	step := mat.NewVecDense(p, nil)
	if err := chol.SolveVecTo(step, mat.NewVecDense(p, grad)); err != nil && !nearSingular(err) {
		return math.Inf(-1)
	}
	gain := 0.0
	for j, g := range grad {
		gain += g * step.AtVec(j)
	}
	z := 0.0
	for k, v := range m.size.all() {
		d := (math.Log(*v) - sizePrior[k].mean) / sizePrior[k].sd
		if d > 0 {
			d *= sizeSteeper
		}
		z += d * d
	}
	return ll - (sumSquares(r)-gain+logDet+chol.LogDet()+z)/2
}
