package leak

import (
	"encoding/csv"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"
)

// runLengths counts values of mean shift until either side, or with one side the upper
// one, passes h, over so many runs; it returns the mean and its standard error.
func runLengths(sides, h, head, shift float64, runs int) (mean, se float64) {
	rnd := rand.New(rand.NewPCG(1, uint64(1000*sides+100*h+10*shift+head)))
	sum, sum2 := 0.0, 0.0
	for range runs {
		s, n := cusum{High: head, Low: head}, 0.0
		for s.High <= h && (sides == 1 || s.Low <= h) {
			s.add(rnd.NormFloat64()+shift, cusumSlack)
			n++
		}
		sum, sum2 = sum+n, sum2+n*n
	}
	mean = sum / float64(runs)
	return mean, math.Sqrt((sum2/float64(runs) - mean*mean) / float64(runs))
}

// TestCusumRunLengths: average run lengths of one side and of both, with and without a
// head start of h/2 (Lucas & Crosier 1982, Technometrics 24:199), by xcusum.arl of the R
// package spc 0.6.7; testdata/leak/arl.R printed them to 6 digits. Ours are means of
// simulated runs: 4 of their standard errors are allowed.
func TestCusumRunLengths(t *testing.T) {
	if testing.Short() {
		t.Skip("means of many runs: run without -short")
	}
	f, err := os.Open(filepath.Join("..", "..", "testdata", "leak", "arl.csv"))
	require.NoError(t, err)
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	rows, err := r.ReadAll()
	require.NoError(t, err)
	require.Len(t, rows, 1+64)
	for _, row := range rows[1:] {
		var v [6]float64
		for i, s := range row {
			v[i], err = strconv.ParseFloat(s, 64)
			require.NoError(t, err)
		}
		require.Equal(t, cusumSlack, v[1])
		mean, se := runLengths(v[0], v[2], v[3], v[4], 4000)
		require.InDelta(t, v[5], mean, 4*se, "%v sides, h %v, head start %v, shift %v", v[0], v[2], v[3], v[4])
		require.Less(t, se, 0.02*v[5])
	}
}

// TestCusumTableOfLucasCrosier: Lucas & Crosier 1982, Technometrics 24:199, Table 1: both
// sides with k = 1/2 and h = 4, without and with a head start of 2, as the manual of the
// R package spc 0.6.7 repeats it (xcusum.arl). Half a unit of the last printed digit is
// allowed on top of 4 standard errors.
func TestCusumTableOfLucasCrosier(t *testing.T) {
	if testing.Short() {
		t.Skip("means of many runs: run without -short")
	}
	for _, c := range []struct{ shift, plain, digit, ahead, aheadDigit float64 }{
		{0, 168, 1, 149, 1}, {0.25, 74.2, .1, 62.7, .1}, {0.5, 26.6, .1, 20.1, .1}, {0.75, 13.3, .1, 8.97, .01}, {1, 8.38, .01, 5.29, .01},
		{1.5, 4.75, .01, 2.86, .01}, {2, 3.34, .01, 2.01, .01}, {2.5, 2.62, .01, 1.59, .01}, {3, 2.19, .01, 1.32, .01}, {4, 1.71, .01, 1.07, .01}, {5, 1.31, .01, 1.01, .01},
	} {
		mean, se := runLengths(2, 4, 0, c.shift, 4000)
		require.InDelta(t, c.plain, mean, 4*se+c.digit/2, "shift %v", c.shift)
		mean, se = runLengths(2, 4, 2, c.shift, 4000)
		require.InDelta(t, c.ahead, mean, 4*se+c.aheadDigit/2, "shift %v with a head start", c.shift)
	}
}
