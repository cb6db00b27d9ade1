package main

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"undersheet/cmd/bench/scenario"
)

// line is a straight line through ln(ppm), as people draw it on log paper.
type line struct {
	n                    float64
	at, level, slope     float64 // mean hour, mean ln, per hour
	sxx, residualSquares float64
}

// fitLine is ordinary least squares of y on x; false with fewer than 3 points or
// all at one x.
func fitLine(x, y []float64) (l line, ok bool) {
	l.n = float64(len(x))
	for i := range x {
		l.at += x[i] / l.n
		l.level += y[i] / l.n
	}
	sxy := 0.0
	for i := range x {
		l.sxx += (x[i] - l.at) * (x[i] - l.at)
		sxy += (x[i] - l.at) * (y[i] - l.level)
	}
	if len(x) < 3 || !(l.sxx > 0) {
		return l, false
	}
	l.slope = sxy / l.sxx
	for i := range x {
		e := y[i] - l.level - l.slope*(x[i]-l.at)
		l.residualSquares += e * e
	}
	return l, true
}

// value is ln at x with the half width of the 90 % interval of the mean there, by
// Student's t (Montgomery & Runger, Applied Statistics and Probability for
// Engineers, 11-5).
func (l line) value(x float64) (mean, half float64) {
	mean = l.level + l.slope*(x-l.at)
	s2 := l.residualSquares / (l.n - 2)
	t := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: l.n - 2}.Quantile(0.95)
	return mean, t * math.Sqrt(s2*(1/l.n+(x-l.at)*(x-l.at)/l.sxx))
}

// paper is what a straight line says of the end.
type paper struct{ mean, half float64 }

// onPaper is the forecast of each line of the stack that log paper gives at hours:
// a straight line through ln of the readings after the peak. The peak is that of
// hourly medians, so that a spike is none; readings at the top of the range are
// left out. With less than six hours after it the last hour's level stays: nobody draws
// a line through less.
func onPaper(r *scenario.Record, hours float64) []paper {
	out := make([]paper, r.Lines())
	for l := range out {
		var hs, ys []float64
		for _, x := range r.Readings {
			if x.Line == l && x.Hours <= hours && x.PPM > 0 {
				hs, ys = append(hs, x.Hours), append(ys, math.Log(x.PPM))
			}
		}
		if len(hs) == 0 {
			out[l] = paper{math.Log(endPPM), math.Inf(1)}
			continue
		}
		from, last := peak(hs, ys)
		hs, ys = drawable(hs, ys, from, r.Setup.Lines[l].Range)
		out[l] = paper{last, 0}
		if f, ok := fitLine(hs, ys); ok && hs[len(hs)-1]-hs[0] >= 6 {
			out[l].mean, out[l].half = f.value(scenario.Hours)
		}
	}
	return out
}

// drawable leaves the points from an hour on that are below the range.
func drawable(hs, ys []float64, from, top float64) (x, y []float64) {
	for i := range hs {
		if hs[i] >= from && (top == 0 || ys[i] < math.Log(top)-1e-9) {
			x, y = append(x, hs[i]), append(y, ys[i])
		}
	}
	return x, y
}

// peak is the middle of the last of the highest hourly medians, and the last of all.
func peak(hs, ys []float64) (from, last float64) {
	best := math.Inf(-1)
	for i := 0; i < len(hs); {
		j := i
		for j < len(hs) && math.Floor(hs[j]) == math.Floor(hs[i]) {
			j++
		}
		if last = median(ys[i:j]); last >= best {
			best, from = last, math.Floor(hs[i])+0.5
		}
		i = j
	}
	return from, last
}

// lowestOf is the forecast of the line that paper holds for the lowest.
func lowestOf(ps []paper) paper {
	low := ps[0]
	for _, p := range ps {
		if p.mean < low.mean {
			low = p
		}
	}
	return low
}
