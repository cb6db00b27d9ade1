package decay

import "math"

// asked is what was made of a fit for one question and may serve the next.
type asked struct {
	near, far *course
	moments   []moment // the last ones
	spreads   []spread // the same
}

// course carries the misfit of a fit on from its time, hour by hour, for those who
// ask about one time after another.
type course struct {
	m      *model
	w      walker
	at     float64                 // days
	units  [states][states]float64 // what each state has become
	covs   [2]matrix               // of the states, given the parameters; in the less likely case
	forked bool                    // there is one
}

// begin is the course of a fit at its time.
func (s *State) begin() course {
	f, m := s.Fit, s.future()
	c := course{m: m, w: walk(f.X, m.sampling, m.doses), at: f.Days}
	m.rate = c.w.loss
	c.w.to(f.Days)
	for i := range c.units {
		c.units[i][i] = 1
	}
	c.covs[0] = matrix(square(f.StateCov, states))
	if c.forked = len(f.AltCov) > 0; c.forked {
		c.covs[1] = matrix(square(f.AltCov, states))
	}
	return c
}

// farAhead is the days after the fit from which on a course of its own is kept: who
// asks about far and near in turn would else begin anew each time.
const farAhead = 4.0

// course returns that of the fit at days, which must not lie before the fit's time.
// Whole hours are kept for the next question.
func (s *State) course(days float64) course {
	kept := &s.Fit.near
	if days > s.Fit.Days+farAhead {
		kept = &s.Fit.far
	}
	if *kept == nil || (*kept).at > days {
		c := s.begin()
		*kept = &c
	}
	for (*kept).at+hourDays <= days {
		(*kept).step(hourDays)
	}
	c := **kept
	if left := days - c.at; left > 1e-9 {
		c.step(left)
	}
	return c
}

// step goes on for days, an hour at the most.
func (c *course) step(days float64) {
	g := c.w.to(c.at + days/2)
	ppm := max(g.air, leastPPM)
	c.m.feed[0] = min(c.w.feed()/ppm, mostFeed)
	c.m.inflow[0] = min(c.m.feed[0]+c.w.free*g.held/ppm, 2*mostFeed)
	p := c.m.hopTo(0, days)
	p.sin, p.cos = math.Sincos(2 * math.Pi * (c.at + days/2))
	for i := range c.units {
		p.carry(&c.units[i])
	}
	p.swell = c.m.swell
	laid := c.m.laid(c.at, c.at+days)
	c.m.blur(&c.covs[0], &p)
	c.covs[0][0] += laid
	if c.forked {
		c.m.blur(&c.covs[1], &p)
		c.covs[1][0] += laid
	}
	c.at += days
}

// moment is what ExpectedLnChange asks of one time, the same for every line.
type moment struct {
	days  float64
	ahead ahead
	air   float64   // ppm of the stack at the mode, without misfit
	slope []float64 // derivative of ln of that by parameter; nil = not asked for yet
}

// spread is the variance of the stack's change of ln C between two times, in days.
type spread struct{ from, to, variance float64 }

// keepMoments bounds how many moments and spreads are kept of a fit.
const keepMoments = 16

// moment returns that of a time, which the fit keeps for the next line.
func (s *State) moment(days float64) *moment {
	f := s.Fit
	for i := range f.moments {
		if f.moments[i].days == days {
			return &f.moments[i]
		}
	}
	if f.moments == nil || len(f.moments) == keepMoments {
		f.moments = make([]moment, 0, keepMoments) // not in place: the caller may hold others
	}
	f.moments = append(f.moments, moment{days: days, ahead: s.ahead(days), air: s.stack(f.X, days)})
	return &f.moments[len(f.moments)-1]
}

// curve is the posterior's middle for a line, ppm.
func (t *moment) curve(f *fit, line int) float64 {
	return t.air * exp(t.ahead.level(&f.States)+t.ahead.dev[line])
}
