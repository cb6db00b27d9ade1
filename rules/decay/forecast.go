package decay

import (
	"math"
	"math/rand/v2"
	"sort"

	"gonum.org/v1/gonum/mat"
)

// Forecast is what is thought of the true concentration at one time: the
// quantiles that bound it with 90 % and halve it, in ppm, and the chance that it
// is at or above an end level.
type Forecast struct {
	P05, P50, P95 float64
	ChanceMet     float64
}

// draws from the posterior; they come in pairs of opposite sign. Seeds are fixed:
// the same posterior gives the same forecast.
const (
	draws = 600
	seedA = 0x70686f7370
	seedB = 0x68696e65
)

// Forecasts answers for every line and for the lowest of them, hours after t =
// 0: lines[i] for line i, and lowest with the chance that all lines are at or
// above endLevel. False = not enough readings yet, or no Refit since.
func (s *State) Forecasts(hours, endLevel float64) (lines []Forecast, lowest Forecast, ok bool) {
	if s.Fit == nil || len(s.Setup.Lines) == 0 || !(hours >= 0 && hours <= 10*maxHours) {
		return nil, Forecast{}, false
	}
	table := s.draw(hours / 24)
	if table == nil {
		return nil, Forecast{}, false
	}
	least := make([]float64, draws)
	for i := range least {
		least[i] = math.Inf(1)
	}
	for _, col := range table {
		for i, c := range col {
			least[i] = min(least[i], c)
		}
		lines = append(lines, summary(col, endLevel))
	}
	return lines, summary(least, endLevel), true
}

// Forecast answers for one line; see Forecasts.
func (s *State) Forecast(line int, hours, endLevel float64) (Forecast, bool) {
	all, _, ok := s.Forecasts(hours, endLevel)
	if !ok || line < 0 || line >= len(all) {
		return Forecast{}, false
	}
	return all[line], true
}

// Lowest answers for the lowest line, and for the chance that all lines are at
// or above endLevel; see Forecasts.
func (s *State) Lowest(hours, endLevel float64) (Forecast, bool) {
	_, low, ok := s.Forecasts(hours, endLevel)
	return low, ok
}

// summary describes draws of a concentration. It sorts them.
func summary(cs []float64, endLevel float64) Forecast {
	sort.Float64s(cs)
	met := len(cs) - sort.SearchFloat64s(cs, endLevel)
	if math.IsNaN(endLevel) {
		met = 0
	}
	return Forecast{P05: quantile(cs, 0.05), P50: quantile(cs, 0.5), P95: quantile(cs, 0.95), ChanceMet: float64(met) / float64(len(cs))}
}

// quantile interpolates in sorted xs (R's type 7).
func quantile(xs []float64, q float64) float64 {
	h := q * float64(len(xs)-1)
	i := min(int(h), len(xs)-2)
	return xs[i] + (h-float64(i))*(xs[i+1]-xs[i])
}

// draw returns, by line, draws of the concentration at days; nil where the
// posterior cannot be drawn from.
func (s *State) draw(days float64) [][]float64 {
	f, lines := s.Fit, len(s.Setup.Lines)
	p, d := len(f.X), len(f.States)
	root, ok := lower(f.Cov, p)
	if !ok {
		return nil
	}
	ahead := f.ahead(days, lines)
	chance, ok := lower(ahead.cov, d)
	if !ok {
		return nil
	}
	var doses []float64
	for _, a := range s.Added {
		doses = append(doses, a.Hours/24)
	}
	out := make([][]float64, lines)
	for l := range out {
		out[l] = make([]float64, draws)
	}
	rnd := rand.New(rand.NewPCG(seedA, seedB))
	z, delta, x, states := make([]float64, p+d+lines), make([]float64, p), make([]float64, p), make([]float64, d)
	for i := range draws {
		if i%2 == 0 {
			for j := range z {
				z[j] = rnd.NormFloat64()
			}
		} else {
			for j := range z {
				z[j] = -z[j]
			}
		}
		times(root, z[:p], delta)
		for j := range x {
			x[j] = f.X[j] + delta[j]
		}
		times(chance, z[p:p+d], states)
		ahead.shift(states, delta)
		c := at(x, kernelOf(x), exp(x[inLag]), doses, days)
		for l := range lines {
			gain := s.Setup.Lines[l].gainSD() * z[p+d+l]
			swing := ahead.spread*(states[atU]+states[atV+l]) + states[atZ]
			out[l][i] = c * exp(x[p-lines+l]+swing+gain)
		}
	}
	return out
}

