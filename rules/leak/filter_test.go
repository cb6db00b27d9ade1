package leak

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/mat"
)

var testSizes = sizes{gust: 0.002, slope: 0.001, mix: 0.0008, slopeHours: 20}

// TestStepsJoin: one step is the same as two of half its length, and the variance
// of an integrated Ornstein–Uhlenbeck process is that of the textbook: for a
// stationary rate σ²τ²·2(t/τ − 1 + e^(−t/τ)) (Gardiner, Handbook of Stochastic
// Methods, 3.8.4 integrated).
func TestStepsJoin(t *testing.T) {
	one, two := newFilter(3), newFilter(3)
	one.predict(testSizes.moves(3, 1.5))
	for range 2 {
		two.predict(testSizes.moves(3, 0.75))
	}
	for i := range one.Cov {
		require.InDelta(t, one.Cov[i], two.Cov[i], 1e-12)
	}
	x := 1.5 / mixHours
	v := lineLevel(1)
	want := math.Pow(testSizes.mix*mixHours, 2)*2*(x-1+math.Exp(-x)) + lineWalk*lineWalk*1.5
	require.InEpsilon(t, want, one.Cov[v*dim(3)+v], 1e-9)
}

// dense is the same model written out: the covariance of all readings at once.
type dense struct {
	cov  *mat.SymDense
	time []float64
	line []int
}

func makeDense(lines, steps int, dt, noise float64) dense {
	d := dim(lines)
	f, q := mat.NewDense(d, d, nil), mat.NewDense(d, d, nil)
	for i := range d {
		f.Set(i, i, 1)
	}
	for _, m := range testSizes.moves(lines, dt) {
		f.Set(m.level, m.rate, m.gain)
		f.Set(m.rate, m.rate, m.keep)
		q.Set(m.level, m.level, q.At(m.level, m.level)+m.qLevel)
		q.Set(m.level, m.rate, m.qBoth)
		q.Set(m.rate, m.level, m.qBoth)
		q.Set(m.rate, m.rate, m.qRate)
	}
	p := mat.NewDense(d, d, nil)
	p.Set(atGust, atGust, 1)
	p.Set(atSlope, atSlope, 1)
	for i := range lines {
		p.Set(lineLevel(i), lineLevel(i), 100) // nearly nothing known of the level
		p.Set(lineLevel(i)+lines, lineLevel(i)+lines, 1)
	}
	h := mat.NewDense(lines, d, nil)
	for i := range lines {
		h.Set(i, atLevel, 1)
		h.Set(i, lineLevel(i), 1)
	}
	out := dense{cov: mat.NewSymDense(lines*steps, nil)}
	for k := range steps {
		if k > 0 {
			var fp, next mat.Dense
			fp.Mul(f, p)
			next.Mul(&fp, f.T())
			next.Add(&next, q)
			p.Copy(&next)
		}
		carried := mat.DenseCopyOf(p) // covariance of the state at k+j with that at k
		for j := k; j < steps; j++ {
			var hp, c mat.Dense
			hp.Mul(h, carried)
			c.Mul(&hp, h.T())
			for a := range lines {
				for b := range lines {
					if j > k || a >= b {
						out.cov.SetSym(j*lines+a, k*lines+b, c.At(a, b))
					}
				}
			}
			var next mat.Dense
			next.Mul(f, carried)
			carried.Copy(&next)
		}
		for a := range lines {
			out.cov.SetSym(k*lines+a, k*lines+a, out.cov.At(k*lines+a, k*lines+a)+noise)
			out.time, out.line = append(out.time, float64(k)*dt), append(out.line, a)
		}
	}
	return out
}

// TestBankIsTheLikelihoodRatio: the recursive statistic and the estimated rise are
// those of generalised least squares with the whole covariance matrix,
// z = s′V⁻¹y/√(s′V⁻¹s) (Willsky & Jones 1976).
func TestBankIsTheLikelihoodRatio(t *testing.T) {
	const lines, steps, dt, noise = 3, 40, 0.25, 1e-3
	d := makeDense(lines, steps, dt, noise)
	var chol mat.Cholesky
	require.True(t, chol.Factorize(d.cov))
	rnd := rand.New(rand.NewPCG(3, 4))
	y := make([]float64, lines*steps)
	for i := range y {
		y[i] = 2 + 0.1*float64(d.line[i]) + math.Sqrt(noise)*rnd.NormFloat64()
		if d.time[i] > 4 && d.line[i] == 1 {
			y[i] -= 0.02 * (d.time[i] - 4)
		}
	}
	f, b, gain := newFilter(lines), newBank(lines), make([]float64, dim(lines))
	ms := testSizes.moves(lines, dt)
	for k := range steps {
		if k > 0 {
			f.predict(ms)
			b.predict(ms, dt)
		}
		for i := range lines {
			if k == 0 {
				f.place(i, y[i], noise)
				continue
			}
			mean, v := f.see(i)
			e := y[k*lines+i] - mean
			f.update(i, e, v+noise, gain)
			b.update(i, e, v+noise, gain)
		}
		if k == 8 || k == 16 {
			b.open(float64(k)*dt, 0)
		}
	}
	require.Len(t, b.Onset, 2)
	for k, onset := range b.Onset {
		for place := range lines + 1 {
			s := mat.NewVecDense(len(y), nil)
			for i := range y {
				if place == 0 || d.line[i] == place-1 {
					s.SetVec(i, -max(d.time[i]-onset, 0))
				}
			}
			var w mat.VecDense
			require.NoError(t, chol.SolveVecTo(&w, s))
			num, den := mat.Dot(&w, mat.NewVecDense(len(y), y)), mat.Dot(&w, s)
			got := b.at(k, place)
			require.InDelta(t, num/math.Sqrt(den), got.z, 2e-3, "onset %v place %d", onset, place)
			require.InEpsilon(t, 1/math.Sqrt(den), got.sd, 1e-3)
		}
	}
	require.InDelta(t, 0.02, b.at(0, 2).rate, 0.012)
}

// TestGridKeepsYoungAndOld: the candidates stay few, close together when young,
// and reach far back.
func TestGridKeepsYoungAndOld(t *testing.T) {
	b := newBank(4)
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
