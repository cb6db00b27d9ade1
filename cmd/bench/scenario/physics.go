package scenario

import "math"

const (
	stepHours = 1.0 / 60
	stepDays  = stepHours / 24
	steps     = 60 * int(Hours)
	perTrack  = 5 // steps between points of the truth
	kelvin    = 300.0
)

// run is a gas space on its way. Amounts are ppm of the whole gas space.
type run struct {
	*gasSpace
	gas, sorbed  []float64 // ppm in the node; ppm of the node's gas that its commodity holds
	left         [2]float64
	waiting      []float64 // of the doses added, by dose: not yet released
	lost, bound  float64
	gust         float64
	local        []float64
	walk         float64     // °C
	open         float64     // variance of ln leak that is expected, not drawn
	history      [][]float64 // ppm by node and point
	balance      Balance
	dGas, dSorb  []float64 // scratch
	midG, midS   []float64
	leaks, given []float64
}

// simulate runs the gas space for Hours.
func (p *plan) simulate(d draws) *run {
	n := len(p.gas.volume)
	w := &run{gasSpace: &p.gas, waiting: make([]float64, len(p.gas.added)), history: make([][]float64, n)}
	for _, v := range []*[]float64{&w.gas, &w.sorbed, &w.local, &w.dGas, &w.dSorb, &w.midG, &w.midS, &w.leaks, &w.given} {
		*v = make([]float64, n)
	}
	w.left = [2]float64{w.yield * (1 - w.slow), w.yield * w.slow}
	w.balance.Dosed = w.yield
	for i, a := range p.gas.added {
		w.waiting[i] = w.yield * a.Grams / p.grams
		w.balance.Dosed += w.waiting[i]
	}
	for k := 0; k <= steps; k++ {
		if k%perTrack == 0 {
			for i := range w.history {
				w.history[i] = append(w.history[i], w.gas[i])
			}
		}
		if k < steps {
			w.blow(float64(k)*stepHours, d)
			w.step(float64(k) * stepHours)
		}
	}
	w.close()
	return w
}

// blow moves gusts and temperature on by a step from hours; they draw as often
// with a leak as without.
func (w *run) blow(hours float64, d draws) {
	fresh := 1.0
	if w.still > 0 && hours >= w.still {
		fresh = 0
	}
	if w.gustHours > 0 {
		keep := math.Exp(-stepHours / w.gustHours)
		part := math.Sqrt(1 - keep*keep)
		g, l := w.gasSpace.gust, w.gasSpace.local
		w.gust = keep*w.gust + fresh*part*g*d.NormFloat64()
		for i := range w.local {
			w.local[i] = keep*w.local[i] + fresh*part*l*d.NormFloat64()
		}
		w.open = keep*keep*w.open + (1-fresh)*part*part*(g*g+l*l)
	}
	w.walk += fresh * w.drift * math.Sqrt(stepDays) * d.NormFloat64()
}

// step moves the gas on by a minute from hours, by Heun's rule.
func (w *run) step(hours float64) {
	w.outflow(hours)
	w.emit(hours)
	w.slope(w.gas, w.sorbed)
	for i := range w.gas {
		w.midG[i] = w.gas[i] + stepDays*w.dGas[i]/2
		w.midS[i] = w.sorbed[i] + stepDays*w.dSorb[i]/2
	}
	w.slope(w.midG, w.midS)
	for i, v := range w.volume {
		w.gas[i] += stepDays * w.dGas[i]
		w.sorbed[i] += stepDays * w.dSorb[i]
		w.lost += stepDays * w.leaks[i] * w.midG[i]
		w.bound += stepDays * v * w.bind * w.midG[i]
	}
}

// outflow sets the flow out of each node, gas spaces per day.
func (w *run) outflow(hours float64) {
	sin, cos := math.Sincos(2*math.Pi*hours/24 + w.phase)
	// Cooling draws air in at the edge; the day's wind follows its warmth.
	drawn := w.head * math.Max(0, -2*math.Pi*w.swing*cos) / kelvin
	windy := w.leak * math.Max(0, 1+w.breathing*sin)
	g, l := w.gasSpace.gust, w.gasSpace.local
	common := math.Exp(w.gust + (w.open-g*g-l*l)/2)
	for i := range w.leaks {
		w.leaks[i] = w.edge[i] * (windy*common*math.Exp(w.local[i])*(1+w.pulse.blows(i, hours)) + drawn)
	}
	for _, t := range w.tears {
		if hours >= t.onset && hours < t.until {
			// What is torn feels the wind as the edge does.
			w.leaks[t.node] += t.flow * math.Max(0, 1+w.breathing*sin) * common * math.Exp(w.local[t.node])
		}
	}
}

// emit lets phosphide release for a step, ppm per day by node.
func (w *run) emit(hours float64) {
	felt := w.core*w.swing*math.Sin(2*math.Pi*hours/24+w.phase) + w.walk + w.pulse.warms(hours)
	rate := w.release * math.Exp(0.07*felt)
	out := 0.0
	if a := w.awake(hours); a > 0 {
		out += w.spend(&w.left[0], a*rate) + w.spend(&w.left[1], a*rate/3)
	}
	for i, d := range w.added {
		if a := w.awake(hours - d.Hours); a > 0 {
			out += w.spend(&w.waiting[i], a*rate)
		}
	}
	for i := range w.given {
		w.given[i] = w.feed[i] * out
	}
}

// awake is how far the release has begun, hours after dosing.
func (w *run) awake(hours float64) float64 {
	u := hours + stepHours - w.lag // of the step that begins now
	if u <= 0 {
		return 0
	}
	if w.ramp > 0 {
		return -math.Expm1(-math.Max(0, u-stepHours/2) / w.ramp)
	}
	return math.Min(1, u/stepHours)
}

// spend takes a step's share from what is left, and returns it per day.
func (w *run) spend(left *float64, rate float64) float64 {
	gone := *left * -math.Expm1(-rate*stepDays)
	*left -= gone
	return gone / stepDays
}

// slope sets the rates of change of the gas and of what is sorbed.
func (w *run) slope(gas, sorbed []float64) {
	for i, v := range w.volume {
		flow := w.given[i] - w.leaks[i]*gas[i]
		for j, x := range w.exchange[i] {
			flow += x * (gas[j] - gas[i])
		}
		w.dSorb[i] = w.sorb*gas[i] - w.free*sorbed[i]
		w.dGas[i] = flow/v - w.dSorb[i] - w.bind*gas[i]
	}
}

// close makes up the balance.
func (w *run) close() {
	b := &w.balance
	b.Unreleased, b.Lost, b.Bound = w.left[0]+w.left[1], w.lost, w.bound
	for _, x := range w.waiting {
		b.Unreleased += x
	}
	for i, v := range w.volume {
		b.Gas += v * w.gas[i]
		b.Sorbed += v * w.sorbed[i]
	}
}

// tracks are the nodes' histories by line.
func (w *run) tracks(nodeOf []int) [][]float64 {
	out := make([][]float64, len(nodeOf))
	for l, n := range nodeOf {
		out[l] = w.history[n]
	}
	return out
}
