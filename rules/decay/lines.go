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

// wait lets a time pass for the swing, of which a share r stays.
func (d *deviation) wait(r, swing float64) {
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
	e -= mean
	s := v + noise
	by := 1 / s
	for i, w := range with {
		gain := w * by
		d.Mean[i] += gain * e
		for j := range i + 1 {
			d.Cov[i*(i+1)/2+j] -= gain * with[j]
		}
	}
	return e, s
}

// pooled is the stack's ln C in one hour, from all lines that were seen.
type pooled struct {
	ln, noise float64
	seen      bool
}

// pool runs the filters of the lines over the hours and fills m.pooled, the stack's ln C by hour.
// With reweigh, what looks like a spike is found anew, by the path of the stack. It returns the
// log likelihood of how the lines deviate from the stack.
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
				m.dev[i].wait(hourSwing, m.apart())
			}
		}
		m.pooled[h] = pooled{}
		if m.shows(h) {
			ll += m.poolHour(h, reweigh)
		}
	}
	return ll
}

// view is what a sight says at the parameters and the path in hand.
type view struct {
	aim, spread float64 // ln ppm and variance that stand for it
	devVar      float64 // of the line from the stack beforehand
	part        float64 // of what the sights of the hour say together, up to a factor
}

func (m *model) poolHour(h int, reweigh bool) float64 {
	feed, sights := m.feed[h], m.sights[h]
	var sum, sumW float64
	m.views = m.views[:0]
	for i := range sights {
		mean, v, _ := m.dev[sights[i].line].seen(feed)
		m.views = append(m.views, m.look(&sights[i], h, mean, v, reweigh))
		o := &m.views[i]
		sum += o.part * (o.aim - mean)
		sumW += o.part
	}
	ref, noise, missing := sum/sumW, 0.0, 1-float64(len(sights))/float64(len(m.lines))
	det, ll := 1.0, 0.0 // one logarithm for all: it is dear
	for i := range m.views {
		o := &m.views[i]
		noise += o.part * o.part * (o.spread + missing*o.devVar)
		if len(sights) > 1 {
			e, s := m.dev[sights[i].line].learn(o.aim-ref, feed, o.spread)
			if sights[i].n == 0 { // what stands for a limit is no reading, and its likelihood none
				continue
			}
			ll -= e * e / s / 2
			if det *= s; det < 1e-200 {
				ll -= math.Log(det) / 2
				det = 1
			}
		}
	}
	m.pooled[h] = pooled{ref, noise / (sumW * sumW), true}
	ll -= math.Log(det) / 2
	return ll * (1 - 1/max(float64(len(sights)), 1))
}

// look is the view of a sight, whose weight it sets where asked: by Student's t (Lange,
// Little & Taylor 1989, JASA 84:881). A sight that holds censored readings only stands
// for the Newton step on their likelihood (a tobit regression).
func (m *model) look(o *sight, h int, dev, devVar float64, reweigh bool) view {
	l := &m.lines[o.line]
	now := m.path[h] + dev // ln of what the line should show
	floor := noiseFloor*noiseFloor + l.Resolution*l.Resolution/12
	noise := func(ppm, n float64) float64 { return (m.size.Noise*m.size.Noise+floor/(ppm*ppm))/n + cellSD*cellSD }
	aim, spread := 0.0, math.Inf(1)
	if o.n > 0 {
		ppm := max(o.ppm, leastPPM)
		if now > o.ln {
			ppm = math.Exp(now)
		}
		v := noise(ppm, o.n)
		aim = o.ln + m.slope[h]*(middle(h)-o.days)
		if reweigh {
			o.weight = 1
			if m.placed {
				e := aim - now
				o.weight = (tails + 1) / (tails + e*e/(v+devVar+m.pathVar[h]+1e-4))
			}
		}
		spread = v / o.weight
	}
	censored := func(n, limit, sign float64) {
		limit = max(limit, leastPPM)
		to, v := beyond(max(now, math.Log(leastPPM)), math.Log(limit), sign, math.Sqrt(noise(limit, n)+m.size.Swing*m.size.Swing/4))
		both := 1 / (1/spread + 1/v)
		aim, spread = (aim/spread+to/v)*both, both
	}
	if o.below > 0 {
		censored(o.below, l.DetectionLimit, 1)
	}
	if o.above > 0 {
		censored(o.above, l.Range, -1)
	}
	return view{aim, spread, devVar, 1 / (spread + m.size.Swing*m.size.Swing)}
}
