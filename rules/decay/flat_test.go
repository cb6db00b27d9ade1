package decay

import (
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"
)

// rows reads a file below testdata/decay without its heading; its source is in its
// first lines.
func rows(t *testing.T, name string) [][]string {
	t.Helper()
	f, err := os.Open(filepath.Join("..", "..", "testdata", "decay", name))
	require.NoError(t, err)
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	records, err := r.ReadAll()
	require.NoError(t, err)
	require.Greater(t, len(records), 1)
	return records[1:]
}

// floats reads fields as numbers.
func numerals(t *testing.T, fields []string) []float64 {
	t.Helper()
	out := make([]float64, len(fields))
	for i, s := range fields {
		var err error
		out[i], err = strconv.ParseFloat(s, 64)
		require.NoError(t, err)
	}
	return out
}

// table reads a file of numbers.
func table(t *testing.T, name string) [][]float64 {
	t.Helper()
	var out [][]float64
	for _, r := range rows(t, name) {
		out = append(out, numerals(t, r))
	}
	return out
}

// theoph returns the times in h and concentrations of a subject.
func theoph(t *testing.T, subject float64) (hours, conc []float64) {
	for _, r := range table(t, "theoph.csv") {
		if r[0] == subject {
			hours, conc = append(hours, r[3]), append(conc, r[4])
		}
	}
	return hours, conc
}

// TestFlatAgainstR: R 4.2.2, stats::nls with SSfol on datasets::Theoph, printed
// to 9 digits by testdata/decay/nls.R. SSfol is
// Dose·exp(lKe+lKa−lCl)·(e^(−Ke·t) − e^(−Ka·t))/(Ka − Ke), so Y = Dose·Ke/Cl, k = Ke,
// r = Ka, and lCl = ln Dose + lKe − ln Y. nls was sent on to a relative offset of
// 1e-7, which leaves some 1e-7 of a standard error open.
func TestFlatAgainstR(t *testing.T) {
	want := table(t, "theoph_nls.csv")
	require.Len(t, want, 12)
	for _, w := range want {
		hours, conc := theoph(t, w[0])
		f, err := Flat(hours, conc)
		require.NoError(t, err, "subject %v", w[0])
		perHour := math.Log(24)
		lKe, lKa := math.Log(f.Loss)-perHour, math.Log(f.Release)-perHour
		lCl := math.Log(w[2]) + lKe - math.Log(f.YieldPPM)
		seCl := math.Sqrt(f.LogCov[2][2] + f.LogCov[0][0] - 2*f.LogCov[0][2])
		const tol = 1e-6
		require.InDelta(t, w[3], lKe, tol*w[4], "lKe of %v", w[0])
		require.InDelta(t, w[5], lKa, tol*w[6], "lKa of %v", w[0])
		require.InDelta(t, w[7], lCl, tol*w[8], "lCl of %v", w[0])
		require.InEpsilon(t, w[4], f.LossSE/f.Loss, 1e-6, "se lKe of %v", w[0])
		require.InEpsilon(t, w[6], f.ReleaseSE/f.Release, 1e-6, "se lKa of %v", w[0])
		require.InEpsilon(t, w[8], seCl, 1e-6, "se lCl of %v", w[0])
		require.InEpsilon(t, w[9], f.ResidualSD, 1e-8, "residual se of %v", w[0])
		require.InEpsilon(t, w[10], f.ResidualSD*f.ResidualSD*float64(f.N-3), 1e-8, "rss of %v", w[0])
	}
}

