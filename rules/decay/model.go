package decay

import (
	"math"
	"slices"
)

// Places of the parameters: the logs of yield, release, loss and lag, sorption
// (its sign does not matter), the log of its return and the ramp, then the log yield of each added dose over the first
// and the logs of what each told change does to the loss rate.
const (
	inYield = iota
	inRelease
	inLoss
	inLag
	inSorb
	inFree
	inRamp
	inAdded
)

// model is a stack's readings by the hour, with the curve and the misfit that they
// are held against. The misfit is linear and is looked at around one path.
type model struct {
	told
	lines []Line
	prior []normal
	size  size

	sights    [][]sight // by hour
	suspect   suspect
	grown     int       // hour of the last change of the loss rate that the fit before knew
	swell     float64   // the loss rate since then, over what it was
	settled   []bool    // hours in which the loss rate is taken to have changed, untold
	unsure    []float64 // by hour: variance of ln C: how far the lines are from the course that a change brings
	pooled    []pooled
	pooledFor size        // that pooled was last made for, while sizes are chosen: gusts do not matter to it
	pooledLL  float64     // log likelihood of the deviations then
	dev       []deviation // at the last hour
	views     []view      // of the hour in hand

	path, pathVar       []float64 // ln C of the stack with the misfit
	placed              bool      // path is more than the curve
	feed, inflow, slope []float64 // per day: release/C, all that comes/C, dlnC/dt
	rate                []float64 // by hour: loss per day on the way to it
	exact               bool      // hours above the range are no sights: the draws are weighed by what they say
	soft                float64   // sd that is added to every hour while a start is far off
	hops                []hop
	air, curve          []float64 // ppm and ln C at the parameters in hand
	slopes, slopesAt    []float64 // of what was seen less ln C, by parameter and hour; the parameters they are at
}

// newModel gathers the readings of s.
func newModel(s *State, till int) *model {
	m := modelOf(s, 0, till)
	m.prior = s.priors()
	m.recall(s.Fit)
	return m
}

// modelOf gathers the readings of s from one hour until another, without priors.
func modelOf(s *State, from, till int) *model {
	m := &model{told: s.told(), lines: s.Setup.Lines, size: firstSize}
	m.sights = s.gather(from, till)
	n := len(m.sights)
	m.settled = make([]bool, n)
	m.pooled, m.hops = make([]pooled, n), make([]hop, n)
	for _, p := range []*[]float64{&m.path, &m.pathVar, &m.feed, &m.inflow, &m.slope, &m.air, &m.curve, &m.rate, &m.unsure} {
		*p = make([]float64, n)
	}
	return m
}

// priors lists the priors of all parameters.
func (s *State) priors() []normal {
	p := []normal{
		inYield:   s.Setup.yieldPrior(),
		inRelease: s.Setup.releasePrior(),
		inLoss:    {math.Log(priorLoss), priorLossSD},
		inLag:     s.Setup.lagPrior(),
		inSorb:    s.Setup.sorbPrior(),
		inFree:    s.Setup.freePrior(),
		inRamp:    {priorRampDays, priorRampSD},
	}
	for _, d := range s.Added {
		p = append(p, s.Setup.addedPrior(d))
	}
	for _, c := range s.Changes {
		p = append(p, normal{c.Ln, c.SD})
	}
	return p
}

// exp is e^x kept within numbers that a sum can bear.
func exp(x float64) float64 { return math.Exp(min(max(x, -14), 14)) }

// middle is the time in days at which hour h is seen.
func middle(h int) float64 { return float64(h)*hourDays + hourDays/2 }

// lnCurve makes the curve in hand that of parameters x.
func (m *model) lnCurve(x []float64) {
	w := m.walk(x)
	for h := range m.air {
		m.show(h, w.to(middle(h)))
	}
}

// show makes the gas that of the curve in hand in an hour, after those before.
func (m *model) show(h int, g gas) {
	m.air[h] = max(g.air, leastPPM)
	if h == 0 {
		m.curve[h] = math.Log(m.air[h])
	} else {
		m.curve[h] = m.curve[h-1] + lnRatio(m.air[h], m.air[h-1])
	}
}

// lnRatio is ln a/b: where they are close by the series 2·artanh u = 2·(u + u³/3 + …) of
// u = (a − b)/(a + b), which takes a fraction of the time of a logarithm and is off by
// less than 1e-8 of itself.
func lnRatio(a, b float64) float64 {
	u := (a - b) / (a + b)
	if !(math.Abs(u) < 0.2) {
		return math.Log(a / b)
	}
	q := u * u
	return 2 * (u + u*q*((1./3+q/5)+q*q*(1./7+q/9)))
}

// lnAbove is ln of a concentration in ppm, or of leastPPM where it is below that.
func lnAbove(ppm float64) float64 { return math.Log(max(ppm, leastPPM)) }

// place makes the parameters x those around which the misfit is looked at.
func (m *model) place(x []float64) {
	w := m.walk(x)
	m.unsettle(x)
	for h := range m.curve {
		m.rate[h] = w.loss
		g := w.to(middle(h))
		m.show(h, g)
		if !m.placed {
			m.path[h], m.pathVar[h] = m.curve[h], 0
		}
		m.feed[h], m.inflow[h] = w.renewal(g, m.path[h]-m.curve[h])
		m.slope[h] = 0
		if g.air > leastPPM {
			m.slope[h] = m.inflow[h] - w.loss - w.sorb
		}
		m.hops[h] = m.hopTo(h, hourDays)
	}
	if len(m.hops) > 0 {
		m.hops[0] = hop{slow: 1, gust: 1, swing: 1, stay: 1, feed: m.feed[0]}
	}
}

// residuals is what the least-squares engine minimises: whitened misfits, then
// the priors.
func (m *model) residuals(x, r, jac []float64) {
	p, n := len(x), len(r)-len(x)
	m.lnCurve(x)
	m.whiten(r[:n], nil)
	for j, pr := range m.prior {
		r[n+j] = (x[j] - pr.mean) / pr.sd
	}
	if jac == nil {
		return
	}
	m.lean(x)
	m.whitenLines(make([][states]float64, p), m.slopes, jac, 0, nil)
	for j, pr := range m.prior {
		own := jac[j*(n+p)+n:][:p]
		clear(own)
		own[j] = 1 / pr.sd
	}
}

// lean fills m.slopes at x, of which m.curve must be, where they are not at hand.
func (m *model) lean(x []float64) {
	if slices.Equal(x, m.slopesAt) {
		return
	}
	const step = 1e-4
	m.slopes, m.slopesAt = slices.Grow(m.slopes[:0], len(x)*len(m.air)), append(m.slopesAt[:0], x...)
	up := copied(x)
	for j := range x {
		up[j] += step
		w := m.walk(up)
		up[j] = x[j]
		for h, air := range m.air {
			m.slopes = append(m.slopes, -lnRatio(max(w.to(middle(h)).air, leastPPM), air)/step)
		}
	}
}

// shows reports whether an hour has a sight.
func (m *model) shows(h int) bool {
	return len(m.sights[h]) > 0 && !(m.exact && overAll(m.sights[h]))
}

// seen counts the hours with a sight.
func (m *model) seen() int {
	n := 0
	for h := range m.sights {
		if m.shows(h) {
			n++
		}
	}
	return n
}
