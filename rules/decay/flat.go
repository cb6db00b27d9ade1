package decay

import (
	"errors"
	"fmt"
	"math"
)

// FlatFit is a plain least-squares fit of the release-loss curve. Where both
// orders of the rates fit equally (they always do, with another yield), the
// faster one is called the release.
type FlatFit struct {
	Curve
	YieldSE, ReleaseSE, LossSE float64       // ppm, per day, per day: from s²(JᵀJ)⁻¹
	ResidualSD                 float64       // ppm, on N − 3 degrees of freedom
	N                          int           // readings
	LogCov                     [3][3]float64 // s²(JᵀJ)⁻¹ for ln Y, ln r, ln k
}

// Errors of Flat beside those of every plain fit.
var (
	ErrNoSplit = errors.New("release and loss come out equal, as they do when the gas began hours after the dosing, so neither can be told: count the hours from when it began, or use the fit with priors")
	ErrNoRise  = errors.New("the readings begin after the release, so they do not tell its rate: add earlier readings, or use the fit with priors")
)

// Flat fits C(t) = Y·r/(r−k)·(e^(−k·t) − e^(−r·t)) to readings in ppm taken at
// hours after dosing, by least squares without priors or weights. Several
// readings may share a time and the order does not matter. The errors say which
// reading is bad, or what the readings lack.
func Flat(hours, ppm []float64) (FlatFit, error) {
	f, err := flat(hours, ppm)
	if err != nil {
		return FlatFit{}, fmt.Errorf("fit the release-loss curve: %w", err)
	}
	return f, nil
}

func flat(hours, ppm []float64) (FlatFit, error) {
	r, err := newRecord(hours, ppm)
	if err != nil {
		return FlatFit{}, err
	}
	if err := r.enough(4, 3, math.SmallestNonzeroFloat64); err != nil { // at t = 0 every curve is 0
		return FlatFit{}, err
	}
	best, err := bestOf(flatStarts(r), len(ppm), flatResiduals(r))
	if best.x != nil {
		first := math.Inf(1)
		for _, d := range r.days {
			if d > 0 {
				first = min(first, d)
			}
		}
		err = flatFound(best.x, first, r.span, err)
	}
	if err != nil {
		return FlatFit{}, err
	}
	return flatResult(best, r.top, len(ppm)), nil
}

// flatStarts returns starting points (ln Y, ln r, ln k) from a grid over both rates;
// the yield is then linear.
func flatStarts(rec record) []start {
	var all []start
	for i := -6; i <= 14; i++ {
		r := math.Pow(2, float64(i)/2) / rec.span * 2
		for j := -10; j <= i; j++ {
			k := math.Pow(2, float64(j)/2) / rec.span * 1.9
			y, rss := flatYield(rec, r, k)
			if y > 0 {
				all = append(all, start{[]float64{math.Log(y), math.Log(r), math.Log(k)}, rss})
			}
		}
	}
	return bestStarts(all, [2]int{1, 2})
}

// flatYield returns the least-squares yield for given rates and its sum of squares.
func flatYield(rec record, r, k float64) (y, rss float64) {
	var bb, by, yy float64
	for i, t := range rec.days {
		b, c := bateman(t, r, k), rec.share[i]
		bb, by, yy = bb+b*b, by+b*c, yy+c*c
	}
	if !(bb > 0) {
		return 0, yy
	}
	return by / bb, yy - by*by/bb
}

// flatResiduals is the curve against the readings in the logs of Y, r and k.
func flatResiduals(rec record) residuals {
	return func(x, res, jac []float64) {
		y, r, k := math.Exp(x[0]), math.Exp(x[1]), math.Exp(x[2])
		n := len(res)
		for i, t := range rec.days {
			c := y * bateman(t, r, k)
			res[i] = c - rec.share[i]
			if jac != nil {
				dr, dk := batemanSlopes(t, r, k)
				jac[i], jac[n+i], jac[2*n+i] = c, y*r*dr, y*k*dk
			}
		}
	}
}

