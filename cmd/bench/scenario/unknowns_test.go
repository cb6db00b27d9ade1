package scenario

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The mean of an Ornstein–Uhlenbeck process over many stretches is as uncertain as over one
// long one (Cox & Miller 1965, The Theory of Stochastic Processes, 5.8, for the covariance
// that is integrated); that of a walk grows by a third of its length (Brownian motion's
// integral).
func TestWeatherAddsUp(t *testing.T) {
	mean := func(w Weather, n int) (v float64) {
		for i := range n {
			for j := range n {
				v += w.Cov(i, j) / float64(n*n)
			}
		}
		return v
	}
	gusts := Weather{Hours: 1, SD: 0.3, Memory: 2.5}
	assert.InEpsilon(t, Weather{Hours: 12, SD: 0.3, Memory: 2.5}.Cov(0, 0), mean(gusts, 12), 1e-12)
	x := 12 / 2.5
	assert.InEpsilon(t, 0.09*2*(x-1+math.Exp(-x))/(x*x), mean(gusts, 12), 1e-12)
	assert.InEpsilon(t, 0.25*36.0/24/3, mean(Weather{Hours: 6, SD: 0.5}, 6), 1e-12)
}

// A gust does what the sheet's leakage does: blown twice as long it moves the gas by twice
// as much, and not before it blows; nor does a stack whose course is asked for change.
func TestUnknownsOfWeather(t *testing.T) {
	if testing.Short() {
		t.Skip("draws the unknowns of a stack twice")
	}
	r := Hard(5)
	u := r.Unknowns()
	require.Len(t, u.Weather, 1+len(newSource(5, hard).plan().gas.volume)+1)
	gust := u.Weather[0].Moves
	require.Len(t, gust, int(Hours))
	for l := range r.Lines() {
		assert.InDelta(t, 0, gust[60][l][58], 1e-12)
		assert.Negative(t, gust[60][l][61])
		all, each := gust[60][l][100]+gust[61][l][100], 0.0
		for _, w := range u.Weather[1 : len(u.Weather)-1] {
			each += w.Moves[30][l][100] // of hours 60 and 61, node by node
		}
		assert.InEpsilon(t, all, each, 0.02)
	}
	assert.Equal(t, u, Hard(5).Unknowns())
	assert.InEpsilon(t, Weather{Hours: 1, SD: 0.225, Memory: math.Sqrt(2.8)}.Cov(0, 3), u.Usual().Weather[0].Cov(0, 3), 1e-12)
}
