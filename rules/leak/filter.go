package leak

import "math"

// track is a Kalman filter over a level and the rates that drive it. A reading observes the
// level, which is the first state. The rates are kept in units of their standard deviation,
// which is given anew at each step, so that what was learned of them stays valid when that
// changes.
type track struct {
	Mean doubles
	Cov  doubles // full, by rows
}

// filter holds what is left of ln C once the expected change is taken off: a track of the
// stack, and one of each line for how far it lies from the stack. A reading of a line observes
// the sum of both levels. The covariance of the two tracks is neglected, since many readings of
// other lines come between two of one line.
type filter struct {
	Stack track
	Lines []track
}

// States of the stack, and of a line.
const (
	atLevel     = iota
	atGust      // fast rate: gusts
	atSlope     // slow rate: error of the fit, weather
	atSin       // rates that swing with the day
	atCos       //
	stackStates = iota

	atMix      = 1 // rate of a line: uneven mixing
	lineStates = 2
)

// Times, in hours, over which the rates change, and random walks of the levels,
// in ln C per square-root hour. From memory and from the simulation of the tests.
const (
	gustHours  = 2.0
	slopeHours = 72.0 // at the most: half the age of the gas
	dayHours   = 96.0
	mixHours   = 24.0
	stackWalk  = 0.0006
	lineWalk   = 0.0005
)

// sizes of the rates at a step, standard deviations per hour.
type sizes struct {
	gust, slope, day, mix float64
	slopeHours            float64 // over which the slow rate changes
	young                 float64 // hours for which what the stack did counts for less
}

func newTrack(states int) track {
	t := track{Mean: make(doubles, states), Cov: make(doubles, states*states)}
	for i := 1; i < states; i++ {
		t.Cov[i*states+i] = 1
	}
	return t
}

func newFilter(lines int) filter {
	f := filter{Stack: newTrack(stackStates), Lines: make([]track, lines)}
	for i := range f.Lines {
		f.Lines[i] = newTrack(lineStates)
	}
	return f
}

func (t *track) fits(states int) bool { return len(t.Mean) == states && len(t.Cov) == states*states }

func (f *filter) fits(lines int) bool {
	ok := f.Stack.fits(stackStates) && len(f.Lines) == lines
	for i := range f.Lines {
		ok = ok && f.Lines[i].fits(lineStates)
	}
	return ok
}

// move couples the level with the rate that drives it over one step.
type move struct {
	rate                 int
	gain, keep           float64
	qLevel, qBoth, qRate float64
}

// moves are what a step does to the stack, and to each line.
type moves struct {
	stack [stackStates - 1]move
	line  [lineStates - 1]move
}

// over is the move of an Ornstein–Uhlenbeck rate of standard deviation sd and
// correlation time tau over dt hours, integrated into the level.
func over(rate int, sd, tau, dt float64) move {
	keep := math.Exp(-dt / tau)
	return move{rate: rate, gain: sd * tau * (1 - keep), keep: keep, qRate: 1 - keep*keep, qBoth: sd * tau * (1 - keep) * (1 - keep),
		qLevel: sd * sd * tau * tau * max(2*dt/tau-3+4*keep-keep*keep, 0)}
}

// swung is the move of a slowly changing amplitude whose share at the middle of
// the step is given.
func swung(rate int, sd, share, dt float64) move {
	keep := math.Exp(-dt / dayHours)
	return move{rate: rate, gain: sd * share * dt, keep: keep, qRate: 1 - keep*keep}
}

// moves lists what a step of dt hours that ends at hours does.
func (z sizes) moves(hours, dt float64) moves {
	sin, cos := math.Sincos(2 * math.Pi * (hours - dt/2) / 24)
	m := moves{
		stack: [...]move{over(atGust, z.gust, gustHours, dt), over(atSlope, z.slope, z.slopeHours, dt), swung(atSin, z.day, sin, dt), swung(atCos, z.day, cos, dt)},
		line:  [...]move{over(atMix, z.mix, mixHours, dt)},
	}
	m.stack[0].qLevel += stackWalk * stackWalk * dt
	m.line[0].qLevel += lineWalk * lineWalk * dt
	return m
}

// predict carries the filter over a step.
func (f *filter) predict(ms *moves) {
	f.Stack.predict(ms.stack[:])
	for i := range f.Lines {
		f.Lines[i].predict(ms.line[:])
	}
}

func (t *track) predict(ms []move) {
	d := len(t.Mean)
	level := t.Cov[:d]
	for i := range ms {
		m := &ms[i]
		t.Mean[0] += m.gain * t.Mean[m.rate]
		t.Mean[m.rate] *= m.keep
		rate := t.Cov[m.rate*d : m.rate*d+d]
		for j := range level {
			level[j] += m.gain * rate[j]
			rate[j] *= m.keep
		}
		for i := range d {
			row := t.Cov[i*d : i*d+d]
			row[0] += m.gain * row[m.rate]
			row[m.rate] *= m.keep
		}
		level[0] += m.qLevel
		level[m.rate] += m.qBoth
		rate[0] += m.qBoth
		rate[m.rate] += m.qRate
	}
}

// gains are what an innovation moves the states of the stack or of its line by.
type gains struct {
	stack [stackStates]float64
	line  [lineStates]float64
}

// see returns what is predicted of line i, and the variance of that.
func (f *filter) see(i int) (mean, variance float64) {
	return f.Stack.Mean[0] + f.Lines[i].Mean[0], max(f.Stack.Cov[0]+f.Lines[i].Cov[0], 0)
}

// clipped returns an innovation and its variance, which is that of the noise and of the level
// together. An innovation far larger than that is made smaller, since it may be a wild reading.
func (t *track) clipped(innovation, noise float64) (e, total float64) {
	return innovation, max(t.Cov[0]+noise, innovation*innovation/(clipSD*clipSD))
}

// update takes an innovation whose variance is total, and gives what it moved the
// states by.
func (t *track) update(innovation, total float64, gain []float64) {
	d := len(t.Mean)
	for j := range gain {
		gain[j] = t.Cov[j*d] / total
	}
	for j, g := range gain {
		t.Mean[j] += g * innovation
		row := t.Cov[j*d : j*d+d]
		for k := range row {
			row[k] -= g * gain[k] * total
		}
	}
}

// place sets the level of line i so that a reading of residual y with the
// variance noise is met, and forgets what was known of it.
func (f *filter) place(i int, y, noise float64) {
	f.Lines[i] = newTrack(lineStates)
	f.Lines[i].Mean[0] = y - f.Stack.Mean[0]
	f.Lines[i].Cov[0] = noise
}

// sound reports whether the numbers can still be used.
func (f *filter) sound() bool {
	ok := f.Stack.sound()
	for i := range f.Lines {
		ok = ok && f.Lines[i].sound()
	}
	return ok
}

func (t *track) sound() bool {
	d := len(t.Mean)
	for i, x := range t.Mean {
		if !finite(x) || math.Abs(x) > 1e3 || !(t.Cov[i*d+i] >= 0 && t.Cov[i*d+i] < 1e12) {
			return false
		}
	}
	return true
}
