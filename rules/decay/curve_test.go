package decay

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// TestCurveIdentities: one-compartment identities with first-order input
// (Gibaldi & Perrier, Pharmacokinetics, 2nd ed. 1982, ch. 1; from memory),
// evaluated independently with 7 digits.
func TestCurveIdentities(t *testing.T) {
	for _, c := range []struct {
		curve      Curve
		tmax, cmax float64
		at         map[float64]float64
		ctpDays    float64
		ctp        float64
	}{
		{Curve{1000, 1.5, 0.15}, 1.705619, 774.2637, map[float64]float64{1: 708.4198, 2: 767.8124, 5: 524.2372}, 5, 76033.557},
		{Curve{1000, 1.0, 0.1}, 2.558428, 774.2637, map[float64]float64{1: 596.6200, 2: 759.3283, 8: 498.8817}, 8, 120187.889},
		{Curve{800, 1.2, 0.45}, 1.307772, 444.1286, map[float64]float64{1: 430.6354, 2: 404.2902, 5: 131.7382}, 5, 35534.869},
	} {
		require.InDelta(t, c.tmax, c.curve.PeakDays(), 5e-7)
		require.InDelta(t, c.cmax, c.curve.PeakPPM(), 5e-5)
		require.InDelta(t, c.cmax, c.curve.At(c.curve.PeakDays()), 5e-5)
		for days, ppm := range c.at {
			require.InDelta(t, ppm, c.curve.At(days), 5e-5)
		}
		require.InDelta(t, c.ctp, c.curve.CTP(c.ctpDays), 5e-4)
		require.InEpsilon(t, 24*c.curve.YieldPPM/c.curve.Loss, c.curve.CTP(1e4), 1e-12, "CTP to infinity = Y/k")
		flip := Curve{c.curve.YieldPPM * c.curve.Release / c.curve.Loss, c.curve.Loss, c.curve.Release}
		require.InEpsilon(t, c.curve.At(2), flip.At(2), 1e-12, "flip-flop")
	}
}

// TestConfluent: where both rates meet the curve is Y·k·t·e^(−kt), and nothing
// jumps on the way there.
func TestConfluent(t *testing.T) {
	c := Curve{1000, 0.4, 0.4}
	require.InEpsilon(t, 1000*0.4*3*math.Exp(-1.2), c.At(3), 1e-14)
	require.Equal(t, 1/0.4, c.PeakDays())
	for _, gap := range []float64{1e-16, 1e-12, 1e-8, 1e-6} {
		for _, sign := range []float64{-1, 1} {
			require.InEpsilon(t, c.At(3), Curve{1000, 0.4 * (1 + sign*gap), 0.4}.At(3), 2*gap+1e-14)
		}
	}
	require.Zero(t, c.At(0))
	require.Zero(t, c.At(-1))
	require.Zero(t, c.At(math.NaN()))
}

// TestSlopes checks the derivatives by differences, on both sides of the switch
// to a series.
func TestSlopes(t *testing.T) {
	for _, k := range []float64{0.1, 0.39, 0.3999, 0.39999999, 0.4, 0.4001, 0.9} {
		const r, h = 0.4, 1e-6
		for _, days := range []float64{0.01, 1, 5} {
			dr, dk := batemanSlopes(days, r, k)
			require.InDelta(t, (bateman(days, r+h, k)-bateman(days, r-h, k))/(2*h), dr, 1e-8)
			require.InDelta(t, (bateman(days, r, k+h)-bateman(days, r, k-h))/(2*h), dk, 1e-8)
		}
	}
}

// TestBalance: the closed form with mixing and sorption in both directions against
// its own differential equations, integrated in small steps (Runge–Kutta 4); and
// its limit, the release-loss curve.
func TestBalance(t *testing.T) {
	for _, c := range []struct{ r, mix, k, sorb, free float64 }{
		{1.2, 16, 0.2, 0.3, 0.5}, {0.5, 3, 0.7, 0.05, 0.7}, {2, 2.2, 0.1, 1, 0.1}, {1.2, 8, 0.4, 0, 0.4},
	} {
		q := walker{balance: balance{release: c.r, loss: c.k, sorb: c.sorb, free: c.free, ramp: c.mix}}
		q.charge(0, 1)
		slope := func(tm float64, y [3]float64) [3]float64 {
			return [3]float64{c.r*math.Exp(-c.r*tm) - c.mix*y[0], c.mix*y[0] - (c.k+c.sorb)*y[1] + c.free*y[2], c.sorb*y[1] - c.free*y[2]}
		}
		add := func(y, d [3]float64, h float64) [3]float64 {
			return [3]float64{y[0] + h*d[0], y[1] + h*d[1], y[2] + h*d[2]}
		}
		var y [3]float64
		const h = 1e-3
		for n := range 6000 {
			tm := float64(n) * h
			require.InDelta(t, y[1], q.to(tm).air, 1e-7, "%+v at %v d", c, tm)
			a := slope(tm, y)
			b := slope(tm+h/2, add(y, a, h/2))
			d := slope(tm+h/2, add(y, b, h/2))
			e := slope(tm+h, add(y, d, h))
			for i := range y {
				y[i] += h / 6 * (a[i] + 2*b[i] + 2*d[i] + e[i])
			}
		}
	}
	limit := walker{balance: balance{release: 1.2, loss: 0.2, free: 0.5, ramp: 1e9}}
	limit.charge(0, 1)
	require.InEpsilon(t, bateman(2, 1.2, 0.2), limit.to(2).air, 1e-8)
}

// TestTransitTwice: twice a transit is the transit over twice the time, for e^(2Mt) is
// e^(Mt)·e^(Mt) (semigroup of the matrix exponential).
func TestTransitTwice(t *testing.T) {
	start := gas{solid: 700, ramp: -20, air: 300, held: 150}
	for _, b := range []balance{{1.2, 0.3, 0.4, 0.5, 20}, {0.6, 1.1, 0, 0.2, 900}, {2, 0.05, 0.9, 0.1, 5}} {
		for _, days := range []float64{1.0 / 24, 0.5, 3} {
			one, two := b.over(days), b.over(2*days)
			double := one.twice()
			at, other := start, start
			two.move(&at)
			double.move(&other)
			require.InDelta(t, at.air, other.air, 1e-9)
			require.InDelta(t, at.held, other.held, 1e-9)
			require.InDelta(t, at.solid, other.solid, 1e-9)
			require.InDelta(t, at.ramp, other.ramp, 1e-9)
		}
	}
}

// TestLnRatio: the series against the logarithm of the standard library, through the
// place where it is left for it.
func TestLnRatio(t *testing.T) {
	for _, d := range []float64{-30, -3, -0.41, -0.4, -0.1, -1e-3, -1e-9, 1e-9, 1e-3, 0.1, 0.4, 0.41, 3, 30} {
		require.InEpsilon(t, d, lnRatio(700*math.Exp(d), 700), 2e-8+1e-15/math.Abs(d))
	}
	require.Zero(t, lnRatio(5, 5))
}
