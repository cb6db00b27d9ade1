package main

import (
	"fmt"
	"math"
	"slices"

	"undersheet/cmd/bench/scenario"
	"undersheet/rules/leak"
)

// aftermath is how long after the end of another trouble a leak counts as its doing,
// hours: what the fit was misled by is used a day later.
const aftermath = 36.0

// mostFalse is the false leaks allowed a stack-day.
const mostFalse = falseRate

// mayLeak reports whether a trouble may be called a leak: cells that use up their gas over
// hours read what an open sheet would give, and a line whose gas thins what a tear beside
// it would, as does an instrument that drifts; when nothing is read, nothing is judged.
func mayLeak(t scenario.Trouble) bool {
	return t.Form == scenario.Slow || t.Form == scenario.Seeping || t.Kind == scenario.Drifting || t.Kind == scenario.PowerCut
}

// sameGas is the difference in ln C below which what a line reads is right all the
// same, and the trouble needs no name: two lines that are swapped, or gas that stands
// in a line while the gas at its end hardly changes. Package fault tells no such swap.
const sameGas = 0.04

// mistaken is what the daemon made of another trouble.
type mistaken struct {
	leak  bool // called a leak, and without the trouble the stack has none then
	shows bool // what is read differs from what would be without it
	named bool // called by its own name
}

// mistakes tries every other trouble on one stack, and holds it against the stack's
// twin that has none.
func (b *bench) mistakes(seed uint64) ([]mistaken, error) {
	plain := draw(b.family, seed)
	run := b.runner(plain, searched+aftermath)
	plain.Truth.Onset = draw(b.family, seed, scenario.Trouble{Kind: scenario.PowerCut}).Truth.Onset // every kind's
	twin, err := run(plain)
	if err != nil {
		return nil, err
	}
	var out []mistaken
	for _, o := range others(b.family) {
		w, err := run(draw(b.family, seed, o))
		if err != nil {
			return nil, err
		}
		out = append(out, mistakenFor(w, twin, o))
	}
	return out, nil
}

// others lists the troubles of a family that are no leaks, in every form. On clean
// records all lines read the same gas: a swap is nothing.
func others(family string) (out []scenario.Trouble) {
	for _, kind := range scenario.Others() {
		if family == "clean" && kind == scenario.Swapped {
			continue
		}
		for _, form := range append([]scenario.Form{scenario.Usual}, kind.Forms()...) {
			out = append(out, scenario.Trouble{Kind: kind, Form: form})
		}
	}
	return out
}

// titled is the row of a trouble.
func titled(t scenario.Trouble) string {
	if t.Form == scenario.Usual {
		return string(t.Kind)
	}
	return fmt.Sprintf("%s, %s", t.Kind, t.Form)
}

// mistakenFor is what the daemon made of a trouble, beside what it made of the twin.
func mistakenFor(w, twin *course, o scenario.Trouble) mistaken {
	t := &w.rec.Truth
	m := mistaken{leak: leaks(w, t) && !leaks(twin, t), shows: departs(w.rec, twin.rec)}
	for _, e := range w.events {
		m.named = m.named || during(e, t) && owns(o, e) && (e.Line < 0 || e.Line == t.Line || e.Line == t.Other)
	}
	switch o.Kind {
	case scenario.DoseAdded:
		m.named = !m.leak // the daemon was told
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

// during reports whether an event came while a trouble lasted or in its aftermath.
func during(e event, t *scenario.Truth) bool { return e.at >= t.Onset && e.at <= t.Until+aftermath }

// leaks reports whether a leak was raised in the time of a trouble.
func leaks(w *course, t *scenario.Truth) bool {
	return slices.ContainsFunc(w.events, func(e event) bool { return during(e, t) && isNewLeak(e) })
}

// departs reports whether a trouble shows in what is read: in a reading that differs
// from the twin's, which has the same scatter, or in one that is missing.
func departs(r, twin *scenario.Record) bool {
	if len(r.Readings) != len(twin.Readings) {
		return true
	}
	for i := range r.Readings {
		if math.Abs(math.Log((r.Readings[i].PPM+1)/(twin.Readings[i].PPM+1))) > sameGas {
			return true
		}
	}
	return false
}

// owns reports whether an event calls a trouble by its name. A line whose instrument is
// stuck may be called blocked: both stand still. A leak that only its line shows names an
// instrument that drifts, too, and a line whose gas thins; that may also be called off.
func owns(o scenario.Trouble, e event) bool {
	alone := isNewLeak(e) && e.Alone
	switch {
	case o.Kind == scenario.Stuck:
		return e.Kind == leak.Blocked
	case o.Form == scenario.Seeping:
		return e.Kind == leak.Blocked || e.Kind == leak.LineOff || alone
	case o.Kind == scenario.Drifting:
		return e.Kind == leak.Drifting || alone
	}
	return e.Kind == leak.Kind(o.Kind)
}

// falsePart counts false leaks: on plain stacks, and those that each other trouble
// brings to a stack which has none without it.
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
	for k, o := range others(b.family) {
		brought := 0.0
		var named []bool
		for _, t := range all {
			brought += bit(t[k].leak)
			if t[k].shows {
				named = append(named, t[k].named)
			}
		}
		f := figure{table: table, row: titled(o), column: "false leaks", value: brought}
		if !mayLeak(o) && targeted(b.family) {
			f.target = atMost(0)
		}
		out = append(out, f, figure{table: table, row: titled(o), column: "stacks", value: float64(n)},
			figure{table: table, row: titled(o), column: "of them it shows in", value: float64(len(named))},
			figure{table: table, row: titled(o), column: "own name, of these", value: share(named)})
	}
	return out, nil
}
