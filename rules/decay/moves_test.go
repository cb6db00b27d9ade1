package decay

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat/distuv"
)

// TestMovesKeepThePosterior: without readings the posterior is the prior. Draws that
// begin elsewhere come to it by leaps and by steps alike, and stay: a normal has its mean
// and standard deviation, one that is folded at 0 the mean σ·√(2/π)·e^(−μ²/2σ²) +
// μ·(1 − 2Φ(−μ/σ)) and the mean square μ² + σ² (Leone, Nelson & Nottingham 1961,
// Technometrics 3:543).
func TestMovesKeepThePosterior(t *testing.T) {
	s := New(Setup{DoseG: 600, GasSpaceM3: 300, TempC: 27, Lines: make([]Line, 2)})
	m := newModel(s, maxHours)
	k, p := m.tie(), len(m.prior)
	for name, move := range map[string]func(*knots, []draw, *rand.Rand){"leaps": m.leap, "steps": m.step} {
		rnd := rand.New(rand.NewPCG(1, 2))
		e := newDraws(draws, p, 0)
		for i := range e {
			for j, pr := range m.prior {
				e[i].x[j] = pr.mean + pr.sd*(1+rnd.NormFloat64()/2)
			}
			fold(e[i].x)
			e[i].lp = m.logPosterior(k, e[i].x, e[i].diff)
		}
		const rounds, before = 400, 100
		sum, squares, n := make([]float64, p), make([]float64, p), 0.0
		for round := range rounds {
			move(k, e, rnd)
			for i := range e {
				for j, v := range e[i].x {
					if round >= before {
						sum[j] += v
						squares[j] += v * v
					}
				}
			}
		}
		n = draws * (rounds - before)
		for j, pr := range m.prior {
			mean, square := pr.mean, pr.mean*pr.mean+pr.sd*pr.sd
			if z := pr.mean / pr.sd; j == inSorb || j == inRamp {
				mean = pr.sd*math.Sqrt(2/math.Pi)*math.Exp(-z*z/2) + pr.mean*(1-2*distuv.UnitNormal.CDF(-z))
			}
			require.InDelta(t, mean, sum[j]/n, 0.05*pr.sd, "%s: mean of parameter %d", name, j)
			sd, found := math.Sqrt(square-mean*mean), math.Sqrt(squares[j]/n-sum[j]*sum[j]/n/n)
			require.InEpsilon(t, sd, found, 0.05, "%s: spread of parameter %d", name, j)
		}
	}
}
