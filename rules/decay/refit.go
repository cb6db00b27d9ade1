package decay

import (
	"math"
)

// Figures of the refit.
const (
	warmRounds = 2    // rounds of weights from an earlier fit
	coldRounds = 6    // and from nothing
	coldEvery  = 24   // every so many refits the fit also starts anew
	pathPoints = 96   // at most so many steps are kept of the path
	fitFall    = 0.01 // of twice the negative log posterior: a tenth of a standard deviation on the way is near enough
)

// Refit fits everything observed so far: the mode of the posterior, and draws from
// the posterior around it, with the robust weights and the sizes of the misfit found
// again; [State.Update] does it only where the posterior cannot run on. Where the
// sums come to nothing (hostile readings) the fit before it stays.
func (s *State) Refit() { s.refit(maxHours + 1) }

// refit is Refit with the hours before one.
func (s *State) refit(till int) {
	s.Late = false
	m := newModel(s, till)
	x, cost := s.search(m)
	if x == nil || math.IsNaN(cost) {
		return
	}
	was := m.suspect.Open
	m.suspectChange(x)
	if s.Fit == nil || m.suspect.Open != was {
		if x, _ = m.mode(x, 1); x == nil {
			return
		}
	}
	tries := 1
	if s.Fit == nil {
		tries = 2
	}
	for range tries {
		which := []int{s.refits() % 4, (s.refits() + 2) % 4}
		if s.Fit == nil || s.Fit.Run > 0 {
			which = []int{0, 1, 2, 3}
		}
		was := m.size
		m.chooseSizes(x, which)
		if m.size == was {
			break
		}
		if x, _ = m.mode(x, 1); x == nil {
			return
		}
	}
	if f := m.posterior(x, s.Fit); f != nil {
		f.Refits = s.refits() + 1
		f.keepSizes(s.Fit, len(m.sights))
		f.weighRises(m)
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
		s, _ := leastSquares(x, n+len(x), 8, 1e-4, fitFall, m.residuals)
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
	m.lnCurve(x)
	m.whiten(make([]float64, m.seen()), func(_, h int, s *[states]float64) {
		p := &m.hops[h]
		m.path[h], m.pathVar[h] = m.curve[h]+p.sees(s), 0
		if p.seen {
			m.pathVar[h] = 1 / (p.root * p.root)
		}
	})
	m.placed = true
}
