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

// summary describes draws of a concentration, and sorts them. So many draws
// cannot show certainty: a chance is (met + ½)/(draws + 1), except that any gas
// meets an end level of 0.
func summary(cs []float64, endLevel float64) Forecast {
	sort.Float64s(cs)
	f := Forecast{P05: quantile(cs, 0.05), P50: quantile(cs, 0.5), P95: quantile(cs, 0.95)}
	switch {
	case endLevel <= 0:
		f.ChanceMet = 1
	case !math.IsNaN(endLevel):
		met := len(cs) - sort.SearchFloat64s(cs, endLevel)
		f.ChanceMet = (float64(met) + 0.5) / float64(len(cs)+1)
	}
	return f
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
	root, ok := lower(square(f.Cov, p), p)
	if !ok {
		return nil
	}
	ahead := f.ahead(days, lines)
	chance, ok := lower(ahead.cov, d)
	if !ok {
		return nil
	}
	doses := s.doseDays()
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
		c := at(x, kernelOf(x, s.Setup.SamplingLossPerDay), exp(x[inLag]), doses, days)
		for l := range lines {
			gain := s.Setup.Lines[l].gainSD() * z[p+d+l]
			out[l][i] = c * exp(x[p-lines+l]+ahead.seen(states, l)+gain)
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
	a := ahead{mean: copied(f.States), move: copied(f.Move), cov: square(f.StateCov, n), spread: spread(days)}
	step := days - f.Days
	d := over(math.Abs(step))
	m.moveCov(a.cov, d)
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
	a := mat.NewSymDense(n, copied(cov))
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
