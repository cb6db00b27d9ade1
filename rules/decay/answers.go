package decay

import "math"

// Curve returns the posterior's middle for a line at hours after t = 0, in ppm,
// for drawing: 0 before there is a fit.
func (s *State) Curve(line int, hours float64) float64 {
	c, _, ok := s.middle(line, hours/24)
	if !ok {
		return 0
	}
	return c
}

// middle returns the concentration at the mode of the posterior.
func (s *State) middle(line int, days float64) (ppm float64, a ahead, ok bool) {
	if s.Fit == nil || line < 0 || line >= len(s.Setup.Lines) || !(days >= 0 && days <= maxHours) {
		return 0, ahead{}, false
	}
	f, lines := s.Fit, len(s.Setup.Lines)
	a = f.ahead(days, lines)
	misfit := a.seen(a.mean, line)
	if days < f.Days {
		misfit = f.past(days) + a.spread*a.mean[atV+line]
	}
	return s.stack(f.X, days) * exp(f.X[len(f.X)-lines+line]+misfit), a, true
}

// seen is what a reading of a line sees of the misfit's states.
func (a ahead) seen(states []float64, line int) float64 {
	return a.spread*(states[atU]+states[atV+line]) + states[atZ]
}

// stack returns the concentration of the stack at parameters x.
func (s *State) stack(x []float64, days float64) float64 {
	return at(x, kernelOf(x, s.Setup.SamplingLossPerDay), exp(x[inLag]), s.doseDays(), days)
}

// ExpectedLnChange returns the change of ln C of a line between two times, in
// hours after t = 0, that the fit expects, and the standard deviation of what it
// may truly be: the parameters' errors and the misfit's wandering, not the noise
// of readings. Before there is a fit, or where a time lies before gas is there,
// it returns 0 and +Inf.
func (s *State) ExpectedLnChange(line int, from, to float64) (mean, sd float64) {
	c0, a0, ok0 := s.middle(line, from/24)
	c1, a1, ok1 := s.middle(line, to/24)
	if !ok0 || !ok1 || !(c0 > 0) || !(c1 > 0) {
		return 0, math.Inf(1)
	}
	f := s.Fit
	p, n := len(f.X), len(f.States)
	slope := make([]float64, p)
	for j := range p {
		slope[j] = s.lnSlope(j, to/24) - s.lnSlope(j, from/24)
		slope[j] += a1.seen(a1.move[j*n:j*n+n], line) - a0.seen(a0.move[j*n:j*n+n], line)
	}
	v, cov := 0.0, square(f.Cov, p)
	for i := range p {
		for j := range p {
			v += slope[i] * cov[i*p+j] * slope[j]
		}
	}
	v += f.wander(a0, a1, math.Abs(to-from)/24, line)
	return math.Log(c1 / c0), math.Sqrt(max(v, 0))
}

// wander is the variance of the misfit's change over days.
func (f *fit) wander(a0, a1 ahead, days float64, line int) float64 {
	d, n := over(days), len(f.States)
	sp := max(a0.spread, a1.spread)
	v := 2 * sp * sp * (commonSD*commonSD*(1-d.u) + lineSD*lineSD*(1-d.v))
	w := min(a0.cov[atW*n+atW], a1.cov[atW*n+atW])
	return v + w*d.z*d.z + f.LossSD*f.LossSD*lossDays*lossDays*max(2*days/lossDays-3+4*d.w-d.w*d.w, 0)
}

// lnSlope is the derivative of ln of the stack's concentration by parameter j.
func (s *State) lnSlope(j int, days float64) float64 {
	if j >= inAdded+len(s.Added) {
		return 0 // a line's factor is the same at both times
	}
	const h = 1e-4
	up, down := copied(s.Fit.X), copied(s.Fit.X)
	up[j] += h
	down[j] -= h
	u, d := s.stack(up, days), s.stack(down, days)
	if !(u > 0) || !(d > 0) {
		return 0
	}
	return math.Log(u/d) / (2 * h)
}

// Value is a number and its standard error.
type Value struct {
	Value, SE float64
}

// Params are the figures of a fit that people ask for.
type Params struct {
	YieldPPM      Value // what the dose would give without loss, ppm
	ReleasePerDay Value
	LossPerDay    Value   // gas that does not come back: leakage, permanent sorption, and the pump's share
	Sampling      float64 // per day: the pump's share of LossPerDay, as it was given
	LagHours      Value   // from dosing to the first gas
	SorbPerDay    Value   // gas that goes onto the commodity for a time
	FreePerDay    Value   // and comes back
}

// Params returns the parameters of the fit, false before there is one. The
// standard errors are those of the logs times the value, without what is known.
func (s *State) Params() (Params, bool) {
	if s.Fit == nil {
		return Params{}, false
	}
	get := func(j int, unit float64) Value {
		v := unit * exp(s.Fit.X[j])
		return Value{v, v * math.Sqrt(max(s.Fit.variance(j), 0))}
	}
	loss, sampling := get(inLoss, 1), s.Setup.SamplingLossPerDay
	loss.Value += sampling
	return Params{YieldPPM: get(inYield, 1), ReleasePerDay: get(inRelease, 1), LossPerDay: loss, Sampling: sampling,
		LagHours: get(inLag, 24), SorbPerDay: get(inSorb, 1), FreePerDay: get(inFree, 1)}, true
}

// doseDays lists the times of the added doses in days.
func (s *State) doseDays() []float64 {
	var days []float64
	for _, d := range s.Added {
		days = append(days, d.Hours/24)
	}
	return days
}
