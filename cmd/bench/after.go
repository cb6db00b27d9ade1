package main

import (
	"fmt"
	"slices"

	"undersheet/cmd/bench/scenario"
	"undersheet/rules/decay"
	"undersheet/rules/leak"
)

// How well the end is forecast in the hours after something that changes its course:
// phosphine that is added, or a leak, which the fit is told of or not.

const (
	afterHour  = 60              // the first refit after the onset
	afterOnset = afterHour - 0.1 // hours
	toldHour   = afterHour + 3   // the first refit that knows of a leak that is told
)

// Hours at which the end is forecast after an upset, and after a mending.
var (
	afterHours  = []int{0, 1, 3, 6, 12, 24}
	mendedHours = []int{1, 3, 6, 12}
)

// overSeen is the hours that the leak test takes to see that a leak is over.
const overSeen = leak.CalmHours + 1

// upset is what happens and whether the fit is told.
type upset struct {
	name   string
	kind   scenario.Kind
	factor float64
	told   bool
	tested bool // the leak test tells it; scored where it has
	since  int  // first hour that is scored
	mended int  // hours until it is mended; 0 = it is not
	topped bool // and phosphine is added then
}

// hours are those at which the end is forecast.
func (u *upset) hours() []int {
	from, after := afterHour, afterHours
	if u.mended > 0 {
		from, after = afterHour+u.mended, mendedHours
	}
	var out []int
	for _, h := range after {
		if from+h >= u.since {
			out = append(out, from+h)
		}
	}
	return out
}

// upsets are what is measured, beside no trouble at all.
var upsets = []upset{
	{name: "nothing happens", since: afterHour},
	{name: "phosphine added, told", kind: scenario.DoseAdded, told: true, since: afterHour},
	{name: "tear ×2, told after 3 h", kind: scenario.TearElsewhere, factor: 2, told: true, since: toldHour},
	{name: "tear ×2, not told", kind: scenario.TearElsewhere, factor: 2, told: false, since: toldHour},
	{name: "tear ×3, told after 3 h", kind: scenario.TearElsewhere, factor: 3, told: true, since: toldHour},
	{name: "tear ×2, told by the leak test", kind: scenario.TearElsewhere, factor: 2, tested: true, since: toldHour},
	{name: "tear ×3, told by the leak test", kind: scenario.TearElsewhere, factor: 3, tested: true, since: toldHour},
	{name: "tear ×8, told by the leak test", kind: scenario.TearElsewhere, factor: 8, tested: true, since: toldHour},
	{name: "tear ×3, not told", kind: scenario.TearElsewhere, factor: 3, told: false, since: toldHour},
	{name: "tear ×2, told, mended after 6 h", kind: scenario.TearElsewhere, factor: 2, told: true, mended: 6, topped: false},
	{name: "tear ×2, told, mended after 6 h with phosphine added", kind: scenario.TearElsewhere, factor: 2, told: true, mended: 6, topped: true},
	{name: "tear ×2, told, mended after 12 h", kind: scenario.TearElsewhere, factor: 2, told: true, mended: 12, topped: false},
	{name: "tear ×2, told, mended after 12 h with phosphine added", kind: scenario.TearElsewhere, factor: 2, told: true, mended: 12, topped: true},
	{name: "tear ×3, told, mended after 6 h", kind: scenario.TearElsewhere, factor: 3, told: true, mended: 6, topped: false},
	{name: "tear ×3, told, mended after 6 h with phosphine added", kind: scenario.TearElsewhere, factor: 3, told: true, mended: 6, topped: true},
	{name: "tear ×3, told, mended after 12 h", kind: scenario.TearElsewhere, factor: 3, told: true, mended: 12, topped: false},
	{name: "tear ×3, told, mended after 12 h with phosphine added", kind: scenario.TearElsewhere, factor: 3, told: true, mended: 12, topped: true},
	{name: "tear ×8, told, mended after 6 h", kind: scenario.TearElsewhere, factor: 8, told: true, mended: 6, topped: false},
	{name: "tear ×8, told, mended after 6 h with phosphine added", kind: scenario.TearElsewhere, factor: 8, told: true, mended: 6, topped: true},
	{name: "tear ×8, told, mended after 12 h", kind: scenario.TearElsewhere, factor: 8, told: true, mended: 12, topped: false},
	{name: "tear ×8, told, mended after 12 h with phosphine added", kind: scenario.TearElsewhere, factor: 8, told: true, mended: 12, topped: true},
}

// sequel is how the forecasts of one stack came out after an upset, by hour.
type sequel map[int]spread

// spread is how the forecasts of one stack at one hour lay to the truth.
type spread struct {
	answer
	width []float64 // ln of P95 over P05, by line
}

// afterStack tries upsets on one stack. Its leak test tells the fit nothing, unless it is
// that which is tried.
func (b *bench) afterStack(seed uint64, upsets []upset) ([]sequel, error) {
	var at []int
	for _, u := range upsets {
		at = append(at, u.hours()...)
	}
	trunk := watch(draw(b.family, seed), at...)
	trunk.deaf = true
	trunk.until(afterOnset - 1)
	var out []sequel
	for _, u := range upsets {
		trouble := scenario.Trouble{Kind: u.kind, Factor: u.factor, Onset: afterOnset, Topped: u.topped}
		if u.mended > 0 {
			trouble.Mended = afterOnset + float64(u.mended)
		}
		w, err := trunk.branch(draw(b.family, seed, trouble))
		if err != nil {
			return nil, err
		}
		w.deaf = !u.tested
		if u.told && u.kind.IsLeak() {
			w.every = func(w *watched, hour int) { u.tell(w.fit, hour) }
		}
		hours := u.hours()
		w.until(float64(hours[len(hours)-1]) + 1)
		if u.tested {
			hours = slices.DeleteFunc(hours, func(h int) bool {
				return !slices.ContainsFunc(w.events, func(e event) bool { return isNewLeak(e) && e.at <= float64(h) })
			})
		}
		out = append(out, b.sequelOf(&w.course, hours))
	}
	return out, nil
}

// tell tells a fit, after its refit of an hour, what is known by then.
func (u *upset) tell(fit *decay.State, hour int) {
	mended := afterHour + u.mended
	switch {
	case hour == toldHour-1:
		fit.LossChanged(afterOnset, decay.Value{})
	case u.topped && hour == mended-1: // by whoever mends it
		fit.LossMended(afterOnset + float64(u.mended))
	case u.mended > 0 && !u.topped && hour == mended+overSeen-1:
		fit.LossMended(afterOnset + float64(u.mended))
	}
}

// sequelOf holds the forecasts against the truth.
func (b *bench) sequelOf(w *course, hours []int) sequel {
	out := sequel{}
	for _, h := range hours {
		if len(w.outlooks[h].lines) == 0 {
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
		for _, h := range u.hours() {
			var at []spread
			for _, r := range runs {
				if s, ok := r[k][h]; ok {
					at = append(at, s)
				}
			}
			for _, f := range afterFigures(at) {
				f.table = fmt.Sprintf("Forecast of the end after %d h, %s, %s, %d stacks", afterHour, u.name, b.family, b.stacks)
				f.column = fmt.Sprintf("+%d h", h-afterHour-u.mended)
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
