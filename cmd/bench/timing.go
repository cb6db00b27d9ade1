package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"runtime"
	"time"

	"undersheet/cmd/bench/scenario"
	"undersheet/logbook"
	"undersheet/rules"
	"undersheet/rules/decay"
)

// Limits of cost on one core.
const (
	mostRefit  = 2.0   // ms, of 5 days × 6 lines × 10 min
	mostUpdate = 5.0   // µs a reading: 200,000 a second
	leastSpeed = 200e3 // readings a second through all rules, with the hourly fits
	mostState  = 65536 // bytes of JSON, fit and leak test of a stack
)

// timedLines is the number of lines that the limit is for.
const timedLines = 6

// timedRecord is the first plain hard record from a seed on with six lines.
func timedRecord(every float64) *scenario.Record {
	for seed := uint64(1); ; seed++ {
		if r := scenario.Hard(seed); r.Lines() == timedLines && (r.Every < 0.1) == (every < 0.1) {
			return r
		}
	}
}

// timePart times updates and refits on one core, in processor time.
func timePart() ([]figure, error) {
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(1))
	r := timedRecord(1.0 / 6)
	var hourly []float64
	w := watch(r)
	w.refit = func() {
		begin := cpu()
		w.fit.Update(float64(w.hour))
		hourly = append(hourly, ms(cpu()-begin))
	}
	w.run()
	last := best(20, func() { w.fit.Refit() })
	cold := best(20, func() { fresh(w.fit).Refit() })
	ask := best(20, func() { w.fit.Forecasts(scenario.Hours, endPPM) })
	table := fmt.Sprintf("Cost on one core, 5 days × %d lines", timedLines)
	const refit, update = "refit, ms", "update, µs a reading"
	out := []figure{
		{table: table, row: "refit of the whole record, from an earlier fit", column: refit, value: last, target: atMost(mostRefit)},
		{table: table, row: "refit of the whole record, from nothing", column: refit, value: cold},
		{table: table, row: "hourly update, median over the exposure", column: refit, value: median(hourly)},
		{table: table, row: "hourly update, mean", column: refit, value: mean(hourly)},
		{table: table, row: "hourly update, worst", column: refit, value: quantile(hourly, 0.999)},
		{table: table, row: "forecast of all lines", column: refit, value: ask},
		{table: table, row: "fit and leak test, every 10 min", column: update, value: perReading(r)},
		{table: table, row: "fit and leak test, every minute", column: update, value: perReading(timedRecord(1.0 / 60)), target: atMost(mostUpdate)},
	}
	speed, err := replaySpeed(timedRecord(1.0 / 60))
	if err != nil {
		return nil, err
	}
	out = append(out, figure{table: table, row: "all rules over entries, every minute", column: "readings a second", value: speed, target: atLeast(leastSpeed)})
	return append(out, figure{table: table, row: "state of fit and leak test", column: "bytes", value: stateBytes(w), target: atMost(mostState)}), nil
}

// fresh is the fit without what it found.
func fresh(s *decay.State) *decay.State {
	c := *s
	c.Fit = nil
	return &c
}

func ms(d time.Duration) float64 { return float64(d) / float64(time.Millisecond) }

// best is the shortest of n runs, ms of processor time.
func best(n int, do func()) float64 {
	least := time.Duration(1 << 62)
	for range n {
		begin := cpu()
		do()
		least = min(least, cpu()-begin)
	}
	return ms(least)
}

// perReading is the time of a reading over a whole record, without the hourly
// refits, in µs.
func perReading(r *scenario.Record) float64 {
	var refits time.Duration
	begin := cpu()
	w := watch(r)
	w.refit = func() {
		at := cpu()
		w.fit.Update(float64(w.hour))
		refits += cpu() - at
	}
	w.run()
	return float64(cpu()-begin-refits) / float64(time.Microsecond) / float64(len(r.Readings))
}

// stateBytes is the size of what is kept of a stack.
func stateBytes(w *watched) float64 {
	n := 0
	for _, v := range []any{w.fit, w.leak} {
		b, err := json.Marshal(v)
		if err != nil {
			return -1
		}
		n += len(b)
	}
	return float64(n)
}

// replaySpeed is how many readings a second all rules take, hourly fits included,
// from entries that are decoded already.
func replaySpeed(r *scenario.Record) (float64, error) {
	text, err := written(r, scenario.Hours+1)
	if err != nil {
		return 0, err
	}
	var entries []logbook.Entry
	for in := logbook.NewReader("bench", bytes.NewReader(text)); ; {
		e, err := in.Next()
		if err == io.EOF {
			break
		}
		if err != nil {
			return 0, fmt.Errorf("read an entry: %w", err)
		}
		entries = append(entries, e)
	}
	took := best(3, func() {
		p := rules.NewPlayer(siteOf(r))
		for _, e := range entries {
			p.Play(e)
		}
	})
	return float64(len(r.Readings)) / took * 1000, nil
}
