package main

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distmv"
)

// The mean likelihood ratio is that of multivariate normal readings, with the leak's traces in
// their mean and covariance and without, whose densities gonum's distmv gives.
func TestUntoldIsTheLikelihoodRatio(t *testing.T) {
	const lines, first, last = 2, int(quietHours), int(quietHours) + 3
	rnd := rand.New(rand.NewPCG(1, 2))
	w := &whitened{}
	for h := first - 2; h < last; h++ {
		for line := range lines {
			w.cells = append(w.cells, cell{hour: h, line: line, y: 0.02*rnd.NormFloat64() - 0.03*max(float64(h-first), 0)})
		}
	}
	n := len(w.cells)
	half, cov := mat.NewDense(n, n, nil), mat.NewSymDense(n, nil)
	for i := range n {
		for j := range n {
			half.Set(i, j, 0.01*rnd.NormFloat64()+0.02*bit(i == j))
		}
	}
	cov.SymOuterK(1, half)
	var chol mat.Cholesky
	require.True(t, chol.Factorize(cov))
	chol.LTo(&w.root)

	y := make([]float64, n)
	for i, c := range w.cells {
		y[i] = c.y
	}
	none, ok := distmv.NewNormal(make([]float64, n), cov, nil)
	require.True(t, ok)
	best := 0.0
	for k := range last - 1 - first { // onsets
		mean := 0.0
		for _, f := range leakForms {
			for _, size := range leakSizes {
				mu, with := make([]float64, n), mat.NewSymDense(n, nil)
				for i, a := range w.cells {
					for part := range traceParts {
						mu[i] += size * f.mean[part] * seenAt(part, a.hour-first-k)
					}
					for j := i; j < n; j++ {
						b, v := w.cells[j], cov.At(i, j)
						for part := range traceParts {
							sd2 := f.shared[part]*f.shared[part] + bit(a.line == b.line)*f.own[part]*f.own[part]
							v += size * size * sd2 * seenAt(part, a.hour-first-k) * seenAt(part, b.hour-first-k)
						}
						with.SetSym(i, j, v)
					}
				}
				leak, ok := distmv.NewNormal(mu, with, nil)
				require.True(t, ok)
				mean += math.Exp(leak.LogProb(y)-none.LogProb(y)) / float64(len(leakForms)*len(leakSizes))
			}
		}
		best = max(best, math.Log(mean))
	}
	got := 0.0
	require.NoError(t, w.untold(lines, func(hours, value float64) {
		if hours == float64(last) {
			got = value
		}
	}))
	require.Greater(t, best, 0.5)
	assert.InDelta(t, best, got, 1e-6*best)
}

// seenAt is a part of a trace in the middle of an hour, so many after that of the onset.
func seenAt(part, hours int) float64 {
	if hours < 0 {
		return 0
	}
	return partAt(part, float64(hours)+0.5)
}
