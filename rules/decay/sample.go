package decay

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/mat"
)

// The posterior is carried by draws that go on from refit to refit: they are
// weighed by what the new readings say, resampled, and moved by differential
// evolution (ter Braak 2006, Stat. Comput. 16:239), whose steps are differences of
// other draws and so have the posterior's own shape. Seeds are fixed: the same
// readings give the same draws.
const (
	draws      = 256
	seedA      = 0x70686f7370
	seedB      = 0x68696e65
	coldWidth  = 1.1 // of the normal that the first draws come from, over the posterior's
	leastShare = 0.3 // of the draws that a weighing may leave
	warmMoves  = 4   // times every draw tries to move
	farMoves   = 8   // where the weighing had to be held back
	coldMoves  = 20  // from nothing
	leapChance = 0.1 // of a step by a whole difference, from one mode to another
)

// ensemble are draws of parameters with their log posteriors.
type ensemble struct {
	x    []float64 // by draw
	lp   []float64
	diff []float64 // at the knots, by draw
	p, n int       // parameters, knots
}

func (e *ensemble) row(i int) []float64   { return e.x[i*e.p : i*e.p+e.p] }
func (e *ensemble) diffs(i int) []float64 { return e.diff[i*e.n : i*e.n+e.n] }

// sample draws from the posterior at the model in hand, from the draws of the fit
// before where it has any, else from the normal around the mode x.
func (m *model) sample(before *fit, x []float64, cov *mat.SymDense) (numbers, []float64) {
	k, p := m.tie(), len(x)
	seed, moves := uint64(0), coldMoves
	var e *ensemble
	if before != nil && len(before.Draws) == draws*(p+states+1) {
		e, seed, moves = before.ensemble(), uint64(before.Refits), warmMoves+before.Run/2
	} else if e = around(x, cov); e == nil {
		return nil, nil
	}
	rnd := rand.New(rand.NewPCG(seedA, seed))
	if !m.weigh(k, e) && before != nil && moves < farMoves {
		moves = farMoves
	}
	for range moves {
		m.evolve(k, e, rnd)
	}
	out := make(numbers, 0, draws*(p+states+1))
	var altCov []float64
	alt := k
	if m.suspect.Share > 0 {
		m.lnCurve(x, m.curve)
		c, _ := m.track(m.suspect.Alt)
		alt, altCov = m.tie(), triangle(c[:], states)
	}
	for i := range draws {
		for _, v := range e.row(i) {
			out = append(out, float32(v))
		}
		from := k
		if isAlt(i, m.suspect.Share) {
			from = alt
		}
		end := from.states(e.diffs(i))
		for _, v := range end {
			out = append(out, float32(v))
		}
		out = append(out, float32(e.lp[i]))
	}
	for _, v := range out {
		if !finite(float64(v)) {
			return nil, nil
		}
	}
	return out, altCov
}

// ensemble unpacks the draws of a fit.
func (f *fit) ensemble() *ensemble {
	p := len(f.X)
	row := p + states + 1
	e := &ensemble{p: p}
	for i := range draws {
		for j := range p {
			e.x = append(e.x, float64(f.Draws[i*row+j]))
		}
		e.lp = append(e.lp, float64(f.Draws[i*row+row-1]))
	}
	return e
}

// around draws from the normal around the mode.
func around(x []float64, cov *mat.SymDense) *ensemble {
	p := len(x)
	sq := make([]float64, 0, p*p)
	for i := range p {
		for j := range p {
			sq = append(sq, cov.At(i, j))
		}
	}
	root, ok := lower(sq, p)
	if !ok {
		return nil
	}
	e, rnd, z, d := &ensemble{p: p}, rand.New(rand.NewPCG(seedA, seedB)), make([]float64, p), make([]float64, p)
	for range draws {
		z2 := 0.0
		for j := range z {
			z[j] = rnd.NormFloat64()
			z2 += z[j] * z[j]
		}
		times(root, z, d)
		for j := range d {
			e.x = append(e.x, x[j]+coldWidth*d[j])
		}
		e.lp = append(e.lp, -z2/2)
	}
	return e
}

// weigh gives the draws their log posteriors and resamples them by what these have
// changed; false where that had to be held back so that enough of them are left.
func (m *model) weigh(k *knots, e *ensemble) bool {
	n := len(e.lp)
	e.n, e.diff = len(k.hours), make([]float64, n*len(k.hours))
	change, most := make([]float64, n), math.Inf(-1)
	for i := range n {
		lp := m.logPosterior(k, e.row(i), e.diffs(i))
		if change[i] = lp - e.lp[i]; math.IsNaN(change[i]) {
			change[i], lp = math.Inf(-1), math.Inf(-1)
		}
		e.lp[i] = lp
		most = max(most, change[i])
	}
	if math.IsInf(most, 0) {
		return false
	}
	ws, whole := make([]float64, n), true
	for power := 1.0; power > 1e-4; power /= 1.5 {
		for i, c := range change {
			ws[i] = math.Exp(power * (c - most))
		}
		if effective(ws) >= leastShare*float64(n) {
			break
		}
		whole = false
	}
	e.resample(ws)
	return whole
}

// isAlt deals a share of the draws out to the less likely case, evenly.
func isAlt(i int, share float64) bool {
	return math.Floor(float64(i+1)*share) != math.Floor(float64(i)*share)
}

// effective is the number of draws that weights are worth (Kish 1965).
func effective(ws []float64) float64 {
	sum, sum2 := 0.0, 0.0
	for _, w := range ws {
		sum += w
		sum2 += w * w
	}
	return sum * sum / sum2
}

// resample keeps draws in proportion to weights (systematic, Kitagawa 1996).
func (e *ensemble) resample(ws []float64) {
	sum, n := 0.0, len(ws)
	for _, w := range ws {
		sum += w
	}
	x, lp, diff, at, acc := make([]float64, 0, len(e.x)), make([]float64, 0, n), make([]float64, 0, len(e.diff)), 0, ws[0]/sum
	for i := range n {
		for u := (float64(i) + 0.5) / float64(n); acc < u && at < n-1; {
			at++
			acc += ws[at] / sum
		}
		x, lp, diff = append(x, e.row(at)...), append(lp, e.lp[at]), append(diff, e.diffs(at)...)
	}
	// Neighbours are copies: dealt out, so that each half of the draws has the whole posterior.
	for i := range n {
		from := (i*2)%n + i*2/n
		copy(e.row(i), x[from*e.p:from*e.p+e.p])
		copy(e.diffs(i), diff[from*e.n:from*e.n+e.n])
		e.lp[i] = lp[from]
	}
}

// evolve lets every draw try one step, by a difference of two draws of the other
// half.
func (m *model) evolve(k *knots, e *ensemble, rnd *rand.Rand) {
	n := len(e.lp)
	half, trial, diff := n/2, make([]float64, e.p), make([]float64, e.n)
	usual := 2.38 / math.Sqrt(2*float64(e.p))
	for i := range n {
		other := 0
		if i < half {
			other = half
		}
		a, b := e.row(other+rnd.IntN(half)), e.row(other+rnd.IntN(half))
		by := usual * (0.5 + 0.7*rnd.Float64())
		if rnd.Float64() < leapChance {
			by = 1
		}
		x := e.row(i)
		for j := range trial {
			trial[j] = x[j] + by*(a[j]-b[j]) + 1e-3*rnd.NormFloat64()
		}
		if lp := m.logPosterior(k, trial, diff); rnd.Float64() < math.Exp(lp-e.lp[i]) {
			copy(x, trial)
			copy(e.diffs(i), diff)
			e.lp[i] = lp
		}
	}
}
