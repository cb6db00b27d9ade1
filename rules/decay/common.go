package decay

import "math"

// Places of the states of what the stack's curve leaves out of ln C: the
// offset that the loss rate's swings have left behind, the slow and the fast swing of
// the loss rate (shares of the loss rate, Ornstein–Uhlenbeck), the mean of the
// lines' swings, the part that goes with the release, the daily breathing (sine and
// cosine, shares of the loss rate), and what the loss rate changed by for good without being told.
//
//	dz/dt = −k·(w + f + a·sin 2πt + b·cos 2πt + j) − g·z + h·e
//
// where g is what comes into the gas space over what is there, per day: an offset is
// forgotten as new gas comes, see [walker.renewal].
const (
	atOffset = iota
	atSlow
	atGust
	atSwing
	atFeed
	atSin
	atCos
	atJump
	states
)

// Figures of the misfit.
const (
	slowDays    = 2.5
	gustDays    = 0.2
	breathShare = 0.8   // sd of the daily breathing, of the gusts'
	breathMost  = 0.25  // of the loss rate
	feedSD      = 0.004 // days: of the part that goes with the release
	mostFeed    = 24.0
	leastSweep  = 0.5 // beyond, an offset is no small one any more
	mostSweep   = 1.5
	earlyNoise  = 0.05 // hours: what mixing leaves undone, over the time since the release began
	laidSD      = 0.05 // of ln C: gas that goes while the sheet is open to add a dose, from memory
	startNoise  = 0.5  // what the first hour of release is wrong by, falling with the square of time
)

// hop is the linear step of the states into an hour, and what is seen there: the path
// makes the step, the filter's covariance the rest.
type hop struct {
	stay, drive       float64 // of the offset; of the rates into it
	slow, gust, swing float64 // what stays of them
	sin, cos          float64 // mean over the step
	seen              bool
	feed              float64
	gain              [states]float64
	root              float64 // 1/√(innovation variance)
	jumps             bool    // the loss rate may jump here
	swell             float64 // by how much gusts have grown with the loss rate
}

// matrix of the states by rows.
type matrix [states * states]float64

// carry moves a mean over the hop.
func (p *hop) carry(x *[states]float64) {
	x[atOffset] = p.stay*x[atOffset] - p.drive*(x[atSlow]+x[atGust]+p.sin*x[atSin]+p.cos*x[atCos]+x[atJump])
	x[atSlow] *= p.slow
	x[atGust] *= p.gust
	x[atSwing] *= p.swing
}

// What stays of the swings over an hour.
var hourSlow, hourGust, hourSwing = math.Exp(-hourDays / slowDays), math.Exp(-hourDays / gustDays), math.Exp(-hourDays / lineDays)

// hopTo describes the step of days that ends at the middle of hour h.
func (m *model) hopTo(h int, days float64) hop {
	p, t := m.still(h, days), middle(h)
	p.sin, p.cos = math.Sincos(2 * math.Pi * (t - days/2))
	return p
}

// still is hopTo without the time of day.
func (m *model) still(h int, days float64) hop {
	g := m.inflow[h]
	p := hop{stay: math.Exp(-g * days), slow: hourSlow, gust: hourGust, swing: hourSwing, feed: m.feed[h], swell: 1}
	if days != hourDays {
		p.slow, p.gust, p.swing = math.Exp(-days/slowDays), math.Exp(-days/gustDays), math.Exp(-days/lineDays)
	}
	p.drive = m.rate[h] * days
	if g*days > 1e-6 {
		p.drive = m.rate[h] * (1 - p.stay) / g
	}
	return p
}

