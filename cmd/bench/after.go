package main

import (
	"fmt"
	"slices"

	"undersheet/cmd/bench/scenario"
	"undersheet/rules/decay"
)

// How well the end is forecast in the hours after something that changes its course:
// phosphine that is added, or a leak, which the fit is told of or not.

const (
	afterHour  = 60              // the first refit after the onset
	afterOnset = afterHour - 0.1 // hours
	toldHour   = afterHour + 3   // the first refit that knows of a leak that is told
)

// afterHours are the hours at which the end is forecast.
var afterHours = []int{afterHour, afterHour + 1, toldHour, afterHour + 6, afterHour + 12, afterHour + 24}

// upset is what happens and whether the fit is told.
type upset struct {
	name   string
	kind   scenario.Kind
	factor float64
	told   bool
	since  int // first hour that is scored
}

// upsets are what is measured, beside no trouble at all.
var upsets = []upset{
	{"nothing happens", scenario.None, 0, false, afterHour},
	{"phosphine added, told", scenario.DoseAdded, 0, true, afterHour},
	{"tear ×2, told after 3 h", scenario.TearElsewhere, 2, true, toldHour},
	{"tear ×2, not told", scenario.TearElsewhere, 2, false, toldHour},
	{"tear ×3, told after 3 h", scenario.TearElsewhere, 3, true, toldHour},
	{"tear ×3, not told", scenario.TearElsewhere, 3, false, toldHour},
}

// sequel is how the forecasts of one stack came out after an upset, by hour.
type sequel map[int]spread

// spread is how the forecasts of one stack at one hour lay to the truth.
type spread struct {
	answer
	width []float64 // ln of P95 over P05, by line
}

// afterStack tries upsets on one stack. Its leak test tells the fit nothing.
func (b *bench) afterStack(seed uint64, upsets []upset) ([]sequel, error) {
	trunk := watch(draw(b.family, seed), afterHours...)
	trunk.deaf = true
	trunk.until(afterOnset - 1)
	var out []sequel
	for _, u := range upsets {
		w, err := trunk.branch(draw(b.family, seed, scenario.Trouble{Kind: u.kind, Factor: u.factor, Onset: afterOnset}))
		if err != nil {
			return nil, err
		}
		if u.told && u.kind.IsLeak() {
			w.every = func(w *watched, hour int) {
				if hour == toldHour-1 { // after its refit
					w.fit.LossChanged(afterOnset)
				}
			}
		}
		w.until(float64(afterHours[len(afterHours)-1]) + 1)
		out = append(out, b.sequelOf(&w.course, u.since))
	}
	return out, nil
}

// sequelOf holds the forecasts from an hour on against the truth.
func (b *bench) sequelOf(w *course, since int) sequel {
	out := sequel{}
	for _, h := range afterHours {
		if h < since || len(w.outlooks[h].lines) == 0 {
			continue
		}
		s := spread{answer: judge(b.family, w, h)}
		for _, f := range w.outlooks[h].lines {
			s.width = append(s.width, widthOf(f))
		}
		out[h] = s
	}
	return out
}

// widthOf is ln of the upper over the lower bound of a forecast, both cut at the floor.
func widthOf(f decay.Forecast) float64 { return lnFloored(f.P95) - lnFloored(f.P05) }

// afterPart measures the forecasts after every upset.
func (b *bench) afterPart() ([]figure, error) {
	runs, err := collect(b.stacks, func(i int) ([]sequel, error) { return b.afterStack(b.seed+uint64(i), upsets) })
	if err != nil {
		return nil, err
	}
	var out []figure
	for k, u := range upsets {
		for _, h := range afterHours {
			if h < u.since {
				continue
			}
			var at []spread
			for _, r := range runs {
				if s, ok := r[k][h]; ok {
					at = append(at, s)
				}
			}
			for _, f := range afterFigures(at) {
				f.table = fmt.Sprintf("Forecast of the end after %d h, %s, %s, %d stacks", afterHour, u.name, b.family, b.stacks)
				f.column = fmt.Sprintf("+%d h", h-afterHour)
				out = append(out, f)
			}
		}
	}
	return out, nil
}

// afterFigures sums one hour up.
func afterFigures(at []spread) []figure {
	var miss, lineMiss, width []float64
	var held, lineHeld []bool
	for _, s := range at {
		miss, held = append(miss, s.miss), append(held, s.held)
		lineMiss, lineHeld, width = slices.Concat(lineMiss, s.lineMiss), slices.Concat(lineHeld, s.lineHeld), slices.Concat(width, s.width)
	}
	return []figure{{row: "90 % interval holds, lowest line", value: share(held)}, {row: "90 % interval holds, each line", value: share(lineHeld)},
		{row: "rms error of ln C, lowest line", value: rms(miss)}, {row: "rms error of ln C, each line", value: rms(lineMiss)},
		{row: "median error, each line", value: median(lineMiss)},
		{row: "width of ln C, median line", value: median(width)}, {row: "  90th percentile", value: quantile(width, 0.9)}}
}
