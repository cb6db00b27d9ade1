package decay

import (
	"errors"
	"fmt"
	"math"
)

// TwoPhase is the fall of the gas once its release is over, while the commodity
// takes phosphine up and gives it back: a fast phase and a slow one,
//
//	C(t) = A₁·e^(−k₁·t) + A₂·e^(−k₂·t), k₁ > k₂
//
// It is the solution of a gas space that exchanges with a store (the
// two-compartment model of pharmacokinetics; Gibaldi & Perrier, Pharmacokinetics,
// 2nd ed. 1982, ch. 2, from memory).
type TwoPhase struct {
	FastPPM  float64 // A₁: what the fast phase would have been at t = 0, ppm
	FastRate float64 // k₁, per day
	SlowPPM  float64 // A₂, ppm
	SlowRate float64 // k₂, per day
}

// At returns the concentration in ppm at days.
func (c TwoPhase) At(days float64) float64 {
	return c.FastPPM*math.Exp(-c.FastRate*days) + c.SlowPPM*math.Exp(-c.SlowRate*days)
}

// DeclineFit is a plain least-squares fit of the two phases.
type DeclineFit struct {
	TwoPhase
	FastPPMSE, FastRateSE, SlowPPMSE, SlowRateSE float64       // in the units of the estimates: from s²(JᵀJ)⁻¹
	ResidualSD                                   float64       // ppm, on N − 4 degrees of freedom
	N                                            int           // readings
	LogCov                                       [4][4]float64 // s²(JᵀJ)⁻¹ for ln A₁, ln k₁, ln A₂, ln k₂
}

// Errors of Decline beside those of every plain fit.
var (
	ErrOnePhase = errors.New("the readings do not show two phases apart from each other: give only those from the end of the release on and over a longer time, or fit the release-loss curve")
	ErrNoFast   = errors.New("the fast phase is over before the second reading, so its rate cannot be told: add earlier readings")
)

// unknownSD is the standard deviation of the log of a parameter from which on the
// readings do not tell it: a factor of 20 either way.
const unknownSD = 3.0

// Decline fits the two phases of the fall to readings in ppm by least squares
// without priors or weights. Only readings from after the release belong here; hours
// count from any t = 0 before them. Several readings may share a time and the order
// does not matter. The errors say which reading is bad, or what the readings lack.
func Decline(hours, ppm []float64) (DeclineFit, error) {
	f, err := decline(hours, ppm)
	if err != nil {
		return DeclineFit{}, fmt.Errorf("fit the two phases of the fall: %w", err)
	}
	return f, nil
}

func decline(hours, ppm []float64) (DeclineFit, error) {
	r, err := newRecord(hours, ppm)
	if err != nil {
		return DeclineFit{}, err
	}
	if err := r.enough(5, 4, 0); err != nil {
		return DeclineFit{}, err
	}
	first, second := r.fromFirst()
	best, err := bestOf(declineStarts(r), len(ppm), declineResiduals(r))
	if err = declineFound(best, second, r.span, len(ppm), err); err != nil {
		return DeclineFit{}, err
	}
	return declineResult(best, first, r.top, len(ppm)), nil
}

// fromFirst makes the record begin at its first reading, so that no phase is carried
// back over a time without readings while it is fitted. It returns when that was,
// and how long after it the next time came, in days.
func (r *record) fromFirst() (first, second float64) {
	first, second = math.Inf(1), math.Inf(1)
	for _, d := range r.days {
		first = min(first, d)
	}
	for i := range r.days {
		r.days[i] -= first
		if r.days[i] > 0 {
			second = min(second, r.days[i])
		}
	}
	r.span -= first
	return first, second
}

// declineStarts returns starting points (ln A₁, ln k₁, ln A₂, ln k₂) from a grid
// over both rates; the amplitudes are then linear, and must both be above 0.
func declineStarts(r record) []start {
	var all []start
	for i := -4; i <= 16; i++ {
		fast := math.Pow(2, float64(i)/2) / r.span
		for j := -12; j < i; j++ {
			slow := math.Pow(2, float64(j)/2) / r.span
			a, b, rss := declineAmplitudes(r, fast, slow)
			if a > 0 && b > 0 {
				all = append(all, start{[]float64{math.Log(a), math.Log(fast), math.Log(b), math.Log(slow)}, rss})
			}
		}
	}
	return bestStarts(all, [2]int{1, 3})
}