// blur carries a covariance over the hop and adds what the process does in it.
func (m *model) blur(c *matrix, p *hop) {
	keep := [states]float64{atSlow: p.slow, atGust: p.gust, atSwing: p.swing, atFeed: 1, atSin: 1, atCos: 1, atJump: 1}
	push := [states]float64{atOffset: p.stay, atSlow: -p.drive, atGust: -p.drive, atSin: -p.drive * p.sin, atCos: -p.drive * p.cos, atJump: -p.drive}
	var top [states]float64 // the offset's row of F·P
	for i, w := range push {
		if w != 0 {
			row := (*[states]float64)(c[i*states:])
			for j := range top {
				top[j] += w * row[j]
			}
		}
	}
	c[0] = 0 // (F·P)·Fᵀ
	for j, w := range push {
		c[0] += w * top[j]
	}
	for i := 1; i < states; i++ {
		c[i] = top[i] * keep[i]
		row := (*[states]float64)(c[i*states:])
		row[0] = c[i]
		for j := 1; j <= i; j++ {
			row[j] *= keep[i] * keep[j]
			c[j*states+i] = row[j]
		}
	}
	add := func(i int, sd, stays float64) {
		q := sd * sd * (1 - stays*stays)
		c[i*states+i] += q
		if i != atSwing {
			c[i*states] -= p.drive / 2 * q
			c[i] -= p.drive / 2 * q
			c[0] += p.drive * p.drive / 3 * q
		}
	}
	add(atSlow, m.size.Slow*p.swell, p.slow)
	add(atGust, m.size.Gust*p.swell, p.gust)
	add(atSwing, m.meanSwing(), p.swing)
}

// breathing is the sd of each of the daily coefficients.
func (m *model) breathing() float64 { return min(breathShare*m.size.Gust, breathMost) }

func (m *model) meanSwing() float64 {
	return m.size.Swing / math.Sqrt(max(float64(len(m.lines)), 1))
}

// open is the covariance of the states at t = 0.
func (m *model) open() matrix {
	var c matrix
	for i, sd := range [states]float64{atSlow: m.size.Slow, atGust: m.size.Gust, atSwing: m.meanSwing(), atFeed: m.feedSD(), atSin: m.breathing(), atCos: m.breathing()} {
		c[i*states+i] = sd * sd
	}
	return c
}

// feedSD is the sd of the stack's part that goes with the release: what the lines
// show of it, over their number. A lone line shows nothing of it.
func (m *model) feedSD() float64 {
	v := feedSD * feedSD
	if len(m.lines) == 1 {
		v += unevenDays * unevenDays
	}
	for i := range m.dev {
		v += m.dev[i].Mean[ofRelease] * m.dev[i].Mean[ofRelease] / float64(len(m.dev)*len(m.dev))
	}
	return math.Sqrt(v)
}

// track runs the filter's covariance over the hours at the path in hand: it fills
// m.hops and returns the last covariance and the sum of the logs of the innovations'
// variances. jump is an hour at which the loss rate may have changed beside those
// that were told; −1 for none.
func (m *model) track(jump int) (matrix, float64) {
	return m.trackOn(mark{c: m.open()}, jump, nil)
}

// mark is where the filter stands before an hour: its covariance, and the sum of logs so
// far.
type mark struct {
	hour   int
	c      matrix
	logDet float64
}

// trackOn is track from a mark on. It leaves marks of the last hours, where there is room
// for any.
func (m *model) trackOn(from mark, jump int, marks []mark) (matrix, float64) {
	c, logDet, first := from.c, from.logDet, len(m.hops)-len(marks)
	det := 1.0 // one logarithm for many hours: it is dear
	for h := from.hour; h < len(m.hops); h++ {
		if h >= first {
			marks[h-first] = mark{h, c, logDet + math.Log(det)}
		}
		p := &m.hops[h]
		p.seen, p.jumps, p.swell = m.pooled[h].seen, m.settled[h] || h == jump, 1
		if h >= m.grown {
			p.swell = m.swell
		}
		m.blur(&c, p)
		c[0] += m.laid((float64(h)-0.5)*hourDays, (float64(h)+0.5)*hourDays)
		c[0] += m.unsure[h]
		if p.jumps {
			sd := max(jumpSD, leastJump/max(m.rate[h], 1e-3))
			c[atJump*states+atJump] += sd * sd
		}
		if p.seen {
			if det *= p.fix(&c, m.noise(h)); !(1e-200 < det && det < 1e200) {
				logDet, det = logDet+math.Log(det), 1
			}
		} else if m.exact && len(m.sights[h]) > 0 {
			sd := c.seen(&[states]float64{atOffset: 1, atSwing: 1, atFeed: p.feed})
			p.root = 1 / math.Hypot(sd, m.size.Noise)
		}
	}
	return c, logDet + math.Log(det)
}

