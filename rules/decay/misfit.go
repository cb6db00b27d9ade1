package decay

import "math"

// misfit is the process that stands for what the curve leaves out, in ln C. Its
// states are a swing common to all lines (u, Ornstein–Uhlenbeck), a slow error
// of the loss rate (w per day, Ornstein–Uhlenbeck) with its integral z, and a
// swing of each line (v). A reading of line i sees spread·(u + v_i) + z.
type misfit struct {
	lossSD float64 // stationary sd of w, per day
	lines  int
}

// Figures of the misfit, from a simulation that is richer than the curve (see
// the tests): sd of ln C, and correlation times in days.
const (
	commonSD, commonDays = 0.012, 0.35
	lineSD, lineDays     = 0.020, 0.35
	lossDays             = 3.0
	changeSD             = 0.5  // per day: how far the loss may jump when it is told that it changed
	earlySpread          = 15.0 // the gas is not yet mixed: swings are this much larger at t = 0 …
	earlyDays            = 0.30 // … and calm down over this time
)

// Places of the states.
const (
	atU = iota
	atW
	atZ
	atV
)

func (m misfit) dim() int { return atV + m.lines }

// spread is how much larger the swings are days after t = 0 than later.
func spread(days float64) float64 { return 1 + earlySpread*math.Exp(-max(days, 0)/earlyDays) }

// start is the covariance of the states at t = 0.
func (m misfit) start() []float64 {
	n := m.dim()
	p := make([]float64, n*n)
	p[atU*n+atU] = commonSD * commonSD
	for i := range m.lines {
		p[(atV+i)*n+atV+i] = lineSD * lineSD
	}
	return p
}

// decayed holds the transition over a step of days.
type decayed struct{ u, w, z, v, days float64 }

func over(days float64) decayed {
	w := math.Exp(-days / lossDays)
	return decayed{u: math.Exp(-days / commonDays), w: w, z: lossDays * (1 - w), v: math.Exp(-days / lineDays), days: days}
}

// moveMean carries a mean of the states (n of them) over a step.
func (d decayed) moveMean(x []float64) {
	x[atU] *= d.u
	x[atZ] += d.z * x[atW]
	x[atW] *= d.w
	for i := atV; i < len(x); i++ {
		x[i] *= d.v
	}
}

// moveCov carries the covariance p over a step and adds what the process does in
// it.
func (m misfit) moveCov(p []float64, d decayed) {
	n := m.dim()
	for i := range n { // F·P, by columns
		p[atU*n+i] *= d.u
		p[atZ*n+i] += d.z * p[atW*n+i]
		p[atW*n+i] *= d.w
		for s := atV; s < n; s++ {
			p[s*n+i] *= d.v
		}
	}
	for i := range n { // F·P·Fᵀ, by rows
		d.moveMean(p[i*n : i*n+n])
	}
	p[atU*n+atU] += commonSD * commonSD * (1 - d.u*d.u)
	q, x := m.lossSD*m.lossSD, d.days/lossDays
	p[atW*n+atW] += q * (1 - d.w*d.w)
	wz := q * lossDays * (1 - d.w) * (1 - d.w)
	p[atW*n+atZ] += wz
	p[atZ*n+atW] += wz
	p[atZ*n+atZ] += q * lossDays * lossDays * max(2*x-3+4*d.w-d.w*d.w, 0)
	for i := range m.lines {
		p[(atV+i)*n+atV+i] += lineSD * lineSD * (1 - d.v*d.v)
	}
}

// filter is a Kalman filter over the misfit. It turns residuals, which are
// correlated, into independent ones of unit variance, and does the same linear
// thing to the columns of a Jacobian.
type filter struct {
	misfit
	cols   int       // columns carried: 1 (residuals) or 1 + parameters
	cov    []float64 // of the states
	mean   []float64 // cols × dim: the states by each column
	at     float64   // days
	seen   []float64 // scratch: covariance of the states with what a reading sees
	breaks []float64 // hours, in order, at which the loss rate changed
	logDet float64   // Σ ln of the variances of the innovations
}

func newFilter(m misfit, cols int) *filter {
	return &filter{misfit: m, cols: cols, cov: m.start(), mean: make([]float64, cols*m.dim()), seen: make([]float64, m.dim())}
}

// advance carries the states on to days, opening the loss rate where it changed.
func (f *filter) advance(days float64) {
	for len(f.breaks) > 0 && f.breaks[0]/24 <= days {
		f.step(f.breaks[0] / 24)
		f.breaks = f.breaks[1:]
		f.cov[atW*f.dim()+atW] += changeSD * changeSD
	}
	f.step(days)
}

func (f *filter) step(days float64) {
	step := days - f.at
	if !(step > 0) {
		return
	}
	d, n := over(step), f.dim()
	for c := range f.cols {
		d.moveMean(f.mean[c*n : c*n+n])
	}
	f.moveCov(f.cov, d)
	f.at = days
}

// update takes a residual e of a line with noise variance, seen through scale
// (the slope of the stable scale by ln C), and the row of the Jacobian that goes
// with it; both come back whitened. It returns the innovation's square over its
// variance with the noise at nominal.
func (f *filter) update(line int, e *float64, row []float64, scale, noise, nominal float64) float64 {
	n, at := f.dim(), atV+line
	sp := scale * spread(f.at)
	pl := f.seen
	for i := range n {
		pl[i] = sp*(f.cov[i*n+atU]+f.cov[i*n+at]) + scale*f.cov[i*n+atZ]
	}
	signal := sp*(pl[atU]+pl[at]) + scale*pl[atZ]
	s := signal + noise
	root := math.Sqrt(s)
	var z2 float64
	for c := range f.cols {
		mean, v := f.mean[c*n:c*n+n], e
		if c > 0 {
			v = &row[c-1]
		}
		innov := *v - sp*(mean[atU]+mean[at]) - scale*mean[atZ]
		if c == 0 {
			z2 = innov * innov / (signal + nominal)
		}
		*v = innov / root
		if g := innov / s; g != 0 {
			for i := range n {
				mean[i] += pl[i] * g
			}
		}
	}
	for i := range n {
		for j := range n {
			f.cov[i*n+j] -= pl[i] * pl[j] / s
		}
	}
	f.logDet += math.Log(s)
	return z2
}

// triangle lists a symmetric matrix (n × n, by rows) as its lower triangle by
// rows, the form in which a posterior is kept.
func triangle(p []float64, n int) []float64 {
	out := make([]float64, 0, n*(n+1)/2)
	for i := range n {
		for j := range i + 1 {
			out = append(out, (p[i*n+j]+p[j*n+i])/2)
		}
	}
	return out
}

// square is the inverse of triangle.
func square(t []float64, n int) []float64 {
	out := make([]float64, n*n)
	for i := range n {
		for j := range i + 1 {
			v := t[i*(i+1)/2+j]
			out[i*n+j], out[j*n+i] = v, v
		}
	}
	return out
}