// declineAmplitudes returns the least-squares amplitudes for given rates and their
// sum of squares.
func declineAmplitudes(r record, fast, slow float64) (a, b, rss float64) {
	var ff, fs, ss, fc, sc float64
	for i, t := range r.days {
		f, s, c := math.Exp(-fast*t), math.Exp(-slow*t), r.share[i]
		ff, fs, ss, fc, sc = ff+f*f, fs+f*s, ss+s*s, fc+f*c, sc+s*c
	}
	det := ff*ss - fs*fs
	if !(det > 1e-12*ff*ss) {
		return 0, 0, 0
	}
	a, b = (fc*ss-sc*fs)/det, (sc*ff-fc*fs)/det
	for i, t := range r.days {
		e := a*math.Exp(-fast*t) + b*math.Exp(-slow*t) - r.share[i]
		rss += e * e
	}
	return a, b, rss
}

// declineResiduals is the curve against the readings in the logs of its parameters.
func declineResiduals(r record) residuals {
	return func(x, res, jac []float64) {
		n := len(res)
		for i, t := range r.days {
			res[i] = -r.share[i]
			for j := 0; j < 4; j += 2 {
				rate := math.Exp(x[j+1])
				phase := math.Exp(x[j] - rate*t)
				res[i] += phase
				if jac != nil {
					jac[j*n+i], jac[(j+1)*n+i] = phase, -rate*t*phase
				}
			}
		}
	}
}

// declineFound says why a fit is refused that ran off along a phase that the
// readings do not tell; second and span are the times of the second and last
// reading after the first in days, err is what the engine said.
func declineFound(s solution, second, span float64, n int, err error) error {
	if s.x == nil || !allFinite(s.x) {
		return ErrOnePhase
	}
	fast, slow := math.Exp(max(s.x[1], s.x[3])), math.Exp(min(s.x[1], s.x[3]))
	switch {
	case slow*span < 1e-4 || err != nil && slow*span < 1e-2:
		return ErrNoLoss
	case fast*second > 25 || err != nil && fast*second > 8: // e^(−8) of the phase is left
		return ErrNoFast
	case err != nil:
		return ErrOnePhase
	}
	for i := range 4 {
		if !(s.rss/float64(n-4)*s.cov.At(i, i) < unknownSD*unknownSD) {
			return ErrOnePhase
		}
	}
	return nil
}

// declineResult turns the solution for readings divided by top, from their first on,
// into natural units from t = 0: ln A = ln A′ + k·first.
func declineResult(s solution, first, top float64, n int) DeclineFit {
	s2 := s.rss / float64(n-4)
	order := [4]int{0, 1, 2, 3}
	if s.x[1] < s.x[3] {
		order = [4]int{2, 3, 0, 1}
	}
	var x [4]float64
	for i, from := range order {
		x[i] = s.x[from]
	}
	back := [4]float64{math.Exp(x[1]) * first, 0, math.Exp(x[3]) * first, 0} // d ln A/d ln k
	f := DeclineFit{N: n, ResidualSD: top * math.Sqrt(s2)}
	cov := func(i, j int) float64 { return s2 * s.cov.At(order[i], order[j]) }
	next := func(i int) int { return min(i+1, 3) } // where ln k of ln A stands
	for i := range 4 {
		for j := range 4 {
			f.LogCov[i][j] = cov(i, j) + back[i]*cov(next(i), j) + back[j]*cov(i, next(j)) + back[i]*back[j]*cov(next(i), next(j))
		}
	}
	f.TwoPhase = TwoPhase{top * math.Exp(x[0]+back[0]), math.Exp(x[1]), top * math.Exp(x[2]+back[2]), math.Exp(x[3])}
	f.FastPPMSE, f.FastRateSE = f.FastPPM*math.Sqrt(f.LogCov[0][0]), f.FastRate*math.Sqrt(f.LogCov[1][1])
	f.SlowPPMSE, f.SlowRateSE = f.SlowPPM*math.Sqrt(f.LogCov[2][2]), f.SlowRate*math.Sqrt(f.LogCov[3][3])
	return f
}

// Forecast returns the curve at hours with a 90 % interval for the true
// concentration; see [FlatFit.Forecast] for what it leaves out.
func (f DeclineFit) Forecast(hours, endLevel float64) Forecast {
	t, c := hours/24, f.At(hours/24)
	a, b := f.FastPPM*math.Exp(-f.FastRate*t)/c, f.SlowPPM*math.Exp(-f.SlowRate*t)/c
	slope := [4]float64{a, -f.FastRate * t * a, b, -f.SlowRate * t * b}
	v := 0.0
	for i := range 4 {
		for j := range 4 {
			v += slope[i] * f.LogCov[i][j] * slope[j]
		}
	}
	return plainForecast(c, v, float64(f.N-4), endLevel)
}
