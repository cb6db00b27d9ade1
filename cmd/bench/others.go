package main

import (
	"fmt"

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

// mistaken is what the daemon made of another trouble.
type mistaken struct {
	leak  bool // called a leak
	named bool // called by its own name
}

// mistake runs one stack with a trouble that is no leak.
func mistake(family string, seed uint64, kind scenario.Kind) mistaken {
	r := draw(family, seed, scenario.Trouble{Kind: kind})
	t := &r.Truth
	w := watch(r).run()
	var m mistaken
	for _, e := range w.events {
		near := e.at >= t.Onset && e.at <= t.Until+aftermath
		m.leak = m.leak || near && isNewLeak(e)
		m.named = m.named || near && owns(kind, e) && (e.Line < 0 || e.Line == t.Line || e.Line == t.Other)
	}
	switch kind {
	case scenario.DoseAdded:
		m.named = !m.leak // the daemon was told
	case scenario.Stuck:
		m.named = m.named || w.stuck[t.Line] >= t.Onset
	case scenario.PowerCut:
		m.named = true // nothing is read: alarms of silence tell, before this test
		for _, at := range w.silent {
			m.named = m.named && at > 0
		}
	}
	return m
}

// owns reports whether an event calls a trouble by its name. A line whose
// instrument is stuck may be called blocked: both stand still.
func owns(kind scenario.Kind, e event) bool {
	return e.Kind == leak.Kind(kind) || kind == scenario.Stuck && e.Kind == leak.Blocked
}

// falsePart counts false leaks: on plain stacks, and from each other trouble.
func falsePart(family string, plain []forecasts, stacks int, seed uint64) []figure {
	leaks, days, struck := 0, 0.0, 0
	for _, f := range plain {
		leaks, days = leaks+f.leaks, days+f.liveDays
		if f.leaks > 0 {
			struck++
		}
	}
	table := fmt.Sprintf("False leaks, %s", family)
	out := []figure{
		{table: table, row: "plain stacks", column: "false leaks a stack-day", value: float64(leaks) / days, target: atMost(mostFalse)},
		{table: table, row: "plain stacks", column: "false leaks", value: float64(leaks)},
		{table: table, row: "plain stacks", column: "stack-days", value: days},
		{table: table, row: "plain stacks", column: "stacks", value: float64(stacks)},
	}
	n := max(stacks/4, 1)
	for _, kind := range scenario.Others() {
		if family == "clean" && kind == scenario.Swapped {
			continue // all lines read the same gas
		}
		ms := each(n, func(i int) mistaken { return mistake(family, seed+uint64(i), kind) })
		count, named := 0.0, 0.0
		for _, m := range ms {
			count, named = count+bit(m.leak), named+bit(m.named)
		}
		f := figure{table: table, row: string(kind), column: "false leaks", value: count}
		if noLeakAllowed[kind] {
			f.target = atMost(0)
		}
		out = append(out, f, figure{table: table, row: string(kind), column: "stacks", value: float64(n)},
			figure{table: table, row: string(kind), column: "own name", value: named / float64(n)})
	}
	return out
}
