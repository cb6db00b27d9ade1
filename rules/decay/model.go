package decay

import (
	"math"
	"sort"

	"gonum.org/v1/gonum/stat/distuv"
)

// Places of the parameters: the logs of yield, release, loss, lag, mixing time,
// sorption and its return, two coefficients of the daily breathing, then the log yield of
// each added dose over the first, then the log factor of each line.
const (
	inYield = iota
	inRelease
	inLoss
	inLag
	inMix
	inSorb
	inFree
	inSin
	inCos
	inAdded
)

// sort of an observation.
const (
	isValue = iota
	isBelow
	isAbove
)

// observation is one bin as the fit sees it.
type observation struct {
	time, line, sort int
	y                float64 // on the line's stable scale; for a censored one its limit
	noise            float64 // nominal variance of y
	ratio            float64 // of the nominal weight: below 1 for what looks like a spike
	target           float64 // what the fit aims at: y, or for a censored one its expectation
	used             float64 // variance in use
}

// model is the stack's curve with its priors and the readings it is held against.
type model struct {
	days     []float64 // distinct times of the observations
	obs      []observation
	doses    []float64 // days at which the added doses came
	breaks   []float64 // hours at which the loss changed
	bend     []float64 // by line
	prior    []normal
	lossSD   float64
	sampling float64   // per day
	conc     []float64 // by time, at the last parameters
	slope    []float64 // by time and parameter
	rows     []float64 // scratch
}

// newModel gathers the bins of s.
func newModel(s *State) *model {
	m := &model{lossSD: firstLossSD, sampling: s.Setup.SamplingLossPerDay, doses: s.doseDays(), breaks: s.Changes}
	for _, l := range s.Setup.Lines {
		m.bend = append(m.bend, l.bend())
	}
	m.prior = s.priors()
	m.gather(s)
	return m
}

// priors lists the priors of all parameters.
func (s *State) priors() []normal {
	p := []normal{
		inYield:   s.Setup.yieldPrior(),
		inRelease: s.Setup.releasePrior(),
		inLoss:    {math.Log(priorLoss), priorLossSD},
		inLag:     {math.Log(priorLagDays), priorLagSD},
		inMix:     {math.Log(priorMixDays), priorMixSD},
		inSorb:    {math.Log(priorSorb), priorSorbSD},
		inFree:    {math.Log(priorFree), priorFreeSD},
		inSin:     {0, breathingSD},
		inCos:     {0, breathingSD},
	}
	for _, d := range s.Added {
		p = append(p, s.Setup.addedPrior(d))
	}
	sd := lineFactorSD
	if s.Fit != nil && s.Fit.FactorSD > 0 {
		sd = s.Fit.FactorSD
	}
	for range s.Setup.Lines {
		p = append(p, normal{0, sd})
	}
	return p
}

// gather turns the bins into observations in order of time and line.
func (m *model) gather(s *State) {
	for line, bs := range s.Bins {
		l := s.Setup.Lines[line]
		for _, b := range bs {
			tick := int(math.Round(float64(b.at)))
			add := func(sort int, y float64, weight float32) {
				if weight > 0 {
					v := noiseShare * noiseShare / float64(weight)
					m.obs = append(m.obs, observation{time: tick, line: line, sort: sort, y: y, noise: v, ratio: 1})
				}
			}
			add(isValue, stable(float64(b.ppm), m.bend[line]), b.weight)
			add(isBelow, stable(l.DetectionLimit, m.bend[line]), b.below)
			add(isAbove, stable(l.Range, m.bend[line]), b.above)
		}
	}
	sort.SliceStable(m.obs, func(i, j int) bool { return m.obs[i].time < m.obs[j].time })
	last := -1
	for i := range m.obs {
		if t := m.obs[i].time; t != last {
			m.days, last = append(m.days, (float64(t)+0.5)*tickHours/24), t
		}
		m.obs[i].time = len(m.days) - 1
	}
	p := len(m.prior)
	m.conc, m.slope = make([]float64, len(m.days)), make([]float64, len(m.days)*p)
	m.rows = make([]float64, p)
}

// exp is e^x kept within numbers that a sum can bear.
func exp(x float64) float64 { return math.Exp(min(max(x, -14), 14)) }

// kernelOf is the kernel at parameters x, with sampling per day on top of their loss.
func kernelOf(x []float64, sampling float64) kernel {
	r := exp(x[inRelease])
	return newKernel(r, r+exp(-x[inMix]), exp(x[inLoss])+sampling, exp(x[inSorb]), exp(x[inFree]))
}

// breath is the factor of the daily swing, at days.
func breath(x []float64, days float64) float64 {
	sin, cos := math.Sincos(2 * math.Pi * days)
	return exp(x[inSin]*sin + x[inCos]*(cos-1))
}

// at returns the stack's concentration in ppm at parameters x, without the
// factor of a line; q and lag are those of x.
func at(x []float64, q kernel, lag float64, doses []float64, days float64) float64 {
	c := q.at(days - lag)
	for i, d := range doses {
		if days > d+lag {
			c += exp(x[inAdded+i]) * q.at(days-d-lag)
		}
	}
	return c * exp(x[inYield]) * breath(x, days)
}

