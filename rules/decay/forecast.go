package decay

import (
	"math"
	"math/rand/v2"
	"slices"
)

// Forecast is what is thought of the true concentration at one time: the
// quantiles that bound it with 90 % and halve it, in ppm, and the chance that it
// is at or above an end level.
type Forecast struct {
	P05, P50, P95 float64
	ChanceMet     float64
}

// Forecasts answers for every line and for the lowest of them, hours after t =
// 0: lines[i] for line i, and lowest with the chance that all lines are at or
// above endLevel. False = no Refit yet, or no lines.
func (s *State) Forecasts(hours, endLevel float64) (lines []Forecast, lowest Forecast, ok bool) {
	if s.Fit == nil || len(s.Setup.Lines) == 0 || !(hours >= 0 && hours <= 10*maxHours) {
		return nil, Forecast{}, false
	}
	table := s.draw(hours/24, nil)
	least := make([]float64, len(table[0]))
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

// summary describes draws of a concentration, and reorders them. So many draws
// cannot show certainty: a chance is (met + ½)/(draws + 1), except that any gas
// meets an end level of 0.
func summary(cs []float64, endLevel float64) Forecast {
	f := Forecast{P50: quantile(cs, 0.5)} // first: it leaves the least to do for the others
	f.P05, f.P95 = quantile(cs, 0.05), quantile(cs, 0.95)
	switch {
	case endLevel <= 0:
		f.ChanceMet = 1
	case !math.IsNaN(endLevel):
		met := 0
		for _, c := range cs {
			if c >= endLevel {
				met++
			}
		}
		f.ChanceMet = (float64(met) + 0.5) / float64(len(cs)+1)
	}
	return f
}

// quantile interpolates between the values of xs in their order (R's type 7), and
// reorders xs.
func quantile(xs []float64, q float64) float64 {
	h := q * float64(len(xs)-1)
	i := min(int(h), len(xs)-2)
	rank(xs, i)
	next := slices.Min(xs[i+1:])
	return xs[i] + (h-float64(i))*(next-xs[i])
}

// rank reorders xs so that what stands at i is what would stand there if they were
// sorted, nothing before it is larger and nothing after it smaller (Hoare 1961,
// Algorithm 65: Find, Commun. ACM 4:321).
func rank(xs []float64, i int) {
	for low, high := 0, len(xs)-1; low < high; {
		pivot, left, right := xs[(low+high)/2], low, high
		for left <= right {
			for xs[left] < pivot {
				left++
			}
			for pivot < xs[right] {
				right--
			}
			if left <= right {
				xs[left], xs[right] = xs[right], xs[left]
				left++
				right--
			}
		}
		if right < i {
			low = left
		}
		if i < left {
			high = right
		}
	}
}

// perDraw is how many answers are made from each draw of the parameters.
const perDraw = 2

// draw returns, by line, draws of the concentration at days. The normals are the
// same for every time, so that one draw is one course of the gas. more, where not
// nil, gives gas that comes on top, in ppm, at a draw's parameters.
func (s *State) draw(days float64, more func(x []float64) float64) [][]float64 {
	f, n, p := s.Fit, len(s.Setup.Lines), len(s.Fit.X)
	row := p + states + 1
	count := len(f.Draws) / row
	a, told := s.ahead(days, true), s.told()
	gas := f.factors(s.Setup.Lines, a.devs, a.feed, exp(f.X[inLoss])+s.Setup.SamplingLossPerDay)
	now := s.now(days)
	out := make([][]float64, n)
	for l := range out {
		out[l] = make([]float64, 0, count*perDraw)
	}
	rnd := rand.New(rand.NewPCG(seedB, seedA))
	z, x := make([]float64, 2+n), make([]float64, row)
	for _, i := range f.equal(count) {
		for j := range x {
			x[j] = float64(f.Draws[i*row+j])
		}
		at := x[:p]
		if days < f.Days { // the path that is known there is the misfit of this curve alone
			at = f.X
		}
		w := told.walk(at)
		c, top := w.to(days).air, 0.0
		if more != nil {
			top = more(x[:p])
			c += top
		}
		misfit := (*[states]float64)(x[p : p+states])
		ln := math.Log(max(c, 1e-6)) + a.level(misfit)
		sd := a.sd
		if isAlt(i, f.Suspect.Share) {
			sd = a.altSD
		}
		most := math.Inf(1)
		if days > f.Days && ln+4*sd > now.ln {
			w = told.walk(at)
			most = math.Log(w.left(f.Days, days, now.level(misfit)) + top)
		}
		one := pick(gas, rnd.Float64())
		for k := range perDraw {
			for j := range z {
				if k == 0 {
					z[j] = rnd.NormFloat64()
				} else {
					z[j] = -z[j]
				}
			}
			for l := range n {
				g := &one.lines[l]
				v := min(ln+sd*z[0], most) + g.follow*(one.level+one.sd*z[1]) + g.mean + g.sd*z[2+l]
				out[l] = append(out[l], math.Exp(min(max(v, -30), 14)))
			}
		}
	}
	return out
}

// present is the stack at the fit's time: ln C, and what the states make of the misfit
// there.
type present struct {
	ahead
	ln float64
}

// now is the present of a fit, for a forecast of days.
func (s *State) now(days float64) present {
	f := s.Fit
	if days <= f.Days {
		return present{}
	}
	p := present{ahead: s.ahead(f.Days, false)}
	p.ln = math.Log(max(s.stack(f.X, f.Days), 1e-6)) + p.level(&f.States)
	return p
}

// left is the most gas that there can be at a time in days, ppm: what is in the air and on the
// commodity at the earlier time now, where ln C of the stack is off by misfit; what the dose has
// yet to release; and what is added in between. Forecasts are kept below it, since a misfit that
// is carried on, as after a dose that nobody told of, would otherwise promise gas from nowhere.
func (w *walker) left(now, days, misfit float64) float64 {
	g := w.to(now)
	sum := (g.air+g.held)*exp(max(misfit, 0)) + g.solid + g.ramp
	for _, c := range w.charges[w.due:w.count] {
		if c.days <= days {
			sum += c.ppm
		}
	}
	return max(sum, 1e-6)
}

// pick returns the factor that a share u of all lies in.
func pick(fs []factor, u float64) *factor {
	for i := range fs {
		if u -= fs[i].share; u < 0 {
			return &fs[i]
		}
	}
	return &fs[len(fs)-1]
}

// ahead is the misfit carried to another time.
type ahead struct {
	of        [states]float64 // of the states' mean, in ln C of the stack
	fixed     float64         // ln C of the stack, where the states do not matter
	sd, altSD float64         // of the stack's ln C, given the parameters; in the less likely case; 0 where only the mean is asked for
	dev       []float64       // of what a line's instrument shows
	devs      []deviation     // of the lines
	feed      float64         // per day: release over what is there
}

func (a *ahead) level(x *[states]float64) float64 {
	v := a.fixed
	for i, w := range a.of {
		v += w * x[i]
	}
	return v
}

// ahead carries the misfit to days. In the past the path is known, and what the
// parameters leave open there is small beside it. Without whole it is the mean alone.
func (s *State) ahead(days float64, whole bool) ahead {
	f := s.Fit
	a := ahead{}
	if days < f.Days {
		c := matrix(square(f.StateCov, states))
		a.fixed, a.sd = f.past(days), math.Sqrt(max(c[0]+c[atSwing*states+atSwing]+2*c[atSwing], 1e-6))
		a.altSD = a.sd
		told := s.told()
		w := told.walk(f.X)
		g := w.to(days)
		a.feed = min(w.feed()/max(g.air, leastPPM), mostFeed)
	} else {
		a.feed = s.reach(days, whole, &a)
	}
	stays, swing := math.Exp(-math.Abs(days-f.Days)/lineDays), s.future().apart()
	a.devs = append(a.devs, f.Dev...)
	for l := range a.devs {
		a.devs[l].wait(stays, swing)
		mean, _, _ := a.devs[l].seen(a.feed)
		a.dev = append(a.dev, mean)
	}
	return a
}

// future is a model without readings, at the fit's sizes.
func (s *State) future() *model {
	m := &model{told: s.told(), lines: s.Setup.Lines, size: s.Fit.Size, dev: s.Fit.Dev, swell: s.Fit.swell()}
	m.inflow, m.feed, m.rate = make([]float64, 1), make([]float64, 1), make([]float64, 1)
	return m
}

// reach carries the states from the fit's time to days, by the hour.
func (s *State) reach(days float64, whole bool, a *ahead) (feed float64) {
	c := s.course(days, whole)
	g := c.w.to(days)
	feed = min(c.w.feed()/max(g.air, leastPPM), mostFeed)
	for i := range c.units {
		a.of[i] = c.units[i][atOffset] + c.units[i][atSwing] + feed*c.units[i][atFeed]
	}
	if see := [states]float64{atOffset: 1, atSwing: 1, atFeed: feed}; whole {
		a.sd, a.altSD = c.covs[0].seen(&see), c.covs[len(c.covs)-1].seen(&see)
	}
	return feed
}

// seen is the standard deviation of what a sight sees of the states.
func (c *matrix) seen(see *[states]float64) float64 {
	v := 0.0
	for i, hi := range see {
		for j, hj := range see {
			v += hi * hj * c[i*states+j]
		}
	}
	return math.Sqrt(max(v, 0))
}
