package decay

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat/distuv"
)

// TestBalanceAgainstExpm: the closed form against the exponential of the whole matrix by
// scipy.linalg.expm (SciPy 1.10.1), printed to 12 digits by testdata/decay/balance.py;
// R's expm 0.999-7 agrees with it to 5e-10 ppm and deSolve 1.34 to 9e-8 (balance.R).
// Where release meets a rate of the gas space it is moved by 1e-4 of itself.
func TestBalanceAgainstExpm(t *testing.T) {
	meet := 0
	for _, r := range table(t, "balance_expm.csv") {
		b := balance{release: r[0], ramp: r[1], loss: r[2], sorb: r[3], free: r[4]}
		hand := b.over(r[5])
		g := gas{solid: 600, ramp: -80, air: 150, held: 40}
		hand.move(&g)
		tol := 1e-7
		if det := (b.release-b.loss-b.sorb)*(b.release-b.free) - b.free*b.sorb; math.Abs(det) < 1e-4*b.release*b.release {
			meet++
			tol = 0.05
		}
		require.InDelta(t, r[6], g.solid, tol, "%v", r)
		require.InDelta(t, r[7], g.ramp, 1e-8, "%v", r)
		require.InDelta(t, r[8], g.air, tol, "%v", r)
		require.InDelta(t, r[9], g.held, tol, "%v", r)
	}
	require.Equal(t, 15, meet)
}

// TestDistributionsAgainstR: what is asked of the normal and of Student's t, our own
// quantile and median, and the step for a censored reading, against R 4.2.2, printed to
// 15 digits by testdata/decay/distributions.R.
func TestDistributionsAgainstR(t *testing.T) {
	sample := func(n float64) []float64 {
		var out []float64
		for _, r := range table(t, "theoph.csv") {
			out = append(out, r[4])
		}
		return out[:int(n)]
	}
	sorted := func(xs []float64) []float64 { median(xs); return xs }
	seen := map[string]int{}
	for _, r := range rows(t, "distributions.csv") {
		v := numerals(t, r[1:])
		a, b, want := v[0], v[1], v[2]
		var got float64
		tol := 1e-10 // relative
		switch r[0] {
		case "pnorm":
			got = distuv.UnitNormal.CDF(a)
		case "dnorm":
			got = distuv.UnitNormal.Prob(a)
		case "qnorm":
			got = distuv.UnitNormal.Quantile(a)
		case "pt":
			got = distuv.StudentsT{Sigma: 1, Nu: b}.CDF(a)
		case "qt":
			got = distuv.StudentsT{Sigma: 1, Nu: b}.Quantile(a)
		case "qchisq":
			got = distuv.ChiSquared{K: b}.Quantile(a)
		case "quantile":
			got = quantile(sorted(sample(b)), a)
		case "median":
			got = median(sample(a))
		case "hazard", "slope":
			// at 0 with limit a and noise 1 the step leads to −h/w, where w is the slope
			aim, variance := beyond(0, a, 1, 1)
			got = 1 / variance
			if r[0] == "hazard" {
				got = -aim / variance
			}
			if a < -8 { // the first terms of the asymptotic series stand for it there
				tol = 1.5 / (a * a)
			}
		default:
			t.Fatalf("what is %q?", r[0])
		}
		seen[r[0]]++
		require.InDelta(t, want, got, tol*math.Abs(want)+1e-300, "%v", r)
	}
	require.Len(t, seen, 10)
}

// TestCensoredAbove: a reading above a limit is the mirror of one below it.
func TestCensoredAbove(t *testing.T) {
	for _, limit := range []float64{-20, -3, 0, 0.4, 5} {
		below, v := beyond(1, 1+limit, 1, 0.3)
		above, w := beyond(1, 1-limit, -1, 0.3)
		require.InDelta(t, 1-below, above-1, 1e-12)
		require.InEpsilon(t, v, w, 1e-12)
	}
}

// TestPlainForecastsAgainstR: curve, 90 % interval and chance of both plain fits against
// R 4.2.2: predict and vcov of nls with the delta method on the log of the curve and qt,
// pt, printed to 9 digits by testdata/decay/nls.R.
func TestPlainForecastsAgainstR(t *testing.T) {
	want := table(t, "plain_forecast.csv")
	require.Len(t, want, 12*3+6*3)
	for _, w := range want {
		var f Forecast
		if w[0] == 1 {
			fit, err := Flat(theoph(t, w[1]))
			require.NoError(t, err)
			f = fit.Forecast(w[2], w[6])
		} else {
			fit, err := Decline(indometh(t, w[1]))
			require.NoError(t, err)
			f = fit.Forecast(w[2], w[6])
		}
		require.InEpsilon(t, w[3], f.P50, 1e-5, "%v", w)
		require.InEpsilon(t, w[4], f.P05, 1e-5, "%v", w)
		require.InEpsilon(t, w[5], f.P95, 1e-5, "%v", w)
		require.InDelta(t, w[7], f.ChanceMet, 1e-5, "%v", w)
	}
}