// curve fills m.conc, and m.slope with its derivatives where asked. The shape
// parameters are differenced, the others have a closed form.
func (m *model) curve(x []float64, slopes bool) {
	q, lag := kernelOf(x, m.sampling), exp(x[inLag])
	for i, t := range m.days {
		m.conc[i] = at(x, q, lag, m.doses, t)
	}
	if !slopes {
		return
	}
	p := len(x)
	const h = 1e-4
	for j := inRelease; j <= inFree; j++ {
		up, down := append([]float64(nil), x...), append([]float64(nil), x...)
		up[j] += h
		down[j] -= h
		qu, qd, lu, ld := kernelOf(up, m.sampling), kernelOf(down, m.sampling), exp(up[inLag]), exp(down[inLag])
		for i, t := range m.days {
			m.slope[i*p+j] = (at(up, qu, lu, m.doses, t) - at(down, qd, ld, m.doses, t)) / (2 * h)
		}
	}
	for i, t := range m.days {
		sin, cos := math.Sincos(2 * math.Pi * t)
		row := m.slope[i*p : i*p+p]
		row[inYield], row[inSin], row[inCos] = m.conc[i], m.conc[i]*sin, m.conc[i]*(cos-1)
		for d, from := range m.doses {
			row[inAdded+d] = exp(x[inYield]+x[inAdded+d]) * q.at(t-from-lag) * breath(x, t)
		}
	}
}

// factorAt is the place of a line's factor.
func (m *model) factorAt(line int) int { return inAdded + len(m.doses) + line }

// pass runs the misfit's filter over residuals (and their derivatives, where jac
// is not nil) at x, whitening both, and returns it. each, where not nil, is called
// after every observation with the square of its standardised innovation.
func (m *model) pass(x, r, jac []float64, each func(f *filter, o *observation, z2 float64)) *filter {
	p := len(x)
	m.curve(x, jac != nil)
	cols := 1
	if jac != nil {
		cols += p
	}
	f := newFilter(misfit{m.lossSD, len(m.bend)}, cols)
	f.breaks = m.breaks
	for i := range m.obs {
		o := &m.obs[i]
		f.advance(m.days[o.time])
		c := m.conc[o.time] * exp(x[m.factorAt(o.line)])
		scale := c * stableSlope(c, m.bend[o.line])
		r[i] = stable(c, m.bend[o.line]) - o.target
		row := m.rows
		if jac != nil {
			row = jac[i*p : i*p+p]
			m.row(row, x, o, c, scale)
		}
		z2 := f.update(o.line, &r[i], row, scale, o.used, o.noise)
		if each != nil {
			each(f, o, z2)
		}
	}
	return f
}

// row fills the derivatives of one residual, before whitening.
func (m *model) row(row, x []float64, o *observation, c, scale float64) {
	p := len(x)
	by := 0.0
	if m.conc[o.time] > 0 {
		by = scale / m.conc[o.time]
	}
	for j, s := range m.slope[o.time*p : o.time*p+p] {
		row[j] = by * s
	}
	for l := range m.bend {
		row[m.factorAt(l)] = 0
	}
	row[m.factorAt(o.line)] = scale
}

// residuals is what the least-squares engine minimises: whitened misfits, then
// the priors.
func (m *model) residuals(x, r, jac []float64) {
	n, p := len(m.obs), len(x)
	m.pass(x, r[:n], jac, nil)
	for j, pr := range m.prior {
		r[n+j] = (x[j] - pr.mean) / pr.sd
		if jac != nil {
			row := jac[(n+j)*p : (n+j)*p+p]
			for i := range row {
				row[i] = 0
			}
			row[j] = 1 / pr.sd
		}
	}
}

// tails is the number of degrees of freedom of the readings' heavy tails.
const tails = 4.0

// reweigh sets, at parameters x, the weight of every observation by Student's t
// on its innovation (the EM weights of Lange, Little & Taylor 1989, JASA 84:881),
// and the expectation that stands for a censored one. It returns twice the
// negative log posterior of the heavy-tailed model, up to a constant.
func (m *model) reweigh(x []float64) float64 {
	m.curve(x, false)
	for i := range m.obs {
		m.aim(&m.obs[i], x)
	}
	cost := 0.0
	r := make([]float64, len(m.obs))
	f := m.pass(x, r, nil, func(_ *filter, o *observation, z2 float64) {
		o.ratio = (tails + 1) / (tails + min(z2, 1e12))
		cost += (tails + 1) * math.Log1p(min(z2, 1e12)/tails)
	})
	cost += f.logDet
	for i := range m.obs {
		m.aim(&m.obs[i], x)
	}
	for j, pr := range m.prior {
		z := (x[j] - pr.mean) / pr.sd
		cost += z * z
	}
	return cost
}

// aim sets target and variance of an observation. For a reading that is only
// known to lie beyond a limit they are those of the Newton step on the normal
// log likelihood of that event (a tobit regression).
func (m *model) aim(o *observation, x []float64) {
	o.target, o.used = o.y, o.noise/o.ratio
	if o.sort == isValue {
		return
	}
	c := m.conc[o.time] * exp(x[m.factorAt(o.line)])
	now, sd := stable(c, m.bend[o.line]), math.Sqrt(o.used+lineSD*lineSD)
	sign := 1.0
	if o.sort == isAbove {
		sign = -1
	}
	a := sign * (o.y - now) / sd
	hazard, weight := -a, 1.0
	if a > -8 {
		std := distuv.UnitNormal
		hazard = std.Prob(a) / std.CDF(a)
		weight = max(hazard*(hazard+a), 1e-9)
	}
	o.target = now - sign*sd*hazard/weight
	o.used = sd * sd / weight
}
