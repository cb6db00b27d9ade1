package decay

import (
	"math"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// The posterior is carried by draws that go on from refit to refit: they are
// weighed by what the new readings say, resampled, and moved. Draws of one half are moved
// by what those of the other half are like and so by the posterior's own shape: in turn
// by leaps to anywhere in the normal that fits these (an independence chain: Tierney
// 1994, Ann. Stat. 22:1701), and by steps that are differences of two of them
// (differential evolution: ter Braak 2006, Stat. Comput. 16:239), which also reach where
// the normal does not. Seeds are fixed: the same readings give the same draws.
const (
	draws      = 256
	seedA      = 0x70686f7370
	seedB      = 0x68696e65
	coldWidth  = 1.1 // of the normal that the first draws come from, over the posterior's
	leastShare = 0.3 // of the draws that a weighing may leave
	coldMoves  = 12  // times every draw tries to move, from nothing
	warmMoves  = 6   // times, beyond one, were no draw left by the weighing
	wholeShare = 0.1 // of steps that are a whole difference, from one mode to another
)

// draw is one of the draws. What it points to does not change once it is one: copies
// share it.
type draw struct {
	x    []float64 // parameters
	diff []float64 // the difference that they make at the knots
	lp   float64   // log posterior
}

// sample draws from the posterior at the model in hand, from the draws of the fit
// before where it has any, else from the normal around the mode x.
func (m *model) sample(before *fit, x []float64, cov *mat.SymDense) (numbers, []float64) {
	k, p := m.tie(), len(x)
	seed, moves := uint64(0), coldMoves
	var e []draw
	if before != nil && len(before.Draws) == draws*(p+states+1) {
		e, seed, moves = before.ensemble(len(k.hours)), uint64(before.Refits), 1
	} else if e = around(x, cov, len(k.hours)); e == nil {
		return nil, nil
	}
	rnd := rand.New(rand.NewPCG(seedA, seed))
	if worth := m.weigh(k, e); moves < coldMoves {
		moves += int(warmMoves * (1 - worth))
	}
	for i := range uint64(moves) {
		if (seed+i)%2 == 0 {
			m.leap(k, e, rnd)
		} else {
			m.step(k, e, rnd)
		}
	}
	out := make(numbers, 0, draws*(p+states+1))
	var altCov []float64
	alt := k
	if m.suspect.Share > 0 {
		m.lnCurve(x)
		c, _ := m.track(m.suspect.Alt)
		alt, altCov = m.tie(), triangle(c[:], states)
	}
	for i := range e {
		for _, v := range e[i].x {
			out = append(out, float32(v))
		}
		from := k
		if isAlt(i, m.suspect.Share) {
			from = alt
		}
		end := from.states(e[i].diff)
		for _, v := range end {
			out = append(out, float32(v))
		}
		out = append(out, float32(e[i].lp))
	}
	for _, v := range out {
		if !finite(float64(v)) {
			return nil, nil
		}
	}
	return out, altCov
}

// ensemble unpacks the draws of a fit.
func (f *fit) ensemble(knots int) []draw {
	p := len(f.X)
	e, row := newDraws(draws, p, knots), p+states+1
	for i := range e {
		for j := range p {
			e[i].x[j] = float64(f.Draws[i*row+j])
		}
		fold(e[i].x)
		e[i].lp = float64(f.Draws[i*row+row-1])
	}
	return e
}

// newDraws makes room for so many draws of p parameters with n knots.
func newDraws(count, p, n int) []draw {
	out, room := make([]draw, count), make([]float64, count*(p+n))
	for i := range out {
		own := room[i*(p+n):]
		out[i].x, out[i].diff = own[:p], own[p:p+n]
	}
	return out
}

// fold takes the parameters whose sign does not matter to be positive.
func fold(x []float64) { x[inSorb], x[inRamp] = math.Abs(x[inSorb]), math.Abs(x[inRamp]) }

// around draws from the normal around the mode.
func around(x []float64, cov *mat.SymDense, knots int) []draw {
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
	e, rnd, z, d := newDraws(draws, p, knots), rand.New(rand.NewPCG(seedA, seedB)), make([]float64, p), make([]float64, p)
	for i := range e {
		z2 := 0.0
		for j := range z {
			z[j] = rnd.NormFloat64()
			z2 += z[j] * z[j]
		}
		times(root, z, d)
		for j := range d {
			e[i].x[j] = x[j] + coldWidth*d[j]
		}
		fold(e[i].x)
		e[i].lp = -z2 / 2
	}
	return e
}

// weigh gives the draws their log posteriors and resamples them by what these have
// changed, which is held back so that enough of them are left. It returns the share of
// them that would be left otherwise.
func (m *model) weigh(k *knots, e []draw) float64 {
	n := len(e)
	change, most := make([]float64, n), math.Inf(-1)
	for i := range e {
		was := e[i].lp
		e[i].lp = m.logPosterior(k, e[i].x, e[i].diff)
		if change[i] = e[i].lp - was; math.IsNaN(change[i]) {
			change[i], e[i].lp = math.Inf(-1), math.Inf(-1)
		}
		most = max(most, change[i])
	}
	if math.IsInf(most, 0) {
		return 0
	}
	ws, worth := make([]float64, n), 0.0
	for power := 1.0; power > 1e-4; power /= 1.5 {
		for i, c := range change {
			ws[i] = math.Exp(power * (c - most))
		}
		left := effective(ws) / float64(n)
		if power == 1 {
			worth = left
		}
		if left >= leastShare {
			break
		}
	}
	resample(e, ws)
	return worth
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

// resample keeps draws in proportion to weights (systematic, Kitagawa 1996). Neighbours
// are copies: they are dealt out, so that each half of the draws has the whole posterior.
func resample(e []draw, ws []float64) {
	sum, n := 0.0, len(ws)
	for _, w := range ws {
		sum += w
	}
	rows, at, acc := make([]int, n), 0, ws[0]/sum
	for i := range rows {
		for u := (float64(i) + 0.5) / float64(n); acc < u && at < n-1; {
			at++
			acc += ws[at] / sum
		}
		rows[i] = at
	}
	was := slices.Clone(e)
	for i := range e {
		e[i] = was[rows[(i*2)%n+i*2/n]]
	}
}
