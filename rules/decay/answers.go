package decay

import "math"

// Curve returns the posterior's middle for a line at hours after t = 0, in ppm,
// for drawing: 0 before there is a fit.
func (s *State) Curve(line int, hours float64) float64 {
	if s.Fit == nil || line < 0 || line >= len(s.Setup.Lines) || !(hours >= 0 && hours <= maxHours) {
		return 0
	}
	a := s.ahead(hours/24, false)
	c := s.stack(s.Fit.X, hours/24)
	return c * exp(a.level(&s.Fit.States)+a.dev[line])
}

// stack returns the concentration of the stack at parameters x, without misfit.
func (s *State) stack(x []float64, days float64) float64 {
	told := s.told()
	w := told.walk(x)
	return w.to(days).air
}

// ExpectedLnChange returns by how much the fit expects ln C of a line to change between two
// times, in hours after t = 0, and the standard deviation of the true change around that: from
// errors of the parameters and from what the misfit may do, without the noise of readings.
// Before there is a fit, or for a time before gas is there, it returns 0 and +Inf.
func (s *State) ExpectedLnChange(line int, from, to float64) (mean, sd float64) {
	mean, ok := s.lnChange(line, from, to, true)
	if !ok {
		return 0, math.Inf(1)
	}
	f := s.Fit
	a, b := max(min(from, to)/24, f.Days), max(from, to, 24*f.Days)/24
	v := f.wander(math.Abs(to-from) / 24)
	if b > a {
		v += s.ahead2(a, b)
	}
	return mean, math.Sqrt(v)
}

// MeanLnChange returns the mean of ExpectedLnChange without its deviation, which takes a fraction
// of the time to work out; 0 where nothing is known.
func (s *State) MeanLnChange(line int, from, to float64) float64 {
	mean, _ := s.lnChange(line, from, to, false)
	return mean
}

// lnChange is the expected change of ln C; whole where its error is asked for next.
func (s *State) lnChange(line int, from, to float64, whole bool) (mean float64, ok bool) {
	f, known := s.Fit, func(hours float64) bool { return hours >= 0 && hours <= maxHours }
	if f == nil || line < 0 || line >= len(s.Setup.Lines) || !known(from) || !known(to) {
		return 0, false
	}
	t0, t1 := s.moment(from/24, whole), s.moment(to/24, whole)
	c0, c1 := t0.curve(f, line), t1.curve(f, line)
	if !(c0 > 0) || !(c1 > 0) {
		return 0, false
	}
	return math.Log(c1 / c0), true
}

// wander is the variance of what a line and the stack may do over days beyond the
// part that is carried from the fit.
func (f *fit) wander(days float64) float64 {
	r := math.Exp(-days / lineDays)
	return 2*f.Size.Swing*f.Size.Swing*(1-r) + 2*cellSD*cellSD
}

// ahead2 is the variance of the stack's change of ln C between two times that both
// lie after the fit.
func (s *State) ahead2(from, to float64) float64 {
	f := s.Fit
	for _, known := range f.spreads {
		if known.from == from && known.to == to {
			return known.variance
		}
	}
	p := len(f.X)
	a, b := s.moment(from, true), s.moment(to, true)
	v := max(b.ahead.sd*b.ahead.sd-a.ahead.sd*a.ahead.sd, 0)
	slope, early, late := make([]float64, p), s.slopes(a), s.slopes(b)
	for j := range p {
		slope[j] = late[j] - early[j]
		for i := range states {
			slope[j] += (b.ahead.of[i] - a.ahead.of[i]) * f.Move[j*states+i]
		}
	}
	for i := range p {
		for j := range p {
			v += slope[i] * f.Cov[max(i, j)*(max(i, j)+1)/2+min(i, j)] * slope[j]
		}
	}
	v = max(v, 0)
	if len(f.spreads) == keepMoments {
		f.spreads = f.spreads[:0]
	}
	f.spreads = append(f.spreads, spread{from, to, v})
	return v
}

// slopes are the derivatives of ln of the stack's concentration at a moment by all
// parameters.
func (s *State) slopes(t *moment) []float64 {
	if t.slope == nil {
		t.slope = make([]float64, len(s.Fit.X))
		for j := range t.slope {
			t.slope[j] = s.lnSlope(j, t.days)
		}
	}
	return t.slope
}

// lnSlope is the derivative of ln of the stack's concentration by parameter j.
func (s *State) lnSlope(j int, days float64) float64 {
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
	LossPerDay    Value   // gas that does not come back: leakage, permanent sorption, and the pump's share; without what leaks add that were told
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
		LagHours: get(inLag, 24), SorbPerDay: Value{math.Abs(s.Fit.X[inSorb]), math.Sqrt(max(s.Fit.variance(inSorb), 0))}, FreePerDay: get(inFree, 1)}, true
}

// LossPerDay returns the loss rate of [Params] and the standard deviation of its ln; 0
// before there is a fit.
func (s *State) LossPerDay() (loss, sdLn float64) {
	if s.Fit == nil {
		return 0, 0
	}
	return exp(s.Fit.X[inLoss]) + s.Setup.SamplingLossPerDay, math.Sqrt(max(s.Fit.variance(inLoss), 0))
}

// GustPerDay returns how much gusts move the loss rate, the standard deviation per day
// that was found; 0 before there is a fit.
func (s *State) GustPerDay() float64 {
	if s.Fit == nil {
		return 0
	}
	return s.Fit.Size.Gust * exp(s.Fit.X[inLoss])
}
