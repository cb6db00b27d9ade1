package decay

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/mat"
)

// TestFactorAgainstConditioning: for a given size of F the gas at the lines is what
// conditioning the normal distribution of all lines at once gives (Eaton 1983,
// Multivariate Statistics, prop. 3.13), inverted by gonum; m has a prior so wide that
// it does not matter. Tolerance: that width.
func TestFactorAgainstConditioning(t *testing.T) {
	const size, wide = 0.02, 10
	lines := []Line{{Accuracy: 0.05}, {Accuracy: 0.02}, {Accuracy: 0.10}, {}}
	shown, noise := []float64{0.03, -0.01, -0.06, 0.02}, []float64{1e-4, 4e-4, 1e-5, 2e-3}
	n := len(lines)
	devs := make([]deviation, n)
	prior, seen := mat.NewSymDense(n, nil), mat.NewSymDense(n, nil)
	for i := range n {
		devs[i].start(0, len(devs))
		devs[i].learn(shown[i], 0, noise[i])
		for j := range n {
			prior.SetSym(i, j, wide)
		}
		prior.SetSym(i, i, wide+size*size)
	}
	seen.CopySym(prior)
	for i, l := range lines {
		seen.SetSym(i, i, seen.At(i, i)+l.gainSD()*l.gainSD()+noise[i])
	}
	var inverse, gain, mean, cov mat.Dense
	require.NoError(t, inverse.Inverse(seen))
	gain.Mul(prior, &inverse)
	mean.Mul(&gain, mat.NewDense(n, 1, shown))
	cov.Mul(&gain, prior)
	cov.Sub(prior, &cov)

	var f factor
	f.weigh(size, lines, devs, 0, 0)
	for i := range n {
		a := f.lines[i]
		require.InDelta(t, mean.At(i, 0), a.follow*f.level+a.mean, 1e-7)
		for j := range n {
			v := a.follow * f.lines[j].follow * f.sd * f.sd
			if i == j {
				v += a.sd * a.sd
			}
			require.InDelta(t, cov.At(i, j), v, 1e-7, "%d, %d", i, j)
		}
	}
}

// TestFactorsLearnTheirSize: lines that differ by no more than their instruments may
// leave little to the gas, lines that differ by far more leave nearly all. The shares
// are those of the size with the greatest likelihood, max(s² − gain², 0) (DerSimonian
// & Laird 1986, Control. Clin. Trials 7:177, for equal variances), taken loosely.
func TestFactorsLearnTheirSize(t *testing.T) {
	const loss = 0.2
	lines := []Line{{Accuracy: 0.05}, {Accuracy: 0.05}, {Accuracy: 0.05}, {Accuracy: 0.05}, {Accuracy: 0.05}}
	kept := func(spread float64) float64 {
		devs := make([]deviation, len(lines))
		for i, z := range []float64{-1.16, -0.5, 0, 0.5, 1.16} { // normal scores
			devs[i].start(0, len(devs))
			devs[i].learn(spread*z, 0, 1e-5)
		}
		sum := 0.0
		for _, f := range (&fit{}).factors(lines, devs, 0, loss) {
			sum += f.share * (1 - f.lines[0].follow)
		}
		return sum
	}
	require.Less(t, kept(0.02), 0.35)
	require.Greater(t, kept(0.2), 0.9)
	require.False(t, math.IsNaN(kept(0)))
}
