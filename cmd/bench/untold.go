package main

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
)

// A leak of which nobody is told what it does to each line. Of each line's trace it is only
// known that it falls with the stack, and dips beside it where gas around the tear is thin:
// amounts that are normal, for leaks of some sizes. The likelihood ratio is the mean over
// these, which is the most powerful test of all that hold for leaks as they are drawn (Kay
// 1998, Fundamentals of Statistical Signal Processing II, 5.6 and 6.4.1, a Gaussian signal of
// known covariance and the Bayesian treatment of what is not known).

// Parts of a line's trace, per 1 per day by which the loss rate rises.
const (
	byFall = iota // of the stack's ln C, per day
	byDip         // of the line's ln C, beside it
	traceParts
)

// dipHours is how long it takes until gas around a tear is as thin as it gets.
const dipHours = 6.0

// partAt is a part of a trace at an age of the leak in hours.
func partAt(part int, age float64) float64 {
	if part == byFall {
		return -age / 24
	}
	return math.Expm1(-age / dipHours)
}

// form is how the parts of traces are drawn: their mean, what all lines share, and what each
// has of its own (standard deviations).
type form struct{ mean, shared, own [traceParts]float64 }

// leakForms are those of a tear and of a skirt, as on 80 tuning stacks; leakSizes the rises of
// the loss rate, per day.
var (
	leakForms = []form{
		{mean: [...]float64{0.7, 0}, shared: [...]float64{0.25, 0.12}, own: [...]float64{0.08, 0.13}},
		{mean: [...]float64{1, 0}, shared: [...]float64{0.2, 0.01}, own: [...]float64{0.05, 0.01}},
	}
	leakSizes = []float64{0.05, 0.1, 0.2, 0.4, 0.8}
)

// guess is a normal that the parts of all lines' traces are drawn from: what the likelihood
// ratio needs of it.
type guess struct {
	weight  mat.SymDense // inverse of the covariance
	pull    mat.VecDense // weight · mean
	surplus float64      // mean · pull + ln det of the covariance
}

// guesses are those of every form and size, for so many lines.
func guesses(lines int) ([]guess, error) {
	var out []guess
	n := lines * traceParts
	for _, f := range leakForms {
		for _, size := range leakSizes {
			cov, mean := mat.NewSymDense(n, nil), mat.NewVecDense(n, nil)
			for i := range n {
				part := i % traceParts
				mean.SetVec(i, size*f.mean[part])
				for j := i; j < n; j += traceParts {
					cov.SetSym(i, j, size*size*(f.shared[part]*f.shared[part]+bit(i == j)*f.own[part]*f.own[part]))
				}
			}
			var root mat.Cholesky
			if !root.Factorize(cov) {
				return nil, fmt.Errorf("traces of %d lines: their covariance has no root", lines)
			}
			var g guess
			if err := root.InverseTo(&g.weight); err != nil {
				return nil, fmt.Errorf("traces of %d lines: %w", lines, err)
			}
			g.pull.MulVec(&g.weight, mean)
			g.surplus = mat.Dot(mean, &g.pull) + root.LogDet()
			out = append(out, g)
		}
	}
	return out, nil
}

// onset is what readings say of a leak that began at an hour: the score and the information of
// the parts of its lines' traces.
type onset struct {
	hour  int
	score mat.VecDense
	known mat.SymDense
}

// ratio is ln of the mean likelihood ratio of a leak against none; −Inf where it has no value.
func (o *onset) ratio(gs []guess) float64 {
	logs := make([]float64, 0, len(gs))
	top := math.Inf(-1)
	for i := range gs {
		var sum mat.SymDense
		var root mat.Cholesky
		var from, to mat.VecDense
		sum.AddSym(&o.known, &gs[i].weight)
		from.AddVec(&o.score, &gs[i].pull)
		if !root.Factorize(&sum) || root.SolveVecTo(&to, &from) != nil {
			return math.Inf(-1)
		}
		logs = append(logs, (mat.Dot(&from, &to)-gs[i].surplus-root.LogDet())/2)
		top = max(top, logs[i])
	}
	mean := 0.0
	for _, l := range logs {
		mean += math.Exp(l-top) / float64(len(logs))
	}
	return top + math.Log(mean)
}

// untold gives the statistic at the end of each hour, for a leak of which nobody is told what
// it does to each of the lines.
func (w *whitened) untold(lines int, at func(hours, value float64)) error {
	first, onsets, n := int(quietHours), hoursAll-int(quietHours)-1, lines*traceParts
	gs, err := guesses(lines)
	if err != nil {
		return err
	}
	columns := mat.NewDense(len(w.cells), onsets*n+1, nil)
	for i, c := range w.cells {
		for k := range min(c.hour-first+1, onsets) {
			for part := range traceParts {
				columns.Set(i, k*n+c.line*traceParts+part, partAt(part, float64(c.hour-first-k)+0.5))
			}
		}
		columns.Set(i, onsets*n, c.y)
	}
	var white mat.Dense
	if err := white.Solve(&w.root, columns); err != nil {
		return fmt.Errorf("whiten readings: %w", err)
	}
	all, i := make([]onset, onsets), 0
	for k := range all {
		all[k] = onset{hour: first + k, score: *mat.NewVecDense(n, nil), known: *mat.NewSymDense(n, nil)}
	}
	for h := range hoursAll {
		for ; i < len(w.cells) && w.cells[i].hour == h; i++ {
			row := white.RawRowView(i)
			for k := range min(h-first+1, onsets) {
				x := mat.NewVecDense(n, row[k*n:k*n+n])
				all[k].score.AddScaledVec(&all[k].score, row[onsets*n], x)
				all[k].known.SymRankOne(&all[k].known, 1, x)
			}
		}
		best := 0.0
		for k := max(h-first-int(searched), 0); k < min(h-first, onsets); k++ {
			best = max(best, all[k].ratio(gs))
		}
		at(float64(h+1), best)
	}
	return nil
}
