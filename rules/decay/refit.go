package decay

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// Figures of the refit.
const (
	lineFactorSD  = 0.12 // of the log factor of a line, before the lines have spoken
	factorPrior   = 4.0  // lines that this counts for
	firstLossSD   = 0.04 // per day, of the slow error of the loss rate
	leastReadings = 3    // bins, before anything is said
	leastSpan     = 1.0  // hours from the first to the last of them
	warmRounds    = 2    // rounds of weights from an earlier fit
	coldRounds    = 6    // and from nothing
	coldEvery     = 24   // every so many refits the fit also starts anew
	pathDays      = 0.125
	pathPoints    = 96 // at most so many steps are kept of the misfit's path
	sizeEvery     = 6  // and looks again for the size of the slow error
)

// lossSDs are the sizes of the slow error of the loss rate that are tried, per
// day; lossSDPrior is what is thought of ln of it beforehand.
var lossSDs = [...]float64{0.01, 0.02, 0.04, 0.08, 0.16, 0.32, 0.64}

var lossSDPrior = normal{math.Log(0.03), 0.7}

// fit is a posterior: normal in the parameters, and normal in the misfit's
// states at the last reading given the parameters.
type fit struct {
	X        []float64 // parameters
	Cov      []float64 // of the parameters: the lower triangle by rows
	States   []float64 // mean of the misfit at X
	Move     []float64 // by parameter and state: how the mean moves with the parameter
	StateCov []float64 // the lower triangle by rows
	Days     float64   // time of the states
	Path     []float64 // what the lines had in common of the misfit so far, at equal steps
	PathStep float64   // days
	LossSD   float64   // per day
	FactorSD float64   // of the log factors of the lines
	Refits   int       // so far
}

// variance is that of parameter j.
func (f *fit) variance(j int) float64 { return f.Cov[j*(j+1)/2+j] }

// trace notes what the filter thinks the lines have in common at an observation.
func (f *fit) trace(k *filter, _ *observation, _ float64) {
	at, last := int(k.at/f.PathStep), 0.0
	if n := len(f.Path); n > 0 {
		last = f.Path[n-1]
	}
	for len(f.Path) <= at {
		f.Path = append(f.Path, last) // a gap keeps what was before it
	}
	f.Path[at] = -spread(k.at)*k.mean[atU] - k.mean[atZ]
}

// past interpolates the path at days.
func (f *fit) past(days float64) float64 {
	if len(f.Path) == 0 {
		return 0
	}
	x := min(max(days/f.PathStep-0.5, 0), float64(len(f.Path)-1))
	i := min(int(x), max(len(f.Path)-2, 0))
	next := min(i+1, len(f.Path)-1)
	return f.Path[i] + (x-float64(i))*(f.Path[next]-f.Path[i])
}

// Refit fits everything observed so far: the mode of the posterior and its
// curvature (Laplace's approximation), with the robust weights found again. The
// caller calls it once an hour, or when a correction came in. Where the sums
// come to nothing (hostile readings) the fit before it stays.
func (s *State) Refit() {
	if !s.enough() {
		return
	}
	m := newModel(s)
	best, cost := s.search(m)
	if best == nil || math.IsNaN(cost) {
		return
	}
	if s.Fit == nil || s.Fit.Refits%sizeEvery == sizeEvery-1 {
		m.chooseLossSD(best)
	}
	if f := m.posterior(best); f != nil {
		f.FactorSD = m.factorSD(f)
		if s.Fit != nil {
			f.Refits = s.Fit.Refits + 1
		}
		s.Fit = f
	}
}

// enough tells whether there are readings to speak from.
func (s *State) enough() bool {
	n, first, last := 0, math.Inf(1), math.Inf(-1)
	for _, bs := range s.Bins {
		n += len(bs)
		if len(bs) > 0 {
			first, last = min(first, float64(bs[0].at)), max(last, float64(bs[len(bs)-1].at))
		}
	}
	return n >= leastReadings && (last-first)*tickHours >= leastSpan
}

// search finds the mode from the fit before, and when there is none or it is
// time from several starts; it returns the parameters and their cost.
func (s *State) search(m *model) (best []float64, cost float64) {
	cost = math.Inf(1)
	try := func(x []float64, rounds int) {
		if x, c := m.mode(x, rounds); c < cost {
			best, cost = x, c
		}
	}
	if s.Fit != nil {
		m.lossSD = s.Fit.LossSD
		try(s.Fit.X, warmRounds)
	}
	if best == nil || s.Fit.Refits%coldEvery == coldEvery-1 {
		for _, loss := range []float64{0.12, 0.4, 1.2} {
			try(m.coldStart(s, loss), coldRounds)
		}
	}
	if best != nil {
		m.reweigh(best)
	}
	return best, cost
}

