package main

import (
	"fmt"
	"math"
	"slices"

	"undersheet/cmd/bench/scenario"
	"undersheet/rules/leak"
)

// aftermath is how long after the end of another trouble a leak counts as its
// doing, hours.
const aftermath = 12.0

// mostFalse is the false leaks allowed a stack-day.
const mostFalse = falseRate

// noLeakAllowed lists the troubles that must never be called a leak.
var noLeakAllowed = map[scenario.Kind]bool{scenario.LineOff: true, scenario.Blocked: true, scenario.Stuck: true, scenario.Swapped: true,
	scenario.PumpStop: true, scenario.DoseAdded: true}

// sameGas is the difference of two lines, ln C, below which a swap of them does no
// harm and needs no name: package fault tells none.
const sameGas = 0.04

// mistaken is what the daemon made of another trouble.
type mistaken struct {
	leak  bool // called a leak
	named bool // called by its own name
}

// mistakes tries every other trouble on one stack.
func (b *bench) mistakes(seed uint64) ([]mistaken, error) {
	run := b.runner(draw(b.family, seed), searched+aftermath)
	var out []mistaken
	for _, kind := range others(b.family) {
		w, err := run(draw(b.family, seed, scenario.Trouble{Kind: kind}))
		if err != nil {
			return nil, err
		}
		out = append(out, mistakenFor(w, kind))
	}
	return out, nil
}

// others lists the troubles of a family that are no leaks. On clean records all
// lines read the same gas: a swap is nothing.
func others(family string) []scenario.Kind {
	kinds := scenario.Others()
	if family == "clean" {
		kinds = slices.DeleteFunc(kinds, func(k scenario.Kind) bool { return k == scenario.Swapped })
	}
	return kinds
}

// mistakenFor is what the daemon made of a trouble.
func mistakenFor(w *course, kind scenario.Kind) mistaken {
	t := &w.rec.Truth
	var m mistaken
	for _, e := range w.events {
		near := e.at >= t.Onset && e.at <= t.Until+aftermath
		m.leak = m.leak || near && isNewLeak(e)
		m.named = m.named || near && owns(kind, e) && (e.Line < 0 || e.Line == t.Line || e.Line == t.Other)
	}
	switch kind {
	case scenario.DoseAdded:
		m.named = !m.leak // the daemon was told
	case scenario.Swapped:
		m.named = m.named || math.Abs(t.LnC(t.Line, t.Onset)-t.LnC(t.Other, t.Onset)) < sameGas
	case scenario.Stuck:
		m.named = m.named || w.stuck[t.Line] >= t.Onset
	case scenario.PowerCut:
		m.named = true // nothing is read: alarms of silence tell, before this test
		for _, at := range w.silent {
			m.named = m.named && at >= t.Onset-1 // the last reading before it
		}
	}
	return m
}

// owns reports whether an event calls a trouble by its name. A line whose
// instrument is stuck may be called blocked: both stand still. A leak that may be an
// instrument that drifts names both.
func owns(kind scenario.Kind, e event) bool {
	return e.Kind == leak.Kind(kind) || kind == scenario.Stuck && e.Kind == leak.Blocked || kind == scenario.Drifting && isNewLeak(e) && e.Alone
}

// falsePart counts false leaks: on plain stacks, and from each other trouble.
func (b *bench) falsePart(plain []forecasts) ([]figure, error) {
	leaks, days := 0, 0.0
	for _, f := range plain {
		leaks, days = leaks+f.leaks, days+f.liveDays
	}
	table := fmt.Sprintf("False leaks, %s", b.family)
	out := []figure{
		{table: table, row: "plain stacks", column: "false leaks a stack-day", value: float64(leaks) / days},
		{table: table, row: "plain stacks", column: "false leaks", value: float64(leaks)},
		{table: table, row: "plain stacks", column: "stack-days", value: days},
		{table: table, row: "plain stacks", column: "stacks", value: float64(b.stacks)},
	}
	if targeted(b.family) {
		out[0].target = atMost(mostFalse)
	}
	n := max(b.stacks/4, 1)
	all, err := collect(n, func(i int) ([]mistaken, error) { return b.mistakes(b.seed + uint64(i)) })
	if err != nil {
		return nil, err
	}
	for k, kind := range others(b.family) {
		count, named := 0.0, 0.0
		for _, t := range all {
			count, named = count+bit(t[k].leak), named+bit(t[k].named)
		}
		f := figure{table: table, row: string(kind), column: "false leaks", value: count}
		if noLeakAllowed[kind] && targeted(b.family) {
			f.target = atMost(0)
		}
		out = append(out, f, figure{table: table, row: string(kind), column: "stacks", value: float64(n)},
			figure{table: table, row: string(kind), column: "own name", value: named / float64(n)})
	}
	return out, nil
}
