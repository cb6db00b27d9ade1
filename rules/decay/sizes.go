package decay

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/floats"
)

// size is the sizes of the misfit: fitted to each stack. Most stacks feel the wind;
// one that stands out of it shows next to none, and is then forecast far more closely.
type size struct {
	Noise float64 // share of a reading
	Swing float64 // sd of a line's swing, of ln C
	Gust  float64 // sd of the fast swing of the loss rate, of the loss rate
	Slow  float64 // sd of the slow one
}

// Places of the sizes.
const (
	ofNoise = iota
	ofLines
	ofGust
	ofSlow
)

const (
	sizeSteeper = 3       // the priors of sizes fall off so much faster above their middle
	calmShare   = 1.0 / 6 // of stacks, that stand out of the wind
)

// sizes that are tried, and what is thought of the logs of sizes beforehand.
var (
	firstSize = size{Noise: 0.025, Swing: 0.012, Gust: 0.2, Slow: 0.1}
	calmSize  = size{Swing: 0.002, Gust: 0.008, Slow: 0.005} // what a stack out of the wind shows
	breeze    = size{Swing: 0.008, Gust: 0.1, Slow: 0.04}    // what a calm one is held against
	sizeTries = [4][]float64{
		{0.007, 0.01, 0.014, 0.02, 0.028, 0.04, 0.056},
		{0.001, 0.002, 0.004, 0.008, 0.016, 0.03, 0.06},
		{0.003, 0.01, 0.03, 0.06, 0.12, 0.2, 0.3, 0.45, 0.7},
		{0.003, 0.01, 0.02, 0.04, 0.08, 0.16, 0.3},
	}
	sizePrior = [4]normal{{math.Log(0.025), 0.6}, {math.Log(0.012), 1.2}, {math.Log(0.25), 1.2}, {math.Log(0.06), 1.2}}
)

// calm reports whether the sizes are those of a stack out of the wind.
func (z *size) calm() bool { return z.Gust == calmSize.Gust }

func (z *size) all() [4]*float64 { return [4]*float64{&z.Noise, &z.Swing, &z.Gust, &z.Slow} }

// chooseSizes moves the sizes of the misfit, one at a time, to where the readings are
// most likely (a Laplace approximation of the evidence, with the weights kept), and
// holds a windy stack against a calm one when it comes to the gusts.
func (m *model) chooseSizes(x []float64, which []int) {
	m.pooledFor = size{}
	best := m.evidence(x)
	for _, k := range which {
		if k != ofNoise && m.size.calm() {
			continue
		}
		p := m.size.all()[k]
		here := nearest(sizeTries[k], *p)
		for _, side := range []int{-1, 1} {
			moved := false
			for next := here + side; next >= 0 && next < len(sizeTries[k]); next += side {
				old := *p
				*p = sizeTries[k][next]
				e := m.evidence(x)
				if !(e > best) {
					*p = old
					break
				}
				best, moved = e, true
			}
			if moved {
				break
			}
		}
	}
	if slices.Contains(which, ofGust) {
		m.windOrCalm(x, best)
	}
}

// windOrCalm goes over to the other of the two where its evidence is above what there
// is.
func (m *model) windOrCalm(x []float64, evidence float64) {
	was := m.size
	m.size = calmSize
	if was.calm() {
		m.size = breeze
		m.size.Swing = was.Swing // lines that keep together tell nothing of the wind
	}
	m.size.Noise = was.Noise
	if !(m.evidence(x) > evidence) {
		m.size = was
	}
}

func nearest(list []float64, x float64) int {
	at := 0
	for i, v := range list {
		if math.Abs(math.Log(v/x)) < math.Abs(math.Log(list[at]/x)) {
			at = i
		}
	}
	return at
}

// evidence is the log likelihood of the readings at the sizes in hand with the
// parameters integrated out, up to a constant.
func (m *model) evidence(x []float64) float64 {
	if z := m.pooledFor; z.Noise != m.size.Noise || z.Swing != m.size.Swing {
		m.pooledLL, m.pooledFor = m.pool(false), m.size
	}
	_, logDet := m.track(m.suspect.Open)
	n, p := m.seen(), len(x)
	r, jac := make([]float64, n+p), make([]float64, (n+p)*p)
	m.residuals(x, r, jac)
	normal, grad := make([]float64, p*p), make([]float64, p)
	normalEquations(r, jac, normal, grad)
	root, ok := lower(normal, p)
	if !ok {
		return math.Inf(-1)
	}
	for j := range p {
		logDet += 2 * math.Log(root[j*p+j])
	}
	divide(root, grad, grad) // a step to the best parameters takes off the square of this
	return m.pooledLL - (floats.Dot(r, r)-floats.Dot(grad, grad)+logDet+m.size.surprise())/2
}

// surprise is how far the sizes lie from what is thought of them beforehand, as a sum
// of squares. A calm stack knows no sizes but the noise.
func (z *size) surprise() float64 {
	sum := 0.0
	if z.calm() {
		sum = 2 * math.Log((1-calmShare)/calmShare)
	}
	for k, v := range z.all() {
		if k != ofNoise && z.calm() {
			break
		}
		d := (math.Log(*v) - sizePrior[k].mean) / sizePrior[k].sd
		if d > 0 {
			d *= sizeSteeper
		}
		sum += d * d
	}
	return sum
}