// coldStart is the priors' means with a given loss, and a yield that fits the
// highest reading where the dose does not tell it.
func (m *model) coldStart(s *State, loss float64) []float64 {
	x := make([]float64, len(m.prior))
	for j, p := range m.prior {
		x[j] = p.mean
	}
	x[inLoss] = math.Log(loss)
	if m.prior[inYield].sd > 2*priorYieldSD {
		top := 1.0
		for _, bs := range s.Bins {
			for _, b := range bs {
				top = max(top, float64(b.ppm))
			}
		}
		x[inYield] = math.Log(top * (1.2 + loss))
	}
	return x
}

// mode alternates weights and least squares from x.
func (m *model) mode(x []float64, rounds int) ([]float64, float64) {
	x = append([]float64(nil), x...)
	for i := range m.obs {
		m.obs[i].ratio = 1
	}
	for range rounds {
		if c := m.reweigh(x); math.IsNaN(c) {
			return nil, c
		}
		s, _ := leastSquares(x, len(m.obs)+len(x), 4, 1e-4, m.residuals)
		if !allFinite(s.x) {
			return nil, math.NaN()
		}
		still := true
		for j := range x {
			still = still && math.Abs(s.x[j]-x[j]) < 1e-4
		}
		x = s.x
		if still {
			break
		}
	}
	return x, m.reweigh(x)
}

// chooseLossSD takes the size of the slow error that makes the readings most
// likely (a Laplace approximation of the evidence, with the weights kept), one
// step of the list at a time.
func (m *model) chooseLossSD(x []float64) {
	here := 0
	for i, sd := range lossSDs {
		if math.Abs(sd-m.lossSD) < math.Abs(lossSDs[here]-m.lossSD) {
			here = i
		}
	}
	best := m.evidence(x, lossSDs[here])
	for _, side := range []int{-1, 1} {
		for next := here + side; next >= 0 && next < len(lossSDs); next += side {
			e := m.evidence(x, lossSDs[next])
			if !(e > best) {
				break
			}
			here, best = next, e
		}
	}
	m.lossSD = lossSDs[here]
}

// evidence is the log of the likelihood of the readings with the parameters
// integrated out, up to a constant.
func (m *model) evidence(x []float64, lossSD float64) float64 {
	m.lossSD = lossSD
	n, p := len(m.obs), len(x)
	s, err := leastSquares(x, n+p, 1, 1e-5, m.residuals)
	if err != nil {
		return math.Inf(-1)
	}
	f := m.pass(s.x, make([]float64, n), nil, nil)
	var chol mat.Cholesky
	if !chol.Factorize(s.cov) {
		return math.Inf(-1)
	}
	z := (math.Log(lossSD) - lossSDPrior.mean) / lossSDPrior.sd
	return -(s.rss + f.logDet - chol.LogDet() + z*z) / 2
}

// posterior ends the search at x and describes what is known there; nil where
// the sums fail.
func (m *model) posterior(x []float64) *fit {
	n, p := len(m.obs), len(x)
	s, err := leastSquares(x, n+p, 4, 1e-4, m.residuals)
	if err != nil {
		return nil
	}
	r, jac := make([]float64, n), make([]float64, n*p)
	f := &fit{X: s.x, LossSD: m.lossSD, PathStep: max(pathDays, m.days[len(m.days)-1]/pathPoints)}
	k := m.pass(s.x, r, jac, f.trace)
	d := k.dim()
	f.Days, f.StateCov = k.at, triangle(k.cov, d)
	for i := range p {
		for j := range i + 1 {
			f.Cov = append(f.Cov, s.cov.At(i, j))
		}
	}
	for i, v := range k.mean { // a residual is model − reading: the states have the other sign
		if i < d {
			f.States = append(f.States, -v)
		} else {
			f.Move = append(f.Move, -v)
		}
	}
	if !allFinite(f.X) || !allFinite(f.Cov) || !allFinite(f.States) || !allFinite(f.Move) || !allFinite(f.StateCov) || !allFinite(f.Path) {
		return nil
	}
	return f
}

// factorSD is what the lines' factors say of their own spread, together with the
// figure that stands before they spoke.
func (m *model) factorSD(f *fit) float64 {
	sum := factorPrior * lineFactorSD * lineFactorSD
	for l := range m.bend {
		j := m.factorAt(l)
		sum += f.X[j]*f.X[j] + f.variance(j)
	}
	return math.Sqrt(sum / (factorPrior + float64(len(m.bend))))
}
