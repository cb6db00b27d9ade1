package main

import (
	"math"

	"undersheet/cmd/bench/scenario"
)

// A plain CUSUM on line ratios: what a careful person would set up without a model.
// Ten-minute means of ln of a line less that of all lines; their mean follows
// slowly, their scatter is learned; a tabular CUSUM with the usual allowance of half
// a standard deviation looks for a fall (Montgomery & Runger, 16-10).
const (
	ratioBin    = 1.0 / 6
	ratioMemory = 24.0 // hours, of the mean
	ratioSlack  = 0.5
)

// ratios is its path over a record.
func ratios(r, plain *scenario.Record) score {
	s := score{days: (scenario.Hours - 2*quietHours) / 24}
	top := math.Inf(-1)
	if r.Lines() > 1 {
		ratioPath(r, func(hours, value float64) {
			if hours >= r.Truth.Onset && value > top {
				top = value
				s.rises = append(s.rises, rise{hours - r.Truth.Onset, value})
			}
		})
		ratioPath(plain, func(_, value float64) { s.quiet = math.Max(s.quiet, value) })
	}
	return s
}

// tracked is one line's ratio and its CUSUM.
type tracked struct{ n, mean, square, sum float64 }

// add takes the next ratio and returns the CUSUM.
func (t *tracked) add(x float64) float64 {
	if t.n == 0 {
		t.mean, t.square = x, 0.03*0.03
	}
	t.n++
	e := x - t.mean
	z := max(-4, min(e/math.Sqrt(t.square), 4))
	keep := 1 / min(t.n, ratioMemory/ratioBin)
	t.mean += keep * e
	t.square += keep * (min(e*e, 9*t.square) - t.square)
	if t.n < quietHours/ratioBin {
		return 0
	}
	t.sum = max(0, t.sum-z-ratioSlack)
	return t.sum
}

// ratioPath carries the CUSUMs over a record's bins; the statistic is the largest.
func ratioPath(r *scenario.Record, at func(hours, value float64)) {
	n := r.Lines()
	sums, counts, lines := make([]float64, n), make([]float64, n), make([]tracked, n)
	slot := int(quietHours / ratioBin)
	for _, x := range r.Readings {
		if b := int(x.Hours / ratioBin); b > slot {
			if v, ok := ratioStep(sums, counts, lines); ok {
				at(float64(slot+1)*ratioBin, v)
			}
			clear(sums)
			clear(counts)
			slot = b
		}
		if int(x.Hours/ratioBin) == slot && x.PPM > 0 {
			sums[x.Line] += math.Log(x.PPM)
			counts[x.Line]++
		}
	}
}

// ratioStep closes a bin in which every line was read.
func ratioStep(sums, counts []float64, lines []tracked) (value float64, ok bool) {
	all := 0.0
	for l := range sums {
		if counts[l] == 0 {
			return 0, false
		}
		all += sums[l] / counts[l] / float64(len(sums))
	}
	for l := range lines {
		value = max(value, lines[l].add(sums[l]/counts[l]-all))
	}
	return value, true
}
