package decay

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// indometh returns the times in h and concentrations of a subject.
func indometh(t *testing.T, subject float64) (hours, conc []float64) {
	for _, r := range table(t, "indometh.csv") {
		if r[0] == subject {
			hours, conc = append(hours, r[1]), append(conc, r[2])
		}
	}
	return hours, conc
}

// TestDeclineAgainstR: R 4.2.2, stats::nls with SSbiexp on datasets::Indometh (Kwan et
// al. 1976), printed to 9 digits by testdata/decay/nls.R. SSbiexp is
// A1·e^(−exp(lrc1)·t) + A2·e^(−exp(lrc2)·t) with t in hours. nls was sent on to a
// relative offset of 1e-7, which leaves some 1e-7 of a standard error open.
func TestDeclineAgainstR(t *testing.T) {
	want := table(t, "indometh_nls.csv")
	require.Len(t, want, 6)
	for _, w := range want {
		hours, conc := indometh(t, w[0])
		require.Len(t, hours, 11)
		f, err := Decline(hours, conc)
		require.NoError(t, err, "subject %v", w[0])
		perHour := math.Log(24)
		got := [4][2]float64{
			{f.FastPPM, f.FastPPMSE}, {math.Log(f.FastRate) - perHour, f.FastRateSE / f.FastRate},
			{f.SlowPPM, f.SlowPPMSE}, {math.Log(f.SlowRate) - perHour, f.SlowRateSE / f.SlowRate},
		}
		for i, g := range got {
			value, se := w[1+2*i], w[2+2*i]
			require.InDelta(t, value, g[0], 1e-6*se, "parameter %d of %v", i+1, w[0])
			require.InEpsilon(t, se, g[1], 1e-6, "standard error %d of %v", i+1, w[0])
		}
		require.InEpsilon(t, w[9], f.ResidualSD, 1e-8, "residual se of %v", w[0])
		require.InEpsilon(t, w[10], f.ResidualSD*f.ResidualSD*float64(f.N-4), 1e-8, "rss of %v", w[0])
	}
}

// TestPlainFitsAgainstSciPy: scipy.optimize.curve_fit (SciPy 1.10.1) on the same data
// sets, printed to 9 digits by testdata/decay/curve_fit.py, rates per hour. It takes
// derivatives by differences, which the standard errors show in the sixth digit.
func TestPlainFitsAgainstSciPy(t *testing.T) {
	compare := func(w []float64, got ...float64) {
		t.Helper()
		for i := 0; i < len(got); i += 2 {
			require.InDelta(t, w[1+i], got[i], 1e-5*w[2+i], "parameter %d of %v", i/2+1, w[0])
			require.InEpsilon(t, w[2+i], got[i+1], 1e-4, "standard error %d of %v", i/2+1, w[0])
		}
	}
	curves, falls := table(t, "theoph_scipy.csv"), table(t, "indometh_scipy.csv")
	require.Len(t, curves, 12)
	require.Len(t, falls, 6)
	for _, w := range curves {
		f, err := Flat(theoph(t, w[0]))
		require.NoError(t, err)
		compare(w, f.YieldPPM, f.YieldSE, f.Release/24, f.ReleaseSE/24, f.Loss/24, f.LossSE/24)
	}
	for _, w := range falls {
		f, err := Decline(indometh(t, w[0]))
		require.NoError(t, err)
		compare(w, f.FastPPM, f.FastPPMSE, f.FastRate/24, f.FastRateSE/24, f.SlowPPM, f.SlowPPMSE, f.SlowRate/24, f.SlowRateSE/24)
	}
}

// fall returns readings of the two phases without error.
func fall(c TwoPhase, hours ...float64) (hs, ppm []float64) {
	for _, h := range hours {
		hs, ppm = append(hs, h), append(ppm, c.At(h/24))
	}
	return hs, ppm
}

func TestDeclineRecoversExactFalls(t *testing.T) {
	for _, c := range []TwoPhase{{900, 2, 500, 0.15}, {100, 6, 1500, 0.05}, {5000, 1.2, 300, 0.4}} {
		hs, ppm := fall(c, 48, 51, 54, 60, 66, 72, 84, 96, 120, 144, 168)
		f, err := Decline(hs, ppm)
		require.NoError(t, err)
		require.InEpsilon(t, c.FastPPM, f.FastPPM, 1e-5)
		require.InEpsilon(t, c.FastRate, f.FastRate, 1e-5)
		require.InEpsilon(t, c.SlowPPM, f.SlowPPM, 1e-5)
		require.InEpsilon(t, c.SlowRate, f.SlowRate, 1e-5)
		require.Less(t, f.ResidualSD, 1e-6)
		require.InEpsilon(t, c.At(9), f.Forecast(216, 0).P50, 1e-6)
	}
}

// TestDeclineIsTheBalanceAfterRelease: what two-way sorption leaves of gas that has
// stopped coming is two phases, whose rates add up to k + s + f and multiply to k·f
// (the roots of the characteristic equation; Gibaldi & Perrier, from memory).
func TestDeclineIsTheBalanceAfterRelease(t *testing.T) {
	const loss, sorb, free = 0.25, 0.6, 0.4
	w := walker{balance: balance{release: 30, loss: loss, sorb: sorb, free: free, ramp: 60}}
	w.charge(0, 1000)
	var hours, ppm []float64
	for h := 24.0; h <= 240; h += 6 {
		hours, ppm = append(hours, h), append(ppm, w.to(h/24).air)
	}
	f, err := Decline(hours, ppm)
	require.NoError(t, err)
	require.InEpsilon(t, loss+sorb+free, f.FastRate+f.SlowRate, 1e-4)
	require.InEpsilon(t, loss*free, f.FastRate*f.SlowRate, 1e-4)
}

