package main

import (
	"undersheet/cmd/bench/scenario"
	"undersheet/rules/decay"
)

// curve is what no fit can better: the true course of a stack without its gusts, how
// strong these are, and the loss rate. What a leak test that is told it misses, gusts
// hide.
type curve struct {
	*scenario.Truth
	loss, gust float64 // per day
}

// calm is the hour from which no gust is known: the first.
const calm = 1e-3

// ExpectedLnChange implements leak.Expecter.
func (c curve) ExpectedLnChange(line int, from, to float64) (mean, sd float64) {
	return c.MeanLnChange(line, from, to), 0
}

// MeanLnChange implements leak.Expecter.
func (c curve) MeanLnChange(line int, from, to float64) float64 {
	return c.LnC(line, to) - c.LnC(line, from)
}

// LossPerDay implements leak.Expecter.
func (c curve) LossPerDay() (loss, sdLn float64) { return c.loss, 0 }

// GustPerDay implements leak.Expecter, of which 0 says nothing.
func (c curve) GustPerDay() float64 { return max(c.gust, 1e-3*c.loss) }

// Rises implements leak.Expecter: where the curve is known, the filter knows as much.
func (c curve) Rises() (at float64, rises []decay.Rise) { return 0, nil }

// told is the delay at which the daemon's leak test finds the leak of a record when it is
// told what to expect, hours; +Inf = never.
func told(r, plain *scenario.Record) float64 {
	w := watch(r)
	w.deaf, w.refit = true, func() {}
	w.oracle = curve{plain.Foreseen(calm), r.Truth.Loss, r.Truth.Gust}
	w.until(r.Truth.Onset + searched)
	return foundBy(&w.course, r.Truth.Factor).delay
}
