package decay

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// Errors of the plain fits that depend on the readings as a whole.
var (
	ErrTooFew   = errors.New("too few readings")
	ErrConstant = errors.New("all readings are equal, so nothing shows in them")
	ErrAllZero  = errors.New("no reading is above zero")
	ErrNoLoss   = errors.New("the readings end before the gas falls, so they do not tell the loss: take later readings, or use the fit with priors")
)

// record is what a plain fit is made to: days, and ppm over the highest of them,
// so that the fit does not depend on units.
type record struct {
	days, share []float64
	top         float64 // ppm
	span        float64 // days of the last reading
}

// newRecord refuses what cannot be fitted.
func newRecord(hours, ppm []float64) (record, error) {
	if len(hours) != len(ppm) {
		return record{}, fmt.Errorf("%d times for %d readings", len(hours), len(ppm))
	}
	r := record{days: make([]float64, len(hours)), share: make([]float64, len(ppm))}
	for i, h := range hours {
		switch {
		case !finite(h) || !finite(ppm[i]):
			return record{}, fmt.Errorf("reading %d: time %v h or value %v ppm is no number", i+1, h, ppm[i])
		case h < 0:
			return record{}, fmt.Errorf("reading %d: time %v h lies before the dosing", i+1, h)
		}
		r.days[i] = h / 24
		r.span, r.top = max(r.span, r.days[i]), max(r.top, math.Abs(ppm[i]))
	}
	for i, v := range ppm {
		r.share[i] = v / r.top
	}
	return r, nil
}

// enough refuses a record that says too little for any fit: it must hold so many
// readings at so many different times from a day on.
func (r record) enough(readings, times int, from float64) error {
	different := map[float64]bool{}
	for _, d := range r.days {
		if d >= from {
			different[d] = true
		}
	}
	if len(r.days) < readings || len(different) < times {
		return fmt.Errorf("%w: at least %d readings at %d different times are needed", ErrTooFew, readings, times)
	}
	if !(slices.Max(r.share) > 0) {
		return ErrAllZero
	}
	if slices.Max(r.share) == slices.Min(r.share) {
		return ErrConstant
	}
	return nil
}

// start is a point that a plain fit may begin from, in the logs of its parameters.
type start struct {
	x   []float64
	rss float64
}

// bestStarts picks up to 4 starts, lowest sum of squares first, that lie apart from
// each other in one of the two rates (at those places of x).
func bestStarts(all []start, rates [2]int) []start {
	slices.SortStableFunc(all, func(a, b start) int { return cmp.Compare(a.rss, b.rss) })
	var out []start
	for _, c := range all {
		apart := true
		for _, s := range out {
			apart = apart && (math.Abs(s.x[rates[0]]-c.x[rates[0]]) > 0.8 || math.Abs(s.x[rates[1]]-c.x[rates[1]]) > 0.8)
		}
		if apart && len(out) < 4 {
			out = append(out, c)
		}
	}
	return out
}

// bestOf runs the engine from every start and keeps the lowest sum of squares.
func bestOf(starts []start, n int, f residuals) (solution, error) {
	var best solution
	var err error = errSingular
	for _, st := range starts {
		s, e := leastSquares(st.x, n, 200, 1e-11, 0, f)
		if best.x == nil || s.rss < best.rss*(1-1e-9) || (err != nil && e == nil && s.rss <= best.rss*(1+1e-9)) {
			best, err = s, e
		}
	}
	return best, err
}

// plainForecast is the 90 % interval around c ppm when ln c has the variance v, by
// Student's t with nu degrees of freedom, and the chance of an end level.
func plainForecast(c, v, nu, endLevel float64) Forecast {
	if !(c > 0) || !finite(c) {
		return Forecast{ChanceMet: float64(btoi(!(endLevel > 0)))}
	}
	sd, student := math.Sqrt(max(v, 0)), distuv.StudentsT{Mu: 0, Sigma: 1, Nu: nu}
	q := min(student.Quantile(0.95)*sd, 300)
	out := Forecast{P05: c * math.Exp(-q), P50: c, P95: c * math.Exp(q)}
	switch {
	case !(endLevel > 0):
		out.ChanceMet = 1
	case sd == 0:
		out.ChanceMet = float64(btoi(c >= endLevel))
	default:
		out.ChanceMet = student.CDF(math.Log(c/endLevel) / sd)
	}
	return out
}

func btoi(b bool) int {
	if b {
		return 1
	}
	return 0
}