// TestDeclineInvariant: units of concentration, units and origin of time and the
// order of the readings change nothing but the units.
func TestDeclineInvariant(t *testing.T) {
	hours, conc := indometh(t, 6)
	f, err := Decline(hours, conc)
	require.NoError(t, err)
	n := len(conc)
	scaled, later, back, backConc := make([]float64, n), make([]float64, n), make([]float64, n), make([]float64, n)
	for i := range conc {
		scaled[i], later[i] = conc[i]*1e4, hours[i]+10
		back[i], backConc[i] = hours[n-1-i]*10, conc[n-1-i]
	}
	g, err := Decline(hours, scaled)
	require.NoError(t, err)
	require.InEpsilon(t, f.FastPPM*1e4, g.FastPPM, 1e-8)
	require.InEpsilon(t, f.SlowPPMSE*1e4, g.SlowPPMSE, 1e-6)
	g, err = Decline(later, conc)
	require.NoError(t, err)
	require.InEpsilon(t, f.FastRate, g.FastRate, 1e-7)
	require.InEpsilon(t, f.SlowPPM*math.Exp(f.SlowRate*10/24), g.SlowPPM, 1e-6)
	was, is := f.Forecast(20, 0.01), g.Forecast(30, 0.01)
	require.InEpsilon(t, was.P05, is.P05, 1e-6)
	require.InEpsilon(t, was.P95, is.P95, 1e-6)
	require.InEpsilon(t, was.ChanceMet, is.ChanceMet, 1e-6)
	g, err = Decline(back, backConc)
	require.NoError(t, err)
	require.InEpsilon(t, f.SlowRate/10, g.SlowRate, 1e-7)
	require.InEpsilon(t, f.FastRateSE/10, g.FastRateSE, 1e-6)
}

func TestDeclineRefuses(t *testing.T) {
	_, single := fall(TwoPhase{400, 0.3, 400, 0.3}, 0, 12, 24, 36, 48, 60, 72)
	_, floor := fall(TwoPhase{400, 2, 300, 1e-7}, 0, 12, 24, 36, 48, 60, 72)
	_, gone := fall(TwoPhase{400, 90, 300, 0.1}, 0, 12, 24, 36, 48, 60, 72)
	_, rises := exact(Curve{1500, 1.2, 0.2}, 1, 12, 24, 36, 48, 60, 72)
	even := []float64{0, 12, 24, 36, 48, 60, 72}
	for name, c := range map[string]struct {
		hours, ppm []float64
		want       error
	}{
		"empty":       {nil, nil, ErrTooFew},
		"four":        {even[:4], single[:4], ErrTooFew},
		"three times": {[]float64{1, 1, 2, 2, 3, 3}, []float64{6, 6, 5, 5, 4, 4}, ErrTooFew},
		"constant":    {even, []float64{5, 5, 5, 5, 5, 5, 5}, ErrConstant},
		"all zero":    {even, make([]float64, 7), ErrAllZero},
		"NaN":         {even[:5], []float64{5, math.NaN(), 3, 2, 1}, nil},
		"before":      {[]float64{-1, 1, 2, 3, 4}, []float64{5, 4, 3, 2, 1}, nil},
		"one phase":   {even, single, ErrOnePhase},
		"a floor":     {even, floor, ErrNoLoss},
		"fast gone":   {even, gone, ErrNoFast},
		"release too": {even, rises, nil},
		"rising":      {even, []float64{1, 2, 3, 4, 5, 6, 7}, nil},
	} {
		f, err := Decline(c.hours, c.ppm)
		require.Error(t, err, name)
		require.Zero(t, f, name)
		require.ErrorContains(t, err, "fit the two phases of the fall", name)
		if c.want != nil {
			require.ErrorIs(t, err, c.want, name)
		}
	}
}

// TestDeclineNeverNaN feeds the fit with awkward but admissible numbers.
func TestDeclineNeverNaN(t *testing.T) {
	fitted := 0
	for _, ppm := range [][]float64{
		{9, 4, 3, 2.5, 2.2, 2}, {9e-300, 4e-300, 3e-300, 2.5e-300, 2.2e-300, 2e-300}, {9e300, 4e300, 3e300, 2.5e300, 2.2e300, 2e300},
		{1, 0, 0, 0, 0, 0}, {0, 0, 0, 0, 0, 1}, {1, 1, 1, 1, 1, 1.0000001}, {0, 1000, 0, 1000, 0, 1000}, {-5, 10, 3, -2, 1, 0},
	} {
		for _, hours := range [][]float64{{0, 1, 2, 3, 4, 5}, {1e-9, 2e-9, 3e-9, 4e-9, 5e-9, 6e-9}, {1, 1e3, 1e6, 1e7, 1e8, 1e9}} {
			f, err := Decline(hours, ppm)
			if err != nil {
				require.Zero(t, f)
				continue
			}
			fitted++
			c := f.Forecast(120, 150)
			require.True(t, allFinite([]float64{f.FastPPM, f.FastRate, f.SlowPPM, f.SlowRate, f.FastPPMSE, f.FastRateSE, f.SlowPPMSE, f.SlowRateSE, f.ResidualSD, c.P05, c.P50, c.P95, c.ChanceMet}), "%v at %v: %+v %+v", ppm, hours, f, c)
			require.Greater(t, f.FastRate, f.SlowRate)
		}
	}
	require.GreaterOrEqual(t, fitted, 3)
}