// batemanSlopes returns the derivatives of bateman by r and by k. With
// G = (e^(−kt) − e^(−rt))/(r−k): dG/dk = −(t·e^(−kt) − G)/(r−k), and a series
// where the rates are close.
func batemanSlopes(t, r, k float64) (dr, dk float64) {
	if !(t > 0) {
		return 0, 0
	}
	x, ek, er := (r-k)*t, math.Exp(-k*t), math.Exp(-r*t)
	g := bateman(t, r, k) / r
	var gr, gk float64
	if math.Abs(x) < 1e-3 {
		gk = -ek * t * t * (1./2 - x/6 + x*x/24 - x*x*x/120)
		gr = -ek * t * t * (1./2 - x/3 + x*x/8 - x*x*x/30)
	} else {
		gk, gr = (g-t*ek)/(r-k), (t*er-g)/(r-k)
	}
	return g + r*gr, r * gk
}

// flatFound says why a fit is refused that ran off along a rate that the readings
// do not tell; first and span are the times of the first and last reading after
// dosing in days, err is what the engine said. An error of the engine is taken
// as a sign of that long before the rate is out of all bounds.
func flatFound(x []float64, first, span float64, err error) error {
	fast, slow := math.Exp(max(x[1], x[2]))*first, math.Exp(min(x[1], x[2]))*span
	switch {
	case !allFinite(x):
		return errSingular
	case err != nil && math.Abs(x[1]-x[2]) < 1e-2:
		return ErrNoSplit
	case slow < 1e-4 || (err != nil && slow < 1e-2):
		return ErrNoLoss
	case fast > 25 || (err != nil && fast > 8): // e^(−8) of the rise is left at the first reading
		return ErrNoRise
	}
	return err
}

// flatResult turns the solution for readings divided by top into natural units.
func flatResult(s solution, top float64, n int) FlatFit {
	f := FlatFit{N: n, ResidualSD: top * math.Sqrt(s.rss/float64(n-3))}
	s2 := s.rss / float64(n-3)
	// rows of the change of parameters to the convention r > k: Y' = Y·r/k
	to := [3][3]float64{{1, 0, 0}, {0, 1, 0}, {0, 0, 1}}
	if s.x[1] < s.x[2] {
		to = [3][3]float64{{1, 1, -1}, {0, 0, 1}, {0, 1, 0}}
	}
	var x [3]float64
	for a := range 3 {
		for i := range 3 {
			x[a] += to[a][i] * s.x[i]
			for b := range 3 {
				for j := range 3 {
					f.LogCov[a][b] += to[a][i] * s2 * s.cov.At(i, j) * to[b][j]
				}
			}
		}
	}
	f.Curve = Curve{top * math.Exp(x[0]), math.Exp(x[1]), math.Exp(x[2])}
	f.YieldSE = f.YieldPPM * math.Sqrt(f.LogCov[0][0])
	f.ReleaseSE = f.Release * math.Sqrt(f.LogCov[1][1])
	f.LossSE = f.Loss * math.Sqrt(f.LogCov[2][2])
	return f
}

// Forecast returns the curve at hours after dosing with a 90 % interval for the
// true concentration, from the errors of the parameters alone (delta method on
// ln C, Student's t on N − 3 degrees of freedom). It knows nothing of what the
// curve leaves out, so it is too narrow on real records.
func (f FlatFit) Forecast(hours, endLevel float64) Forecast {
	t := hours / 24
	b := bateman(t, f.Release, f.Loss)
	dr, dk := batemanSlopes(t, f.Release, f.Loss)
	slope := [3]float64{1, f.Release * dr / b, f.Loss * dk / b}
	v := 0.0
	for i := range 3 {
		for j := range 3 {
			v += slope[i] * f.LogCov[i][j] * slope[j]
		}
	}
	return plainForecast(f.At(t), v, float64(f.N-3), endLevel)
}
