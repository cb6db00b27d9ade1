package decay

import (
	"math"
	"slices"
)

// Between two refits the posterior runs on: it takes in each hour as the filter does,
// at the parameters of the mode and of every draw, and the draws gain or lose weight
// by how well they foretold it (sequential importance sampling). The fit is made anew
// when the draws that count become few, when an hour is not what was foretold, when
// something came late or was told, and every few hours in any case.
const (
	runsFrom   = 24       // hours after t = 0: before, every hour teaches too much
	longestRun = 6        // hours
	leastWorth = 0.5      // share of the draws that must count
	oddHour    = 2.5      // standard deviations from what was foretold
	lateForRun = 5.0 / 60 // hours that a reading may be behind the last whole hour
)

// Update brings the fit up to the last whole hour before hours after t = 0, as far
// as it can without a Refit, else by one of the hours before.
func (s *State) Update(hours float64) {
	till := int(min(max(hours, 0), maxHours))
	if s.Fit != nil && !s.Late && till >= runsFrom {
		if f := s.run(till); f != nil {
			s.Fit = f
			f.weighRises(newModel(s, till))
			return
		}
	}
	s.refit(till)
}

// taken is the number of hours that a fit has taken in.
func (f *fit) taken() int { return int(math.Round(f.Days/hourDays + 0.5)) }

// run returns the fit with the hours until one taken in; nil where it must be made
// anew.
func (s *State) run(till int) *fit {
	f := *s.Fit
	from := f.taken()
	if f.Run += till - from; from < 0 || till < from || f.Run > longestRun || s.unsettled(from, till) {
		return nil
	}
	f.asked = asked{}
	f.Dev, f.Move, f.Draws, f.Path, f.Weights = slices.Clone(f.Dev), copied(f.Move), slices.Clone(f.Draws), copied(f.Path), slices.Clone(f.Weights)
	m := modelOf(s, from, till)
	m.size, m.dev, m.swell, m.placed, m.exact = f.Size, f.Dev, f.swell(), true, true
	r := runner{m: m, f: &f, covs: [2]matrix{matrix(square(f.StateCov, states))}, at: m.walk(f.X)}
	if len(f.AltCov) > 0 {
		r.covs[1] = matrix(square(f.AltCov, states))
	}
	if len(f.Weights) == 0 {
		f.Weights = make(numbers, len(f.Draws)/(len(f.X)+states+1))
	}
	for h := from; h < len(m.sights); h++ {
		if !r.take(h, s) {
			return nil
		}
	}
	f.StateCov = triangle(r.covs[0][:], states)
	if len(f.AltCov) > 0 {
		f.AltCov = triangle(r.covs[1][:], states)
	}
	odd := func(v float32) bool { return !finite(float64(v)) }
	if slices.ContainsFunc(f.Weights, odd) || slices.ContainsFunc(f.Draws, odd) {
		return nil
	}
	if !(effective(f.worth()) >= leastWorth*float64(len(f.Weights))) || !allFinite(f.States[:]) || !allFinite(f.Move) || !allFinite(f.StateCov) {
		return nil
	}
	return &f
}

// worth is what each draw weighs.
func (f *fit) worth() []float64 {
	ws, most := make([]float64, len(f.Weights)), slices.Max(f.Weights)
	for i, w := range f.Weights {
		ws[i] = math.Exp(float64(w - most))
	}
	return ws
}

// equal lists as many draws as there are, each as often as it weighs.
func (f *fit) equal(count int) []int {
	rows := make([]int, count)
	if len(f.Weights) != count {
		for i := range rows {
			rows[i] = i
		}
		return rows
	}
	ws, sum := f.worth(), 0.0
	for _, w := range ws {
		sum += w
	}
	at, acc := 0, ws[0]/sum
	for i := range rows {
		for u := (float64(i) + 0.5) / float64(count); acc < u && at < count-1; {
			at++
			acc += ws[at] / sum
		}
		rows[i] = at
	}
	return rows
}

// runner takes hours into a fit.
type runner struct {
	m    *model
	f    *fit
	covs [2]matrix // of the states; in the less likely case
	at   walker    // of the mode
}

// take takes an hour in; false where it is not what was foretold.
func (r *runner) take(h int, s *State) bool {
	m, f, days := r.m, r.f, middle(h)
	m.rate[h] = r.at.loss
	g := r.at.to(days)
	m.curve[h] = lnAbove(g.air)
	m.feed[h], m.inflow[h] = r.at.renewal(g, f.States[atOffset])
	m.slope[h] = m.inflow[h] - r.at.loss - r.at.sorb
	for i := range m.dev {
		m.dev[i].wait(hourSwing, m.apart())
	}
	hops := [2]hop{m.hopTo(h, hourDays)}
	hops[0].swell = m.swell
	hops[1] = hops[0]
	see := [states]float64{atOffset: 1, atSwing: 1, atFeed: m.feed[h]}
	m.blur(&r.covs[0], &hops[0])
	m.blur(&r.covs[1], &hops[0])
	f.Days = days
	if m.shows(h) {
		sd := r.covs[0].seen(&see)
		x := f.States
		hops[0].carry(&x)
		m.path[h], m.pathVar[h] = m.curve[h]+hops[0].sees(&x), sd*sd
		m.poolHour(h, true)
		if m.strays(h) {
			return false
		}
		for i := range hops {
			hops[i].seen = true
			hops[i].fix(&r.covs[i], m.noise(h))
		}
		if math.Abs(m.pooled[h].ln-m.path[h])*hops[0].root > oddHour {
			return false
		}
	}
	r.learn(h, &hops, s)
	if misfit := hops[0].sees(&f.States); float64(len(f.Path))*f.PathStep < days {
		f.Path = append(f.Path, misfit)
	}
	return true
}

// strays reports whether most lines of an hour look like spikes: then the stack is
// not where it was foretold.
func (m *model) strays(h int) bool {
	n := 0
	for i := range m.sights[h] {
		if m.sights[h][i].weight < 0.5 {
			n++
		}
	}
	return 2*n > len(m.sights[h])
}

// sees is what a sight sees of the states.
func (p *hop) sees(x *[states]float64) float64 {
	return x[atOffset] + x[atSwing] + p.feed*x[atFeed]
}

// follow carries the states over the hop and lets them learn what the stack showed
// less a curve; it returns the innovation in standard deviations.
func (p *hop) follow(x *[states]float64, e float64) float64 {
	p.carry(x)
	if !p.seen {
		return 0
	}
	return p.learn(x, e)
}

// learn lets the mode and every draw learn an hour.
func (r *runner) learn(h int, hops *[2]hop, s *State) {
	m, f, p := r.m, r.f, len(r.f.X)
	days := f.Days
	hops[0].follow(&f.States, m.pooled[h].ln-m.curve[h])
	for j := range p {
		hops[0].follow((*[states]float64)(f.Move[j*states:]), -s.lnSlope(j, days))
	}
	row := p + states + 1
	x := make([]float64, p)
	for i := range f.Weights {
		own := f.Draws[i*row : i*row+row]
		for j := range x {
			x[j] = float64(own[j])
		}
		var at [states]float64
		for k := range at {
			at[k] = float64(own[p+k])
		}
		hop := &hops[0]
		if isAlt(i, f.Suspect.Share) {
			hop = &hops[1]
		}
		w := m.walk(x)
		z := hop.follow(&at, m.pooled[h].ln-lnAbove(w.to(days).air))
		for k := range at {
			own[p+k] = float32(at[k])
		}
		if hop.seen {
			f.Weights[i] += float32(math.Log(hop.root) - z*z/2)
		}
	}
}
