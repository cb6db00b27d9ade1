package leak

import "math"

// filter is a Kalman filter over what the expected change leaves of ln C. Level
// and rates of the stack come first, then the level of each line, then its rate.
// A reading of line i sees level + level of i. The rates are Ornstein–Uhlenbeck
// processes of unit variance; their size is given at each step, so that what was
// learned keeps its meaning when the size changes.
type filter struct {
	Mean doubles
	Cov  doubles // full, by rows
}

// Places of the states of the stack.
const (
	atLevel = iota
	atGust  // fast rate: gusts
	atSlope // slow rate: error of the fit, day-night swing
	stackStates
)

// Times, in hours, over which the rates change, and random walks of the levels,
// in ln C per square-root hour. From memory and from the simulation of the tests.
const (
	gustHours  = 2.0
	slopeHours = 36.0 // at the most: half the age of the gas
	mixHours   = 12.0
	stackWalk  = 0.0006
	lineWalk   = 0.0005
)

// sizes of the rates at a step, standard deviations per hour.
type sizes struct {
	gust, slope, mix float64
	slopeHours       float64 // over which the slow rate changes
}

func dim(lines int) int { return stackStates + 2*lines }

// lineLevel is the place of the level of a line; its rate is lines places on.
func lineLevel(i int) int { return stackStates + i }

func newFilter(lines int) filter {
	d := dim(lines)
	f := filter{Mean: make(doubles, d), Cov: make(doubles, d*d)}
	f.Cov[atGust*d+atGust], f.Cov[atSlope*d+atSlope] = 1, 1
	for i := range lines {
		j := lineLevel(i) + lines
		f.Cov[j*d+j] = 1
	}
	return f
}

func (f *filter) fits(lines int) bool {
	d := dim(lines)
	return len(f.Mean) == d && len(f.Cov) == d*d
}

// move couples a level with the rate that drives it over one step.
type move struct {
	level, rate int
	gain, keep  float64 // level += gain·rate; rate *= keep
	qLevel      float64 // variances that the step adds
	qBoth       float64
	qRate       float64
}

// over describes a step of dt hours for a rate of standard deviation sd and
// correlation time tau: an integrated Ornstein–Uhlenbeck process (Gardiner,
// Handbook of Stochastic Methods, 3.8.4).
func over(level, rate int, sd, tau, dt float64) move {
	keep := math.Exp(-dt / tau)
	return move{level: level, rate: rate, gain: sd * tau * (1 - keep), keep: keep, qRate: 1 - keep*keep, qBoth: sd * tau * (1 - keep) * (1 - keep),
		qLevel: sd * sd * tau * tau * max(2*dt/tau-3+4*keep-keep*keep, 0)}
}

// moves lists what a step of dt hours does.
func (z sizes) moves(lines int, dt float64) []move {
	ms := make([]move, 0, 2+lines)
	ms = append(ms, over(atLevel, atGust, z.gust, gustHours, dt), over(atLevel, atSlope, z.slope, z.slopeHours, dt))
	ms[0].qLevel += stackWalk * stackWalk * dt
	m := over(0, 0, z.mix, mixHours, dt)
	m.qLevel += lineWalk * lineWalk * dt
	for i := range lines {
		m.level, m.rate = lineLevel(i), lineLevel(i)+lines
		ms = append(ms, m)
	}
	return ms
}

// predict carries mean and covariance over a step.
func (f *filter) predict(ms []move) {
	d := len(f.Mean)
	for _, m := range ms {
		f.Mean[m.level] += m.gain * f.Mean[m.rate]
		f.Mean[m.rate] *= m.keep
		level, rate := f.Cov[m.level*d:m.level*d+d], f.Cov[m.rate*d:m.rate*d+d]
		for j := range level {
			level[j] += m.gain * rate[j]
			rate[j] *= m.keep
		}
		for i := range d {
			row := f.Cov[i*d : i*d+d]
			row[m.level] += m.gain * row[m.rate]
			row[m.rate] *= m.keep
		}
		level[m.level] += m.qLevel
		level[m.rate] += m.qBoth
		rate[m.level] += m.qBoth
		rate[m.rate] += m.qRate
	}
}

// see returns what is predicted of line i, and the variance of that.
func (f *filter) see(i int) (mean, variance float64) {
	d, v := len(f.Mean), lineLevel(i)
	return f.Mean[atLevel] + f.Mean[v], max(f.Cov[atLevel*d+atLevel]+2*f.Cov[atLevel*d+v]+f.Cov[v*d+v], 0)
}

// update takes an innovation of line i whose variance is total, prediction and
// noise together, and returns the gain.
func (f *filter) update(i int, innovation, total float64, gain []float64) {
	d, v := len(f.Mean), lineLevel(i)
	for j := range d {
		gain[j] = (f.Cov[j*d+atLevel] + f.Cov[j*d+v]) / total
	}
	for j := range d {
		f.Mean[j] += gain[j] * innovation
		row := f.Cov[j*d : j*d+d]
		for k := range d {
			row[k] -= gain[j] * gain[k] * total
		}
	}
}

// place sets the level of line i so that a reading of residual y with the
// variance noise is met, and forgets what was known of it.
func (f *filter) place(i int, y, noise float64) {
	d, v := len(f.Mean), lineLevel(i)
	f.Mean[v] = y - f.Mean[atLevel]
	for j := range d {
		// y = level + line level exactly, up to noise
		f.Cov[v*d+j] = -f.Cov[atLevel*d+j]
	}
	f.Cov[v*d+v] = f.Cov[atLevel*d+atLevel] + noise
	for j := range d {
		f.Cov[j*d+v] = f.Cov[v*d+j]
	}
}

// sound reports whether the numbers can still be used.
func (f *filter) sound() bool {
	d := len(f.Mean)
	for i, x := range f.Mean {
		if !finite(x) || math.Abs(x) > 1e3 || !(f.Cov[i*d+i] >= 0 && f.Cov[i*d+i] < 1e12) {
			return false
		}
	}
	return true
}