// TestEngineAgainstNIST: NIST Statistical Reference Datasets, certified values
// (11 digits), each from the harder of NIST's starts that this method takes.
func TestEngineAgainstNIST(t *testing.T) {
	rise := func(x float64, b, grad []float64) float64 {
		e := math.Exp(-b[1] * x)
		grad[0], grad[1] = 1-e, b[0]*x*e
		return b[0] * (1 - e)
	}
	twoRates := func(x float64, b, grad []float64) float64 {
		e4, e5 := math.Exp(-b[3]*x), math.Exp(-b[4]*x)
		copy(grad, []float64{1, e4, e5, -x * b[1] * e4, -x * b[2] * e5})
		return b[0] + b[1]*e4 + b[2]*e5
	}
	for _, c := range []struct {
		file         string
		model        func(x float64, b, grad []float64) float64
		start, b, sd []float64
		rss          float64
	}{
		{"nist_misra1a.csv", rise, []float64{500, 0.0001}, []float64{2.3894212918e+02, 5.5015643181e-04}, []float64{2.7070075241e+00, 7.2668688436e-06}, 1.2455138894e-01},
		{"nist_boxbod.csv", rise, []float64{100, 0.75}, []float64{2.1380940889e+02, 5.4723748542e-01}, []float64{1.2354515176e+01, 1.0455993237e-01}, 1.1680088766e+03},
		{"nist_mgh17.csv", twoRates, []float64{0.5, 1.5, -1, 0.01, 0.02}, []float64{3.7541005211e-01, 1.9358469127e+00, -1.4646871366e+00, 1.2867534640e-02, 2.2122699662e-02},
			[]float64{2.0723153551e-03, 2.2031669222e-01, 2.2175707739e-01, 4.4861358114e-04, 8.9471996575e-04}, 5.4648946975e-05},
	} {
		data, p := table(t, c.file), len(c.b)
		s, err := leastSquares(c.start, len(data), 500, 1e-12, 0, func(x, r, jac []float64) {
			grad := make([]float64, p)
			for i, d := range data {
				r[i] = c.model(d[0], x, grad) - d[1]
				for j := 0; jac != nil && j < p; j++ {
					jac[j*len(data)+i] = grad[j]
				}
			}
		})
		require.NoError(t, err, c.file)
		require.InEpsilon(t, c.rss, s.rss, 1e-8, c.file)
		for j := range c.b {
			require.InEpsilon(t, c.b[j], s.x[j], 1e-6, "%s b%d", c.file, j+1)
			sd := math.Sqrt(s.cov.At(j, j) * s.rss / float64(len(data)-p))
			require.InEpsilon(t, c.sd[j], sd, 1e-5, "%s sd of b%d", c.file, j+1)
		}
	}
}

// exact returns readings of a curve without error.
func exact(c Curve, hours ...float64) (hs, ppm []float64) {
	for _, h := range hours {
		hs, ppm = append(hs, h), append(ppm, c.At(h/24))
	}
	return hs, ppm
}

func TestFlatRecoversExactCurves(t *testing.T) {
	for _, c := range []Curve{{1500, 1.2, 0.15}, {800, 0.6, 0.45}, {2000, 2, 0.05}, {900, 0.5, 0.499}} {
		hs, ppm := exact(c, 3, 6, 12, 18, 24, 36, 48, 72, 96, 120)
		f, err := Flat(hs, ppm)
		require.NoError(t, err)
		// near r = k the two rates are told apart only by the square of their gap
		tol := 1e-6
		if c.Release/c.Loss < 1.1 {
			tol = 5e-3
		}
		require.InEpsilon(t, c.YieldPPM, f.YieldPPM, tol)
		require.InEpsilon(t, c.Release, f.Release, tol)
		require.InEpsilon(t, c.Loss, f.Loss, tol)
		require.Less(t, f.ResidualSD, 1e-4)
	}
}

// TestFlatInvariant: units of concentration, units of time and the order of the
// readings change nothing but the units.
func TestFlatInvariant(t *testing.T) {
	hours, conc := theoph(t, 3)
	f, err := Flat(hours, conc)
	require.NoError(t, err)
	scaled, slow, back := make([]float64, len(conc)), make([]float64, len(conc)), make([]float64, len(conc))
	backConc := make([]float64, len(conc))
	for i := range conc {
		scaled[i], slow[i] = conc[i]*1e4, hours[i]*10
		back[i], backConc[i] = hours[len(conc)-1-i], conc[len(conc)-1-i]
	}
	g, err := Flat(hours, scaled)
	require.NoError(t, err)
	require.InEpsilon(t, f.YieldPPM*1e4, g.YieldPPM, 1e-9)
	require.InEpsilon(t, f.YieldSE*1e4, g.YieldSE, 1e-7)
	require.InEpsilon(t, f.Loss, g.Loss, 1e-9)
	g, err = Flat(slow, conc)
	require.NoError(t, err)
	require.InEpsilon(t, f.Loss/10, g.Loss, 1e-7)
	require.InEpsilon(t, f.ReleaseSE/10, g.ReleaseSE, 1e-6)
	g, err = Flat(back, backConc)
	require.NoError(t, err)
	require.InEpsilon(t, f.Release, g.Release, 1e-9)
}

