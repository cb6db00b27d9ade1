package decay

import (
	"math"
	"slices"
)

// asked is what was made of a fit for one question and may serve the next.
type asked struct {
	whole, mean *course  // the second without covariances
	moments     []moment // the last ones
	spreads     []spread // the same
}

// course carries the misfit of a fit on from its time, hour by hour, for those who
// ask about one time after another.
type course struct {
	m     *model
	w     walker
	at    float64                 // days
	mean  [states]float64         // of the states at the fit's time
	units [states][states]float64 // what each state has become
	covs  []matrix                // of the states, given the parameters; in the less likely case, where there is one; none of a mean course
}

// begin is the course of a fit at its time; whole with its covariances.
func (s *State) begin(whole bool) *course {
	f, m := s.Fit, s.future()
	c := &course{m: m, w: m.walk(f.X), at: f.Days, mean: f.States}
	c.w.to(f.Days)
	for i := range c.units {
		c.units[i][i] = 1
	}
	if whole {
		c.covs = append(make([]matrix, 0, 2), matrix(square(f.StateCov, states)))
	}
	if whole && len(f.AltCov) > 0 {
		c.covs = append(c.covs, matrix(square(f.AltCov, states)))
	}
	return c
}

// course returns that of the fit at days, which must not lie before the fit's time.
// Whole hours are kept for the next question.
func (s *State) course(days float64, whole bool) course {
	kept := &s.Fit.mean
	if whole {
		kept = &s.Fit.whole
	}
	if *kept == nil || (*kept).at > days {
		*kept = s.begin(whole)
	}
	for (*kept).at+hourDays <= days {
		(*kept).step(hourDays)
	}
	c := **kept
	c.covs = slices.Clone(c.covs)
	if left := days - c.at; left > 1e-9 {
		c.step(left)
	}
	return c
}

// step goes on for days, an hour at the most.
func (c *course) step(days float64) {
	c.m.rate[0] = c.w.loss
	g := c.w.to(c.at + days/2)
	off := 0.0
	for i, v := range c.mean {
		off += v * c.units[i][atOffset]
	}
	c.m.feed[0], c.m.inflow[0] = c.w.renewal(g, off)
	p := c.m.still(0, days)
	p.sin, p.cos = math.Sincos(2 * math.Pi * (c.at + days/2))
	for i := range c.units {
		p.carry(&c.units[i])
	}
	p.swell = c.m.swell
	laid := c.m.laid(c.at, c.at+days)
	for i := range c.covs {
		c.m.blur(&c.covs[i], &p)
		c.covs[i][0] += laid
	}
	c.at += days
}

// moment is what ExpectedLnChange asks of one time, the same for every line.
type moment struct {
	days  float64
	whole bool // with what the states may do until then
	ahead ahead
	air   float64   // ppm of the stack at the mode, without misfit
	slope []float64 // derivative of ln of that by parameter; nil = not asked for yet
}

// spread is the variance of the stack's change of ln C between two times, in days.
type spread struct{ from, to, variance float64 }

// keepMoments bounds how many moments and spreads are kept of a fit.
const keepMoments = 16

// farAhead is the days after the fit until which a moment is a whole one whatever is
// asked: who asks about far and near means in turn would else begin anew each time.
const farAhead = 4.0

// moment returns that of a time, which the fit keeps for the next line.
func (s *State) moment(days float64, whole bool) *moment {
	f := s.Fit
	whole = whole || days <= f.Days+farAhead
	for i := range f.moments {
		if f.moments[i].days == days && (f.moments[i].whole || !whole) {
			return &f.moments[i]
		}
	}
	if f.moments == nil || len(f.moments) == keepMoments {
		f.moments = make([]moment, 0, keepMoments) // not in place: the caller may hold others
	}
	f.moments = append(f.moments, moment{days: days, whole: whole, ahead: s.ahead(days, whole), air: s.stack(f.X, days)})
	return &f.moments[len(f.moments)-1]
}

// curve is the posterior's middle for a line, ppm.
func (t *moment) curve(f *fit, line int) float64 {
	return t.air * exp(t.ahead.level(&f.States)+t.ahead.dev[line])
}
