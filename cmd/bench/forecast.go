package main

import (
	"fmt"
	"math"

	"undersheet/cmd/bench/scenario"
)

// horizons are the hours at which the end is forecast.
var horizons = []int{24, 36, 48, 72, 96}

// Targets of the root mean square error of ln C on hard records, by horizon, and
// of the error over the bound on clean ones.
var (
	hardError = map[int]float64{24: 0.40, 36: 0.28, 48: 0.20, 72: 0.13, 96: 0.09}
	overBound = 1.25
)

// floorPPM is where truth and forecast are cut before an error of ln C is taken.
const floorPPM = 20.0

func lnFloored(ppm float64) float64 { return math.Log(max(ppm, floorPPM)) }

// answer is how the forecasts of one stack at one hour came out.
type answer struct {
	given         bool // there was a forecast
	miss          float64
	held          bool
	chance        float64
	met           bool
	lineMiss      []float64
	lineHeld      []bool
	paper         float64
	paperHeld     bool
	bound, blind  float64 // clean family: with the return rate known, and not
	gusts, misled float64 // hard family: what coming gusts alone give; and with the instrument's gain
}

// forecasts is one stack's answers by horizon, and its false leaks.
type forecasts struct {
	answers  []answer
	leaks    int
	liveDays float64
}

// forecastStack runs one plain stack.
func (b *bench) forecastStack(seed uint64) (forecasts, error) {
	w, err := b.whole(draw(b.family, seed))
	if err != nil {
		return forecasts{}, err
	}
	out := forecasts{liveDays: (scenario.Hours - quietHours) / 24}
	for _, e := range w.events {
		if isNewLeak(e) {
			out.leaks++
		}
	}
	for _, h := range horizons {
		out.answers = append(out.answers, judge(b.family, w, h))
	}
	return out, nil
}

// draw draws a record of a family.
func draw(family string, seed uint64, trouble ...scenario.Trouble) *scenario.Record {
	if family == "clean" {
		return scenario.Clean(seed, trouble...)
	}
	if family == "uneven" {
		return scenario.Uneven(seed, trouble...)
	}
	r := scenario.Hard(seed, trouble...)
	if family == "undosed" {
		r.Setup.DoseG, r.Setup.GasSpaceM3 = 0, 0
	}
	return r
}

// judge holds the forecasts made at an hour against the truth.
func judge(family string, w *course, hour int) answer {
	r, t := w.rec, &w.rec.Truth
	o, ok := w.outlooks[hour]
	if !ok {
		return answer{}
	}
	low := t.Lowest(scenario.Hours)
	a := answer{given: true, miss: lnFloored(o.lowest.P50) - lnFloored(low), held: low >= o.lowest.P05 && low <= o.lowest.P95,
		chance: o.lowest.ChanceMet, met: low >= endPPM}
	for l, f := range o.lines {
		c := t.PPM(l, scenario.Hours)
		a.lineMiss = append(a.lineMiss, lnFloored(f.P50)-lnFloored(c))
		a.lineHeld = append(a.lineHeld, c >= f.P05 && c <= f.P95)
	}
	p := lowestOf(onPaper(r, float64(hour)))
	a.paper = max(p.mean, math.Log(floorPPM)) - lnFloored(low)
	a.paperHeld = math.Abs(p.mean-math.Log(low)) <= p.half
	if family == "clean" {
		a.bound, a.blind = localBound(t, float64(hour), freeKnown), localBound(t, float64(hour), freeUnknown)
		return a
	}
	f, l := r.Foreseen(float64(hour)), t.LowestLine(scenario.Hours)
	a.gusts = lnFloored(f.Lowest(scenario.Hours)) - lnFloored(low)
	a.misled = a.gusts + t.Misread(l, float64(hour))
	return a
}

// forecastPart measures the forecasts of plain stacks of a family, and returns the
// runs for their false leaks.
func (b *bench) forecastPart() ([]figure, []forecasts, error) {
	runs, err := collect(b.stacks, func(i int) (forecasts, error) { return b.forecastStack(b.seed + uint64(i)) })
	if err != nil {
		return nil, nil, err
	}
	table := fmt.Sprintf("Forecast of the end at 120 h, %s, %d stacks", b.family, b.stacks)
	var out []figure
	for at, h := range horizons {
		var as []answer
		for _, r := range runs {
			if r.answers[at].given {
				as = append(as, r.answers[at])
			}
		}
		column := fmt.Sprintf("%d h", h)
		for _, f := range figuresOf(b.family, h, as) {
			f.table, f.column = table, column
			out = append(out, f)
		}
		out = append(out, figure{table: table, row: "stacks without a forecast", column: column, value: float64(b.stacks - len(as))})
	}
	return out, runs, nil
}

// figuresOf sums answers of one horizon up.
func figuresOf(family string, hour int, as []answer) []figure {
	pick := func(of func(answer) float64) []float64 {
		var xs []float64
		for _, a := range as {
			xs = append(xs, of(a))
		}
		return xs
	}
	var held, paperHeld, lineHeld []bool
	var lineMiss []float64
	for _, a := range as {
		held, paperHeld = append(held, a.held), append(paperHeld, a.paperHeld)
		lineHeld, lineMiss = append(lineHeld, a.lineHeld...), append(lineMiss, a.lineMiss...)
	}
	met := mean(pick(func(a answer) float64 { return bit(a.met) }))
	misses := pick(func(a answer) float64 { return a.miss })
	lowest := figure{row: "rms error of ln C, lowest line", value: rms(misses)}
	lines := figure{row: "rms error of ln C, each line", value: rms(lineMiss)}
	cover := figure{row: "90 % interval holds, lowest line", value: share(held)}
	lineCover := figure{row: "90 % interval holds, each line", value: share(lineHeld)}
	if family == "hard" {
		lowest.target, lines.target = atMost(hardError[hour]), atMost(hardError[hour])
		cover.target, lineCover.target = within(0.87, 0.93), within(0.87, 0.93)
	}
	out := []figure{lowest, lines, {row: "median error, lowest line", value: median(misses)},
		{row: "median error, each line", value: median(lineMiss)}, cover, lineCover,
		{row: "Brier score of chance_met", value: mean(pick(func(a answer) float64 { return (a.chance - bit(a.met)) * (a.chance - bit(a.met)) }))},
		{row: "  always the share that met", value: met * (1 - met)},
		{row: "log paper: rms error", value: rms(pick(func(a answer) float64 { return a.paper }))},
		{row: "log paper: interval holds", value: share(paperHeld)}}
	if family == "clean" {
		known, blind := rms(pick(func(a answer) float64 { return a.bound })), rms(pick(func(a answer) float64 { return a.blind }))
		return append(out,
			figure{row: "bound, return rate known", value: known},
			figure{row: "bound, return rate not known", value: blind},
			figure{row: "bound over the prior (van Trees)", value: bound(float64(hour), 300)},
			figure{row: "error / bound known, lowest line", value: lowest.value / known, target: atMost(overBound)},
			figure{row: "error / bound known, each line", value: lines.value / known, target: atMost(overBound)},
			figure{row: "error / bound not known, each line", value: lines.value / blind},
			figure{row: "  each stack over its own, known", value: rms(pick(func(a answer) float64 { return rms(a.lineMiss) / a.bound }))})
	}
	return append(out,
		figure{row: "irreducible: coming gusts", value: rms(pick(func(a answer) float64 { return a.gusts }))},
		figure{row: "  and the line's gain", value: rms(pick(func(a answer) float64 { return a.misled }))})
}

func bit(b bool) float64 {
	if b {
		return 1
	}
	return 0
}
