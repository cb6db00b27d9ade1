package main

import (
	"math"

	"undersheet/cmd/bench/scenario"
)

// A plain CUSUM on line ratios: what a careful person would set up without a model.
// Ten-minute means of ln of a line less that of all lines; their mean follows
// slowly, their scatter is learned; a tabular CUSUM (Montgomery & Runger, 16-10)
// looks for a fall. Memory and allowance are those that found most tears at the
// false-alarm rate asked for, of memories of 1–24 h and allowances of 0.5–2: with
// half a standard deviation, as usual, slow mixing alone makes it cry.
const (
	ratioBin     = 1.0 / 6
	ratioMemory  = 8.0  // hours, of the mean
	ratioScatter = 48.0 // hours, of the scatter
	ratioSlack   = 2.0  // standard deviations
	ratioFrom    = 30.0 // hours: the gas has mixed
	leastRatioSD = 0.005
)

// ratios is its path over a record.
func ratios(r, plain *scenario.Record) score {
	s := score{days: (scenario.Hours - ratioFrom) / 24}
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
	z := max(-4, min(e/math.Sqrt(max(t.square, leastRatioSD*leastRatioSD)), 4))
	t.mean += e / min(t.n, ratioMemory/ratioBin)
	t.square += (min(e*e, 9*t.square) - t.square) / min(t.n, ratioScatter/ratioBin)
	if t.n < (ratioFrom-quietHours)/ratioBin {
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
		if top := r.Setup.Lines[x.Line].Range; int(x.Hours/ratioBin) == slot && x.PPM > 0 && (top == 0 || x.PPM < top) {
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
