package leak

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/mat"
)

var testSizes = sizes{gust: 0.002, slope: 0.001, day: 0.0015, mix: 0.0008, slopeHours: 20}

// TestStepsJoin: one step is the same as two of half its length, and the variance
// of an integrated Ornstein–Uhlenbeck process is that of the textbook: for a
// stationary rate σ²τ²·2(t/τ − 1 + e^(−t/τ)) (Gardiner, Handbook of Stochastic
// Methods, 3.8.4 integrated).
func TestStepsJoin(t *testing.T) {
	one, two := newTrack(lineStates), newTrack(lineStates)
	whole, half := testSizes.moves(1.5, 1.5), testSizes.moves(1.5, 0.75)
	one.predict(whole.line[:])
	two.predict(half.line[:])
	two.predict(half.line[:])
	for i := range one.Cov {
		require.InDelta(t, one.Cov[i], two.Cov[i], 1e-12)
	}
	x := 1.5 / mixHours
	want := math.Pow(testSizes.mix*mixHours, 2)*2*(x-1+math.Exp(-x)) + lineWalk*lineWalk*1.5
	require.InEpsilon(t, want, one.Cov[0], 1e-9)
}

// covariance of a track's readings at equal steps, with all of them at once: the
// model written out. at0 is the variance of the level at the first.
func covariance(states, steps int, dt, at0, noise float64, of func(m *moves) []move) *mat.SymDense {
	transition := func(k int) (f, q *mat.Dense) {
		f, q = mat.NewDense(states, states, nil), mat.NewDense(states, states, nil)
		for i := range states {
			f.Set(i, i, 1)
		}
		ms := testSizes.moves(float64(k)*dt, dt)
		for _, m := range of(&ms) {
			f.Set(0, m.rate, m.gain)
			f.Set(m.rate, m.rate, m.keep)
			q.Set(0, 0, q.At(0, 0)+m.qLevel)
			q.Set(0, m.rate, m.qBoth)
			q.Set(m.rate, 0, m.qBoth)
			q.Set(m.rate, m.rate, m.qRate)
		}
		return f, q
	}
	p := mat.NewDense(states, states, nil)
	p.Set(0, 0, at0)
	for i := 1; i < states; i++ {
		p.Set(i, i, 1)
	}
	out := mat.NewSymDense(steps, nil)
	for k := range steps {
		if k > 0 {
			f, q := transition(k)
			var fp, next mat.Dense
			fp.Mul(f, p)
			next.Mul(&fp, f.T())
			next.Add(&next, q)
			p.Copy(&next)
		}
		carried := mat.DenseCopyOf(p) // covariance of the state at j with that at k
		for j := k; j < steps; j++ {
			if j > k {
				f, _ := transition(j)
				var next mat.Dense
				next.Mul(f, carried)
				carried.Copy(&next)
			}
			out.SetSym(j, k, carried.At(0, 0))
		}
		out.SetSym(k, k, out.At(k, k)+noise)
	}
	return out
}

// TestBankIsTheLikelihoodRatio: the recursive sums are those of generalised least
// squares with the whole covariance matrix, s′V⁻¹y and s′V⁻¹s (Willsky & Jones
// 1976), for the stack and for each shape of a line.
func TestBankIsTheLikelihoodRatio(t *testing.T) {
	const steps, dt, noise = 40, 0.25, 1e-3
	rnd := rand.New(rand.NewPCG(3, 4))
	y := make([]float64, steps)
	for i := range y {
		y[i] = math.Sqrt(noise)*rnd.NormFloat64() - 0.02*max(float64(i)*dt-4, 0)
	}
	f, b := newFilter(1), newBank(1, 0)
	f.Stack.Cov[0], f.Lines[0].Cov[0] = 1, 1
	for k := range steps {
		if k > 0 {
			ms := testSizes.moves(float64(k)*dt, dt)
			f.predict(&ms)
			b.predict(&ms, float64(k)*dt, dt)
		}
		var g gains
		e, total := y[k]-f.Stack.Mean[0], f.Stack.Cov[0]+noise
		f.Stack.update(e, total, g.stack[:])
		b.updateStack(e, total, g.stack[:])
		e, total = y[k]-f.Lines[0].Mean[0], f.Lines[0].Cov[0]+noise
		f.Lines[0].update(e, total, g.line[:])
		b.updateLine(0, e, total, g.line[:])
		if k == 8 || k == 16 {
			b.open(float64(k)*dt, 0)
		}
	}
	stack := covariance(stackStates, steps, dt, 1, noise, func(m *moves) []move { return m.stack[:] })
	line := covariance(lineStates, steps, dt, 1, noise, func(m *moves) []move { return m.line[:] })
	require.Len(t, b.Onset, 2)
	check := func(v *mat.SymDense, onset, tau float64, at int) {
		var chol mat.Cholesky
		require.True(t, chol.Factorize(v))
		s, fallen := mat.NewVecDense(steps, nil), 0.0
		for i := range steps {
			if age := (float64(i) - 0.5) * dt; age > onset {
				fallen += dt * math.Exp(-(age-onset)/tau)
			}
			s.SetVec(i, -fallen)
		}
		var w mat.VecDense
		require.NoError(t, chol.SolveVecTo(&w, s))
		require.InEpsilon(t, mat.Dot(&w, mat.NewVecDense(steps, y)), b.Num[at], 1e-3, "onset %v, e-folding %v h", onset, tau)
		require.InEpsilon(t, mat.Dot(&w, s), b.Den[at], 1e-3)
	}
	for k, onset := range b.Onset {
		check(stack, onset, math.Inf(1), k*b.sums())
		for shape, tau := range fade {
			check(line, onset, tau, k*b.sums()+sum(0, shape))
		}
	}
}

// TestGridKeepsYoungAndOld: the candidates stay few, close together when young,
// and reach far back.
func TestGridKeepsYoungAndOld(t *testing.T) {
	b := newBank(4, 0)
	for i := range 2000 {
		b.open(float64(i)*binHours, 0)
		require.LessOrEqual(t, len(b.Onset), capacity)
		for k := 1; k < len(b.Onset); k++ {
			require.Greater(t, b.Onset[k], b.Onset[k-1])
		}
		require.True(t, b.fits(4))
	}
	now, n := 1999*binHours, len(b.Onset)
	require.Less(t, now-b.Onset[n-3], 3.0)
	require.Greater(t, now-b.Onset[0], 20.0)
	for k := 1; k < n-1; k++ { // no hole wider than the age of its younger end
		require.Less(t, b.Onset[k]-b.Onset[k-1], 1.2*(now-b.Onset[k])+1)
	}
}

// TestTieIsFound: the correlation of noise from one reading to the next is found
// from second differences, and a steep bend of the gas is not taken for it.
// Simulated first-order noise; the truth is what it was made with.
func TestTieIsFound(t *testing.T) {
	for _, rho := range []float64{0, 0.4, 0.8} {
		rnd := rand.New(rand.NewPCG(5, 6))
		n := hush{Noise: 1, Near: 1, Apart: 1}
		noise := rnd.NormFloat64()
		for k := range 4000 {
			noise = rho*noise + math.Sqrt(1-rho*rho)*rnd.NormFloat64()
			h := float64(k) / 12
			n.learn(h, 3+0.5*h-0.05*h*h+0.03*noise, 0.03*0.03, tieOf(float64(n.Near), float64(n.Apart)))
		}
		require.InDelta(t, rho, n.Tie, 0.12)
		require.InDelta(t, 1, n.Noise, 0.35)
	}
}
