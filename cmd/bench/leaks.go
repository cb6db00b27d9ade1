package main

import (
	"fmt"
	"math"

	"undersheet/cmd/bench/scenario"
)

// factors of the loss rate that leaks are tried with.
var factors = []float64{1.5, 2, 3}

// Targets of the median delay in hours on hard records, by kind and factor.
var (
	hardDelay = map[scenario.Kind]map[float64]float64{
		scenario.TearByLine:    {1.5: 6, 2: 3, 3: 2},
		scenario.Skirt:         {2: 12, 3: 6},
		scenario.TearElsewhere: {2: 8},
	}
	cleanDelay = map[float64]float64{2: 3}
)

const (
	foundShare = 0.95 // of leaks ×2
	rightShare = 0.90 // of tears beside a line
)

// searched is how long after its onset a leak may be found, hours.
const searched = 36.0

// finding is how the leak of one stack was found, by the daemon's test, by the one
// that knows all but the onset, and by a plain CUSUM on ratios.
type finding struct {
	delay          float64 // hours; +Inf = not within searched
	early          bool    // a false leak stood at the onset
	onsetMiss      float64 // hours
	right          bool
	sizeMiss       float64 // ln of (rise of the loss rate found / true)
	told           float64 // delay of the daemon's test that is told the curve, hours
	knowing, ratio score
}

// caseOf is a leak that is tried on every stack.
type caseOf struct {
	kind   scenario.Kind
	factor float64
}

// cases lists the leaks of a family. Where all is one mixed gas every kind is the
// same, and one is enough.
func cases(family string) []caseOf {
	kinds := scenario.Leaks()
	if family == "clean" {
		kinds = []scenario.Kind{scenario.Skirt}
	}
	var out []caseOf
	for _, kind := range kinds {
		for _, factor := range factors {
			out = append(out, caseOf{kind, factor})
		}
	}
	return out
}

// findLeaks tries every case on one stack.
func (b *bench) findLeaks(seed uint64) ([]finding, error) {
	plain := draw(b.family, seed)
	run := b.runner(plain, searched)
	var out []finding
	for _, c := range cases(b.family) {
		r := draw(b.family, seed, scenario.Trouble{Kind: c.kind, Factor: c.factor})
		w, err := run(r)
		if err != nil {
			return nil, err
		}
		f := foundBy(w, c.factor)
		f.told, f.knowing, f.ratio = told(r, plain), knowing(r, plain), ratios(r, plain)
		out = append(out, f)
	}
	return out, nil
}

// foundBy is how the daemon's test found the leak.
func foundBy(w *course, factor float64) finding {
	f, t := finding{delay: math.Inf(1)}, &w.rec.Truth
	for _, e := range w.events {
		switch {
		case !isNewLeak(e) && e.at < t.Onset && e.Cleared:
			f.early = false
		case !isNewLeak(e):
		case e.at < t.Onset:
			f.early = true
		case math.IsInf(f.delay, 1):
			f.delay, f.onsetMiss, f.right = e.at-t.Onset, e.Onset-t.Onset, e.Line == t.Line
			f.sizeMiss = math.Log((e.LossAfter - e.LossBefore) / ((factor - 1) * t.Loss))
		}
	}
	return f
}

// leakPart measures the finding of leaks of a family.
func (b *bench) leakPart() ([]figure, error) {
	all, err := collect(b.stacks, func(i int) ([]finding, error) { return b.findLeaks(b.seed + uint64(i)) })
	if err != nil {
		return nil, err
	}
	var out []figure
	for k, c := range cases(b.family) {
		var fs []finding
		for _, t := range all {
			fs = append(fs, t[k])
		}
		for _, f := range leakFigures(b.family, c.kind, c.factor, fs) {
			f.table, f.column = fmt.Sprintf("Leak, %s, %s, %d stacks", c.kind, b.family, b.stacks), fmt.Sprintf("×%v", c.factor)
			out = append(out, f)
		}
	}
	return out, nil
}

// leakFigures sums findings up.
func leakFigures(family string, kind scenario.Kind, factor float64, fs []finding) []figure {
	var delays, oracle, onsets, sizes []float64
	var found, early, right []bool
	for _, f := range fs {
		ok := !math.IsInf(f.delay, 1)
		delays, found, early = append(delays, f.delay), append(found, ok), append(early, f.early)
		oracle = append(oracle, f.told)
		if ok {
			onsets, sizes, right = append(onsets, math.Abs(f.onsetMiss)), append(sizes, math.Abs(f.sizeMiss)), append(right, f.right)
		}
	}
	share2 := figure{row: "share found within 36 h", value: share(found)}
	mid := figure{row: "median delay, h", value: median(delays)}
	line := figure{row: "right line, of those found", value: share(right)}
	if factor == 2 && targeted(family) {
		share2.target = atLeast(foundShare)
	}
	limits := cleanDelay
	if family != "clean" {
		limits = hardDelay[kind]
	}
	if limit, ok := limits[factor]; ok && targeted(family) {
		mid.target = atMost(limit)
	}
	if family == "hard" && kind == scenario.TearByLine {
		line.target = atLeast(rightShare)
	}
	known := delaysOf(scoresOf(fs, func(f finding) score { return f.knowing }))
	ratio := delaysOf(scoresOf(fs, func(f finding) score { return f.ratio }))
	return []figure{share2, mid, {row: "90th percentile of delay, h", value: quantile(delays, 0.9)},
		{row: "median error of the onset, h", value: median(onsets)}, line,
		{row: "median error of the rise, ln", value: median(sizes)},
		{row: "a false leak stood at the onset", value: share(early)},
		{row: "the same test, told what to expect but no gust: median delay, h", value: median(oracle)},
		{row: "  share that it finds", value: share(finite(oracle))},
		{row: "likelihood ratio that knows the curve with its gusts: median delay, h", value: median(known)},
		{row: "  median delay over its", value: median(delays) / median(known)},
		{row: "plain CUSUM on line ratios: median delay, h", value: median(ratio)},
		{row: "  and share found", value: share(finite(ratio))}}
}

// targeted reports whether the figures of a family have targets.
func targeted(family string) bool { return family == "clean" || family == "hard" }

// finite reports of each number whether it is one.
func finite(xs []float64) []bool {
	out := make([]bool, len(xs))
	for i, x := range xs {
		out[i] = !math.IsInf(x, 0) && !math.IsNaN(x)
	}
	return out
}
