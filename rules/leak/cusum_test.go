package leak

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// TestCusumMontgomeryRunger: Montgomery & Runger, Applied Statistics and
// Probability for Engineers, Table 16-8: µ0 = 99, K = 1, H = 10.
func TestCusumMontgomeryRunger(t *testing.T) {
	x := []float64{102.0, 94.8, 98.3, 98.4, 102.0, 98.5, 99.0, 97.7, 100.0, 98.1, 101.3, 98.7, 101.1, 98.4, 97.0, 96.7, 100.3, 101.4, 97.2, 101.0}
	high := []float64{2.0, 0, 0, 0, 2.0, .5, 0, 0, 0, 0, 1.3, 0, 1.1, 0, 0, 0, .3, 1.7, 0, 1.0}
	low := []float64{0, 3.2, 2.9, 2.5, 0, 0, 0, .3, 0, 0, 0, 0, 0, 0, 1.0, 2.3, 0, 0, .8, 0}
	var c cusum
	for i := range x {
		c.add(x[i]-99, 1)
		require.InDelta(t, high[i], c.High, 1e-9, "S_H of %d", i+1)
		require.InDelta(t, low[i], c.Low, 1e-9, "S_L of %d", i+1)
	}
}

// TestCusumHeadStart: Lucas & Crosier (1982), Technometrics 24:199, k = 1/2, h = 5,
// without and with a head start of h/2.
func TestCusumHeadStart(t *testing.T) {
	x := []float64{.8, 1.9, 1.4, 2.0, 1.1, .7, 2.6}
	plain := []float64{.3, 1.7, 2.6, 4.1, 4.7, 4.9, 7.0}
	ahead := []float64{2.8, 4.2, 5.1}
	c, f := cusum{}, cusum{High: 2.5}
	for i := range x {
		c.add(x[i], cusumSlack)
		f.add(x[i], cusumSlack)
		require.InDelta(t, plain[i], c.High, 1e-9)
		if i < len(ahead) {
			require.InDelta(t, ahead[i], f.High, 1e-9)
		}
	}
	require.InDelta(t, 9.5, f.High, 1e-9)
}

// TestCusumHandbook: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.3:
// µ0 = 325, k = 0.3175, h = 4.1959; the data are from memory and consistent in
// themselves.
func TestCusumHandbook(t *testing.T) {
	x := []float64{324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125, 324.525, 325.225, 324.600,
		324.625, 325.150, 328.325, 327.250, 327.825, 328.500, 326.675, 327.775, 326.875, 328.350}
	var c cusum
	first, low := 0, 0.0
	for i := range x {
		c.add(x[i]-325, 0.3175)
		if c.High > 4.1959 && first == 0 {
			first = i + 1
			require.InDelta(t, 4.94, c.High, 0.005)
		}
		if i == 14 {
			require.InDelta(t, 7.45, c.High, 0.005)
		}
		low = max(low, c.Low)
	}
	require.Equal(t, 14, first)
	require.InDelta(t, 19.04, c.High, 0.006)
	require.InDelta(t, 0.72, low, 0.01)
}