// ahead is the misfit carried to another time.
type ahead struct {
	mean, move, cov []float64
	spread          float64
}

// ahead carries the posterior of the misfit to days. Towards the past the swings
// are forgotten and the slow error is run back.
func (f *fit) ahead(days float64, lines int) ahead {
	m, n := misfit{f.LossSD, lines}, len(f.States)
	a := ahead{mean: copied(f.States), move: copied(f.Move), cov: copied(f.StateCov), spread: spread(days)}
	step := days - f.Days
	d := over(math.Abs(step))
	m.moveCov(a.cov, d, math.Abs(step))
	if step < 0 {
		d.z = -d.z
	}
	d.moveMean(a.mean)
	for i := 0; i < len(a.move); i += n {
		d.moveMean(a.move[i : i+n])
	}
	return a
}

// shift adds to states the mean of the misfit when the parameters are delta away.
func (a ahead) shift(states, delta []float64) {
	n := len(states)
	for k := range states {
		states[k] += a.mean[k]
		for j, v := range delta {
			states[k] += a.move[j*n+k] * v
		}
	}
}

// lower returns the lower Cholesky factor (by rows) of a covariance by rows; a
// state without variance is let through.
func lower(cov []float64, n int) ([]float64, bool) {
	a := symmetric(cov, n)
	for i := range n {
		a.SetSym(i, i, a.At(i, i)*(1+1e-12)+1e-18)
	}
	var chol mat.Cholesky
	if !chol.Factorize(a) {
		return nil, false
	}
	var l mat.TriDense
	chol.LTo(&l)
	out := make([]float64, n*n)
	for i := range n {
		for j := range i + 1 {
			out[i*n+j] = l.At(i, j)
		}
	}
	return out, true
}

// times multiplies a lower triangle by z.
func times(lower, z, out []float64) {
	n := len(out)
	for i := range out {
		out[i] = 0
		for j := range i + 1 {
			out[i] += lower[i*n+j] * z[j]
		}
	}
}

func copied(xs []float64) []float64 { return append([]float64(nil), xs...) }

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
	swing := a.spread*(a.mean[atU]+a.mean[atV+line]) + a.mean[atZ]
	return s.stack(f.X, days) * exp(f.X[len(f.X)-lines+line]+swing), a, true
}

// stack returns the concentration of the stack at parameters x.
func (s *State) stack(x []float64, days float64) float64 {
	var doses []float64
	for _, d := range s.Added {
		doses = append(doses, d.Hours/24)
	}
	return at(x, kernelOf(x), exp(x[inLag]), doses, days)
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
		for k, w := range []struct{ at int }{{atU}, {atV + line}, {atZ}} {
			g0, g1 := a0.spread, a1.spread
			if k == 2 {
				g0, g1 = 1, 1
			}
			slope[j] += g1*a1.move[j*n+w.at] - g0*a0.move[j*n+w.at]
		}
	}
	v := 0.0
	for i := range p {
		for j := range p {
			v += slope[i] * f.Cov[i*p+j] * slope[j]
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
	LossPerDay    Value // gas that does not come back: leakage, pump, permanent sorption
	LagHours      Value // from dosing to the first gas
	SorbPerDay    Value // gas that goes onto the commodity for a time
	FreePerDay    Value // and comes back
}

// Params returns the parameters of the fit, false before there is one. The
// standard errors are those of the logs times the value.
func (s *State) Params() (Params, bool) {
	if s.Fit == nil {
		return Params{}, false
	}
	get := func(j int, unit float64) Value {
		v := unit * exp(s.Fit.X[j])
		return Value{v, v * math.Sqrt(max(s.Fit.Cov[j*len(s.Fit.X)+j], 0))}
	}
	return Params{YieldPPM: get(inYield, 1), ReleasePerDay: get(inRelease, 1), LossPerDay: get(inLoss, 1),
		LagHours: get(inLag, 24), SorbPerDay: get(inSorb, 1), FreePerDay: get(inFree, 1)}, true
}
