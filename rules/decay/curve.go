package decay

import "math"

// Curve is the release-loss curve: a source of YieldPPM that is released first
// order at Release per day into a gas space that loses first order at Loss per
// day. It is the one-compartment model with first-order input of
// pharmacokinetics (Bateman 1910).
type Curve struct {
	YieldPPM float64 // what the dose would give without loss, ppm
	Release  float64 // per day
	Loss     float64 // per day
}

// At returns the concentration in ppm, days after the release began: 0 before.
func (c Curve) At(days float64) float64 { return c.YieldPPM * bateman(days, c.Release, c.Loss) }

// PeakDays returns the time of the highest concentration, in days:
// ln(r/k)/(r−k), and 1/k where both rates are equal.
func (c Curve) PeakDays() float64 {
	x := (c.Release - c.Loss) / c.Loss
	if x == 0 {
		return 1 / c.Loss
	}
	return math.Log1p(x) / (c.Release - c.Loss)
}

// PeakPPM returns the highest concentration, Y·e^(−k·t_peak).
func (c Curve) PeakPPM() float64 { return c.YieldPPM * math.Exp(-c.Loss*c.PeakDays()) }

// CTP returns the concentration-time product over the first days, in ppm·h: the
// integral of the curve, (Y·(1 − e^(−r·t)) − C(t))/k by the mass balance.
func (c Curve) CTP(days float64) float64 {
	if !(days > 0) {
		return 0
	}
	return 24 * (c.YieldPPM*-math.Expm1(-c.Release*days) - c.At(days)) / c.Loss
}

// bateman returns r/(r−k)·(e^(−kt) − e^(−rt)), for t in days and rates per day;
// it is exact through r = k, where it becomes r·t·e^(−rt), and 0 for t ≤ 0.
func bateman(t, r, k float64) float64 {
	if !(t > 0) {
		return 0
	}
	low, gap := k, (r-k)*t
	if gap < 0 { // the form is symmetric in the rates but for the factor r
		low, gap = r, -gap
	}
	return r * t * math.Exp(-low*t) * expRatio(gap)
}

// expRatio returns (1 − e^(−x))/x for x ≥ 0, and 1 at 0.
func expRatio(x float64) float64 {
	if x < 1e-300 {
		return 1
	}
	return -math.Expm1(-x) / x
}