func TestFlatRefuses(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	_, lateStart := exact(Curve{1500, 1.2, 0.2}, 0, 3, 6, 9, 21, 33, 45, 57)
	for name, c := range map[string]struct {
		hours, ppm []float64
		want       error
	}{
		"empty":              {nil, nil, ErrTooFew},
		"one":                {[]float64{1}, []float64{5}, ErrTooFew},
		"three":              {[]float64{1, 2, 3}, []float64{5, 6, 5}, ErrTooFew},
		"two times":          {[]float64{1, 1, 2, 2}, []float64{5, 6, 5, 4}, ErrTooFew},
		"constant":           {[]float64{1, 2, 3, 4}, []float64{5, 5, 5, 5}, ErrConstant},
		"all zero":           {[]float64{1, 2, 3, 4}, []float64{0, 0, 0, 0}, ErrAllZero},
		"all negative":       {[]float64{1, 2, 3, 4}, []float64{-1, -2, -1, 0}, ErrAllZero},
		"NaN":                {[]float64{1, 2, 3, 4}, []float64{1, nan, 3, 4}, nil},
		"Inf":                {[]float64{1, 2, 3, 4}, []float64{1, inf, 3, 4}, nil},
		"NaN time":           {[]float64{1, nan, 3, 4}, []float64{1, 2, 3, 4}, nil},
		"negative time":      {[]float64{-1, 2, 3, 4}, []float64{1, 2, 3, 4}, nil},
		"lengths":            {[]float64{1, 2}, []float64{1, 2, 3}, nil},
		"rising all the way": {[]float64{1, 2, 3, 4, 5}, []float64{10, 20, 30, 40, 50}, ErrNoLoss},
		"late start":         {[]float64{3, 6, 9, 12, 24, 36, 48, 60}, lateStart, ErrNoSplit},
		"falling all along":  {[]float64{24, 48, 72, 96, 120}, []float64{800, 400, 200, 100, 50}, ErrNoRise},
	} {
		f, err := Flat(c.hours, c.ppm)
		require.Error(t, err, name)
		require.Zero(t, f, name)
		if c.want != nil {
			require.ErrorIs(t, err, c.want, name)
		}
	}
}

// TestFlatNeverNaN feeds the fit with awkward but admissible numbers.
func TestFlatNeverNaN(t *testing.T) {
	for _, ppm := range [][]float64{
		{1e-300, 2e-300, 3e-300, 1e-300, 5e-301}, {1e300, 2e300, 3e300, 1e300, 1e299}, {0, 0, 0, 0, 1}, {1, 0, 0, 0, 0},
		{1, 1, 1, 1, 1.0000001}, {0, 1000, 0, 1000, 0}, {-5, 10, 3, -2, 1},
	} {
		for _, hours := range [][]float64{{0, 1, 2, 3, 4}, {1e-9, 2e-9, 3e-9, 4e-9, 5e-9}, {1, 1e3, 1e6, 1e7, 1e8}} {
			f, err := Flat(hours, ppm)
			if err != nil {
				require.Zero(t, f)
				continue
			}
			c := f.Forecast(120, 150)
			require.True(t, allFinite([]float64{f.YieldPPM, f.Release, f.Loss, f.YieldSE, f.ReleaseSE, f.LossSE, f.ResidualSD, c.P05, c.P50, c.P95, c.ChanceMet}), "%v at %v: %+v %+v", ppm, hours, f, c)
		}
	}
}

// TestFlatForecast: the interval widens away from the readings.
func TestFlatForecast(t *testing.T) {
	hours, conc := theoph(t, 3)
	f, err := Flat(hours, conc)
	require.NoError(t, err)
	near, far := f.Forecast(12, 1), f.Forecast(48, 1)
	require.InEpsilon(t, f.At(0.5), near.P50, 1e-12)
	require.Less(t, near.P95/near.P05, far.P95/far.P05)
	require.Greater(t, near.ChanceMet, 0.999)
	require.Less(t, far.ChanceMet, 0.001)
	require.Equal(t, Forecast{}, f.Forecast(0, 1))
}
