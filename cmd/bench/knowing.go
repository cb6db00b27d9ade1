package main

import (
	"math"

	"undersheet/cmd/bench/scenario"
)

// falseRate is the false alarms a stack-day that every test is held to.
const falseRate = 1.0 / 500

// score is the path of a test statistic over one record: its highest value on the
// twin without a leak, and the times at which it rose above all before on the
// record with it.
type score struct {
	quiet float64 // highest without a leak
	days  float64 // over so long
	rises []rise  // after the onset
}

// rise is a new highest value of a statistic.
type rise struct{ delay, value float64 }

// crossed is the delay at which the statistic passed a threshold; +Inf = never.
func (s score) crossed(limit float64) float64 {
	for _, r := range s.rises {
		if r.value > limit {
			return r.delay
		}
	}
	return math.Inf(1)
}

// delaysOf are those of a test by its scores, its threshold set so that it gives falseRate on the
// twins without a leak.
func delaysOf(ss []score) []float64 {
	var quiet, out []float64
	days := 0.0
	for _, s := range ss {
		quiet = append(quiet, s.quiet)
		days += s.days
	}
	limit := thresholdFor(quiet, days/float64(len(ss)))
	for _, s := range ss {
		out = append(out, s.crossed(limit))
	}
	return out
}

// scoresOf are the scores of one test over all stacks.
func scoresOf[T any](fs []T, of func(T) score) []score {
	var out []score
	for _, f := range fs {
		out = append(out, of(f))
	}
	return out
}

// thresholdFor is the level that the highest value of a stack passes with the
// chance falseRate × days, from the highest values of quiet stacks. Beyond the 90 %
// quantile the tail of a maximum is taken as exponential.
func thresholdFor(quiet []float64, days float64) float64 {
	if len(quiet) == 0 || days == 0 {
		return math.Inf(1)
	}
	want := falseRate * days
	q50, q90 := quantile(quiet, 0.5), quantile(quiet, 0.9)
	return q90 + (q90-q50)/math.Log(5)*math.Log(0.1/want)
}

// knowing is the likelihood-ratio test of a leak that knows the curve without the
// leak, the gusts that blew, the leak's own trace and the noise of the instruments,
// and does not know the onset: for each onset on a grid of 10 minutes the sum of
// s·x − s²/2 over the readings since, in units of the noise, where x is ln of the
// reading over the known curve and s the trace of a leak that began then (taken as
// the true one's, moved). The statistic is the largest of them (Page 1954,
// Biometrika 41:100, for a signal of known shape).
func knowing(r, plain *scenario.Record) score {
	limit := math.Min(r.Truth.Onset+24, scenario.Hours)
	from := r.Truth.Onset - 12
	s := score{days: (limit - from) / 24}
	top := math.Inf(-1)
	path(r, plain, r.Readings, from, limit, func(hours, value float64) {
		if hours >= r.Truth.Onset && value > top {
			top = value
			s.rises = append(s.rises, rise{hours - r.Truth.Onset, value})
		}
	})
	path(r, plain, plain.Readings, from, limit, func(_, value float64) { s.quiet = math.Max(s.quiet, value) })
	return s
}

// path carries the statistic over readings between two hours.
func path(r, plain *scenario.Record, readings []scenario.Reading, from, until float64, at func(hours, value float64)) {
	trace := traceOf(r, plain)
	var ratio []float64 // by onset on the grid, from `from` on
	const grid = 1.0 / 6
	for _, x := range readings {
		top := r.Setup.Lines[x.Line].Range
		if x.Hours < from || x.Hours > until || x.Spike || !(x.PPM > 1) || top > 0 && x.PPM >= top {
			continue
		}
		for from+float64(len(ratio))*grid <= x.Hours {
			ratio = append(ratio, 0)
		}
		digit := r.Setup.Lines[x.Line].Resolution
		sd := math.Hypot(r.Truth.Scatter[x.Line], math.Hypot(min(digit, 1), digit/math.Sqrt(12))/x.PPM)
		known := plain.Truth.LnC(x.Line, x.Hours) + plain.Truth.Misread(x.Line, x.Hours)
		res := (math.Log(x.PPM) - known) / sd
		res = max(-5, min(res, 5))
		best := 0.0
		for k := range ratio {
			if age := x.Hours - from - float64(k)*grid; age > 0 {
				sig := trace(x.Line, age) / sd
				ratio[k] += sig*res - sig*sig/2
				best = max(best, ratio[k])
			}
		}
		at(x.Hours, best)
	}
}

// traceOf is what the leak does to ln of a line so many hours after its onset.
func traceOf(r, plain *scenario.Record) func(line int, age float64) float64 {
	const step = 1.0 / 12
	table := make([][]float64, r.Lines())
	for l := range table {
		for k := 0; ; k++ {
			h := r.Truth.Onset + float64(k)*step
			if h > scenario.Hours {
				break
			}
			table[l] = append(table[l], r.Truth.LnC(l, h)-plain.Truth.LnC(l, h))
		}
	}
	return func(line int, age float64) float64 {
		track := table[line]
		x := min(age/step, float64(len(track)-1))
		i := min(int(x), len(track)-2)
		return track[i] + (x-float64(i))*(track[i+1]-track[i])
	}
}
