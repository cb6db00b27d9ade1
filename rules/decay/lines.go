package decay

import "math"

// deviation is what is known of how far ln C of a line lies from the stack's: a
// fixed part, a part that goes with the release (a node that gets more or less
// than its share while gas comes), and a swing (Ornstein–Uhlenbeck).
type deviation struct {
	Mean [3]float64
	Cov  [6]float64 // lower triangle by rows
}

const (
	ofFixed = iota
	ofRelease
	ofSwing
)

// Figures of the lines.
const (
	lineFactorSD = 0.12 // of the fixed part, before the lines have spoken
	unevenDays   = 0.04 // sd of the part that goes with release, per unit of inflow/C
	lineDays     = 0.5  // correlation time of the swing
	cellSD       = 0.003
	loneVar      = 1e-12 // of a lone line against its stack: none, but divided by
	tails        = 8.0   // degrees of freedom of the readings' heavy tails
)

func (d *deviation) start(swing float64, lines int) {
	if lines == 1 { // it is the stack, as far as readings tell: the curve is fitted to it
		*d = deviation{Cov: [6]float64{loneVar, 0, loneVar, 0, 0, 0}}
		return
	}
	*d = deviation{Cov: [6]float64{lineFactorSD * lineFactorSD, 0, unevenDays * unevenDays, 0, 0, swing * swing}}
}

// apart is the sd of a line's swing against its stack's.
func (m *model) apart() float64 {
	if len(m.lines) == 1 {
		return 0
	}
	return m.size.Swing
}

// wait lets hours pass for the swing.
func (d *deviation) wait(hours, swing float64) {
	r := math.Exp(-hours * hourDays / lineDays)
	d.Mean[ofSwing] *= r
	d.Cov[3] *= r
	d.Cov[4] *= r
	d.Cov[5] = d.Cov[5]*r*r + swing*swing*(1-r*r)
}

// seen returns mean and variance of the deviation while inflow/C is feed per day,
// and the covariance of the parts with it.
func (d *deviation) seen(feed float64) (mean, v float64, with [3]float64) {
	c := &d.Cov
	with[0] = c[0] + feed*c[1] + c[3]
	with[1] = c[1] + feed*c[2] + c[4]
	with[2] = c[3] + feed*c[4] + c[5]
	return d.Mean[0] + feed*d.Mean[1] + d.Mean[2], with[0] + feed*with[1] + with[2], with
}

// learn takes a deviation e with noise variance.
func (d *deviation) learn(e, feed, noise float64) (innovation, variance float64) {
	mean, v, with := d.seen(feed)
	s := v + noise
	g := (e - mean) / s
	for i := range 3 {
		d.Mean[i] += with[i] * g
		for j := range i + 1 {
			d.Cov[i*(i+1)/2+j] -= with[i] * with[j] / s
		}
	}
	return e - mean, s
}

// pooled is the stack's ln C in one hour, from all lines that were seen.
type pooled struct {
	ln, noise float64
	seen      bool
}

// pool runs the lines' filters over the hours and fills m.pooled. With reweigh
// the spikes' weights are found again against the stack's path. It returns the log
// likelihood of the deviations.
func (m *model) pool(reweigh bool) float64 {
	n := len(m.lines)
	if cap(m.dev) < n {
		m.dev = make([]deviation, n)
	}
	m.dev = m.dev[:n]
	for i := range m.dev {
		m.dev[i].start(m.apart(), n)
	}
	ll := 0.0
	for h := range m.sights {
		if h > 0 {
			for i := range m.dev {
				m.dev[i].wait(1, m.apart())
			}
		}
		m.pooled[h] = pooled{}
		if m.shows(h) {
			ll += m.poolHour(h, reweigh)
		}
	}
	return ll
}

func (m *model) poolHour(h int, reweigh bool) float64 {
	feed, n := m.feed[h], float64(len(m.lines))
	var sum, sumW float64
	for i := range m.sights[h] {
		o := &m.sights[h][i]
		mean, v, _ := m.dev[o.line].seen(feed)
		m.look(o, h, mean, v, reweigh)
		w := 1 / (o.spread + m.size.Swing*m.size.Swing)
		sum += w * (o.aim - mean)
		sumW += w
	}
	ref, noise, missing := sum/sumW, 0.0, 1-float64(len(m.sights[h]))/n
	det, ll := 1.0, 0.0 // one logarithm for all: it is dear
	for i := range m.sights[h] {
		o := &m.sights[h][i]
		w := 1 / (o.spread + m.size.Swing*m.size.Swing) / sumW
		_, v, _ := m.dev[o.line].seen(feed)
		noise += w * w * (o.spread + missing*v)
		if len(m.sights[h]) > 1 {
			e, s := m.dev[o.line].learn(o.aim-ref, feed, o.spread)
			if o.n == 0 { // what stands for a limit is no reading, and its likelihood none
				continue
			}
			ll -= e * e / s / 2
			if det *= s; det < 1e-200 {
				ll -= math.Log(det) / 2
				det = 1
			}
		}
	}
	m.pooled[h] = pooled{ref, noise, true}
	ll -= math.Log(det) / 2
	return ll * (1 - 1/max(float64(len(m.sights[h])), 1))
}

// look sets aim and spread of a sight at the path in hand, and its weight where
// asked: by Student's t (Lange, Little & Taylor 1989, JASA 84:881). A sight that
// holds censored readings only stands for the Newton step on their likelihood
// (a tobit regression).
func (m *model) look(o *sight, h int, dev, devVar float64, reweigh bool) {
	l := m.lines[o.line]
	at := max(math.Exp(m.path[h]+dev), leastPPM)
	shift := m.slope[h] * (float64(h)*hourDays + hourDays/2 - o.days)
	floor := noiseFloor*noiseFloor + l.Resolution*l.Resolution/12
	one := func(ppm float64) float64 { return m.size.Noise*m.size.Noise + floor/(ppm*ppm) }
	o.aim, o.spread = 0, 0
	info := 0.0
	if o.n > 0 {
		v := one(max(at, o.ppm))/o.n + cellSD*cellSD
		if reweigh {
			o.weight = 1
			if m.placed {
				e := o.ln + shift - dev - m.path[h]
				o.weight = (tails + 1) / (tails + e*e/(v+devVar+m.pathVar[h]+1e-4))
			}
		}
		info = o.weight / v
		o.aim = info * (o.ln + shift)
	}
	for _, c := range [2]struct{ n, limit, sign float64 }{{o.below, l.DetectionLimit, 1}, {o.above, l.Range, -1}} {
		if c.n > 0 {
			limit := max(c.limit, leastPPM)
			aim, v := beyond(math.Log(at), math.Log(limit), c.sign, math.Sqrt(one(limit)/c.n+cellSD*cellSD+m.size.Swing*m.size.Swing/4))
			info += 1 / v
			o.aim += aim / v
		}
	}
	o.aim, o.spread = o.aim/info, 1/info
}