// laid is the variance that doses bring that were added between two times in days:
// the sheet was open for them.
func (m *model) laid(from, to float64) float64 {
	v := 0.0
	for _, d := range m.doses {
		if d > from && d <= to {
			v += laidSD * laidSD
		}
	}
	return v
}

// noise is the variance of the stack's ln C as it was pooled in an hour.
func (m *model) noise(h int) float64 {
	f := m.feed[h] * hourDays
	if m.curve[h] <= 0 {
		f = 1
	}
	early := earlyNoise*f + startNoise*f*f
	return m.pooled[h].noise + early*early + m.soft*m.soft*(1+10*f)
}

// fix lets the covariance learn a reading and keeps the gain; it returns the innovation's
// variance.
func (p *hop) fix(c *matrix, noise float64) float64 {
	var with [states]float64
	for i := range states {
		with[i] = c[atOffset*states+i] + c[atSwing*states+i] + p.feed*c[atFeed*states+i]
	}
	s := p.sees(&with) + noise
	p.root = 1 / math.Sqrt(s)
	for i, w := range with {
		p.gain[i] = w / s
		row := (*[states]float64)(c[i*states:])
		for j := range i + 1 {
			row[j] -= p.gain[i] * with[j]
			c[j*states+i] = row[j]
		}
	}
	return s
}

// whiten turns what the stack showed less the curve in hand into independent residuals
// of unit variance in out (its length counts the hours with a sight), and returns the
// states' mean at the end. each, where not nil, sees the states of every hour.
func (m *model) whiten(out []float64, each func(line, h int, x *[states]float64)) [states]float64 {
	var x [1][states]float64
	left := make([]float64, len(m.curve))
	for h, ln := range m.curve {
		left[h] = m.pooled[h].ln - ln
	}
	m.whitenLines(x[:], left, out, 1, each)
	return x[0]
}

// whitenLines does so with several lines (ln, each by hour) one beside the other: x are
// the states' means of each, which it moves on, and out has as much room for each. Jumps
// of the loss rate are expected as often as jumps says: 1, or 0 for a derivative.
func (m *model) whitenLines(x [][states]float64, lines, out []float64, jumps float64, each func(line, h int, x *[states]float64)) {
	n, room, hours := 0, len(out)/len(x), len(m.hops)
	for h := range m.hops {
		p := &m.hops[h]
		for j := range x {
			own := &x[j]
			p.carry(own)
			if p.jumps {
				own[atJump] += jumps * jumpMean
			}
			if p.seen {
				out[j*room+n] = p.learn(own, lines[j*hours+h])
			}
			if each != nil {
				each(j, h, own)
			}
		}
		n += btoi(p.seen)
	}
}

// learn lets the states learn what the stack showed less a curve; it returns the
// innovation in standard deviations.
func (p *hop) learn(x *[states]float64, e float64) float64 {
	e -= p.sees(x)
	for i, g := range p.gain {
		x[i] += g * e
	}
	return e * p.root
}

// renewal is the release over what is there, per day, and all that comes over what is
// there as far as it makes an offset z of ln C be forgotten: of dz/dt = g·(e^(−z) − 1), the
// factor of −z. Gas that comes into an emptied stack fills it sooner than the curve.
func (w *walker) renewal(g gas, z float64) (feed, inflow float64) {
	c := max(g.air, leastPPM)
	feed = min(w.feed()/c, mostFeed)
	return feed, min((feed+w.free*g.held/c)*sweeps(z), 2*mostFeed)
}

// sweeps is (e^(−z) − 1)/(−z), within bounds.
func sweeps(z float64) float64 {
	if math.Abs(z) < 1e-6 {
		return 1
	}
	return min(max(-math.Expm1(-z)/z, leastSweep), mostSweep)
}
