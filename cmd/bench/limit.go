package main

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"

	"undersheet/cmd/bench/scenario"
)

// The limit of leak tests and of forecasts: what is the best that anybody can do who knows the
// physics of the family, what its parameters are drawn from and what the leak does to each
// line (or only how leaks do, see untold), but has to learn this stack's parameters, its weather and its instruments from the
// readings? Where all of these are normal and move ln C linearly, readings are normal with a
// known covariance. The most powerful test of a leak of one onset is then the likelihood ratio
// of whitened readings (Kay 1998, Fundamentals of Statistical Signal Processing II, 4.4,
// generalized matched filter); its size is normal around 0, and over onsets the largest counts.
// The error of a forecast is the standard deviation of the end given the readings, without
// weather the Cramér–Rao bound (see bound). Each stack's own strength and memory of gusts are
// known once, and once taken as they are on most; what lies between, nobody can know but from
// the record.

// Figures of the limit.
const (
	learnFrom = 3    // hour: before, the course is not linear in its lag
	leastSeen = 20.0 // ppm
	sizeSD    = 2.0  // of the leak's size, over the true one
	worn      = 1e-8 // least variance of ln of an hour
	hoursAll  = int(scenario.Hours)
)

// learner is what is known of a stack before its readings.
type learner struct {
	lines int
	truth *scenario.Truth // without weather
	off   scenario.Trace  // by how much the stack's parameters are other than was thought
	cov   *mat.SymDense   // of ln C by hour and line

	gain, drift float64 // standard deviations of ln of a line's gain, and of its change per day
}

// place is where a line's hour stands in the covariance.
func (l *learner) place(hour, line int) int { return hour*l.lines + line }

// newLearner gathers the covariance of what is unknown, and draws by how much.
func newLearner(truth *scenario.Truth, lines int, u scenario.Unknowns, gain, drift float64, rnd *rand.Rand) *learner {
	l := &learner{lines: lines, truth: truth, gain: gain, drift: drift}
	for range lines {
		l.off = append(l.off, make([]float64, hoursAll))
	}
	for _, t := range u.Stack {
		z := rnd.NormFloat64()
		for line := range t {
			floats.AddScaled(l.off[line], z, t[line])
		}
	}
	n := hoursAll * l.lines
	sum := mat.NewDense(n, n, nil)
	add := func(moves []scenario.Trace, cov func(i, j int) float64) {
		m := len(moves)
		by, k := mat.NewDense(n, m, nil), mat.NewSymDense(m, nil)
		for j, t := range moves {
			for line := range t {
				for h, v := range t[line] {
					by.Set(l.place(h, line), j, v)
				}
			}
			for i := range j + 1 {
				k.SetSym(i, j, cov(i, j))
			}
		}
		var half, all mat.Dense
		half.Mul(by, k)
		all.Mul(&half, by.T())
		sum.Add(sum, &all)
	}
	add(u.Stack, func(i, j int) float64 { return bit(i == j) })
	for _, w := range u.Weather {
		add(w.Moves, w.Cov)
	}
	l.cov = mat.NewSymDense(n, nil)
	for i := range n {
		for j := i; j < n; j++ {
			l.cov.SetSym(i, j, (sum.At(i, j)+sum.At(j, i))/2)
		}
	}
	return l
}

// shown is the covariance of what the instruments show of two cells, but for their noise.
func (l *learner) shown(a, b cell) float64 {
	v := l.cov.At(l.place(a.hour, a.line), l.place(b.hour, b.line))
	if a.line == b.line {
		v += l.gain*l.gain + l.drift*l.drift*float64(a.hour)*float64(b.hour)/(24*24)
	}
	return v
}

// cell is what was read of a line in an hour: ln of it less the mean course, and the
// variance of its noise.
type cell struct {
	hour, line int
	y, noise   float64
}

// cells are those of a record, in their order, with the parameters as they are drawn for it.
func (l *learner) cells(r *scenario.Record) []cell {
	sums := make([]cell, hoursAll*l.lines)
	counts := make([]float64, len(sums))
	for _, x := range r.Readings {
		s := r.Setup.Lines[x.Line]
		if x.Hours < learnFrom || x.Hours >= scenario.Hours-1 || x.Spike || x.PPM < leastSeen || s.Range > 0 && x.PPM >= s.Range {
			continue
		}
		at := l.place(int(x.Hours), x.Line)
		digit := math.Hypot(min(s.Resolution, 1), s.Resolution/math.Sqrt(12)) / x.PPM
		sums[at].y += math.Log(x.PPM) - l.truth.LnC(x.Line, x.Hours)
		sums[at].noise += r.Truth.Scatter[x.Line]*r.Truth.Scatter[x.Line] + digit*digit
		counts[at]++
	}
	var out []cell
	for at, n := range counts {
		if n > 0 {
			hour, line := at/l.lines, at%l.lines
			out = append(out, cell{hour, line, sums[at].y/n + l.off[line][hour], sums[at].noise/(n*n) + worn})
		}
	}
	return out
}

// whitened is a record whose readings were made independent, one after the other, so that
// none is told of what comes later.
type whitened struct {
	cells []cell
	root  mat.TriDense
}

// whiten makes the readings of a record before hours independent.
func (l *learner) whiten(r *scenario.Record, hours int) (*whitened, error) {
	w := &whitened{cells: slices.DeleteFunc(l.cells(r), func(c cell) bool { return c.hour >= hours })}
	v := mat.NewSymDense(len(w.cells), nil)
	for i, a := range w.cells {
		for j := i; j < len(w.cells); j++ {
			b := w.cells[j]
			v.SetSym(i, j, l.shown(a, b)+bit(i == j)*a.noise)
		}
	}
	var chol mat.Cholesky
	if !chol.Factorize(v) {
		return nil, fmt.Errorf("stack %d: the covariance of its readings has no root", r.Seed)
	}
	chol.LTo(&w.root)
	return w, nil
}

// path gives the statistic at the end of each hour, for a leak that does trace.
func (w *whitened) path(trace func(line int, age float64) float64, at func(hours, value float64)) error {
	first, onsets := int(quietHours), hoursAll-int(quietHours)-1
	columns := mat.NewDense(len(w.cells), onsets+1, nil)
	for i, c := range w.cells {
		for k := range onsets {
			if age := float64(c.hour-first-k) + 0.5; age > 0 {
				columns.Set(i, k, trace(c.line, age))
			}
		}
		columns.Set(i, onsets, c.y)
	}
	var white mat.Dense
	if err := white.Solve(&w.root, columns); err != nil {
		return fmt.Errorf("whiten readings: %w", err)
	}
	num, den, i := make([]float64, onsets), make([]float64, onsets), 0
	for h := range hoursAll {
		for ; i < len(w.cells) && w.cells[i].hour == h; i++ {
			row := white.RawRowView(i)
			floats.AddScaled(num, row[onsets], row[:onsets])
			for k, s := range row[:onsets] {
				den[k] += s * s
			}
		}
		best := 0.0
		for k := range onsets {
			if num[k] > 0 {
				best = math.Max(best, num[k]*num[k]/(den[k]+1/(sizeSD*sizeSD))/2)
			}
		}
		at(float64(h+1), best)
	}
	return nil
}

// atEnd is the mean variance, over the lines, of ln C in the last hour when the readings
// before hours are known; none of a line that is below the floor of errors then.
func (l *learner) atEnd(r *scenario.Record, hours int) (float64, error) {
	w, err := l.whiten(r, hours)
	if err != nil {
		return 0, err
	}
	mean, last := 0.0, hoursAll-1
	for line := range l.lines {
		if l.truth.PPM(line, scenario.Hours) < floorPPM {
			continue
		}
		end := l.place(last, line)
		with, white := mat.NewVecDense(len(w.cells), nil), mat.NewVecDense(len(w.cells), nil)
		for i, c := range w.cells {
			with.SetVec(i, l.cov.At(l.place(c.hour, c.line), end))
		}
		if err := white.SolveVec(&w.root, with); err != nil {
			return 0, fmt.Errorf("condition the end: %w", err)
		}
		mean += (l.cov.At(end, end) - mat.Dot(white, white)) / float64(l.lines)
	}
	return mean, nil
}

// statistic is a test over a whitened record: it gives its statistic at the end of each hour.
type statistic func(w *whitened, at func(hours, value float64)) error

// highest is the statistic's highest value over a record.
func (t statistic) highest(w *whitened) (top float64, err error) {
	err = t(w, func(_, value float64) { top = max(top, value) })
	return top, err
}

// since are its rises over a record in the hours after an onset.
func (t statistic) since(w *whitened, onset float64) (out []rise, err error) {
	top := 0.0
	err = t(w, func(hours, value float64) {
		if age := hours - onset; age > 0 && age <= searched && value > top {
			top = value
			out = append(out, rise{age, value})
		}
	})
	return out, err
}

// limits are what can be had of one stack: told how hard gusts blow on it, and told how hard
// they usually blow.
type limits [2]limit

const usual = 1

// limit is the score of each leak, told and not told what it does to each line, and the variance
// of the end by horizon. The second, which takes longest, is for usual gusts only.
type limit struct {
	leaks, untold []score
	ends          []float64
}

// limitOf draws a stack and every leak of it.
func (b *bench) limitOf(seed uint64) (out limits, err error) {
	plain := draw(b.family, seed)
	truth, u := plain.Foreseen(calm), plain.Unknowns()
	gain, drift := scenario.GainSD, scenario.DriftSD
	if b.family == "clean" {
		gain, drift = 0, 0
	}
	for i, u := range []scenario.Unknowns{u, u.Usual()} {
		l := newLearner(truth, plain.Lines(), u, gain, drift, rand.New(rand.NewPCG(seed, 0x6c696d6974)))
		out[i].leaks, out[i].untold, err = b.leakScores(l, plain, i == usual)
		if err != nil {
			return out, err
		}
		for _, h := range horizons {
			v, err := l.atEnd(plain, h)
			if err != nil {
				return out, err
			}
			out[i].ends = append(out[i].ends, v)
		}
	}
	return out, nil
}

// leakScores are those of every leak of a stack by the test that is told what it does to each
// line and, where asked for, by the one that is not.
func (b *bench) leakScores(l *learner, plain *scenario.Record, both bool) (told, not []score, err error) {
	quiet, err := l.whiten(plain, hoursAll)
	if err != nil {
		return nil, nil, err
	}
	days := (scenario.Hours - quietHours) / 24
	untold := statistic(func(w *whitened, at func(hours, value float64)) error { return w.untold(l.lines, at) })
	calmest := 0.0
	if both {
		if calmest, err = untold.highest(quiet); err != nil {
			return nil, nil, err
		}
	}
	for _, c := range cases(b.family) {
		r := draw(b.family, plain.Seed, scenario.Trouble{Kind: c.kind, Factor: c.factor})
		torn, err := l.whiten(r, hoursAll)
		if err != nil {
			return nil, nil, err
		}
		trace := traceOf(r, plain)
		path := statistic(func(w *whitened, at func(hours, value float64)) error { return w.path(trace, at) })
		s := score{days: days}
		if s.quiet, err = path.highest(quiet); err != nil {
			return nil, nil, err
		}
		if s.rises, err = path.since(torn, r.Truth.Onset); err != nil {
			return nil, nil, err
		}
		told = append(told, s)
		if !both {
			continue
		}
		s = score{days: days, quiet: calmest}
		if s.rises, err = untold.since(torn, r.Truth.Onset); err != nil {
			return nil, nil, err
		}
		not = append(not, s)
	}
	return told, not, nil
}

// limitPart measures the limits of a family.
func (b *bench) limitPart() ([]figure, error) {
	all, err := collect(b.stacks, func(i int) (limits, error) { return b.limitOf(b.seed + uint64(i)) })
	if err != nil {
		return nil, err
	}
	var out []figure
	leaks := func(told string, of func(limits) []score) {
		for k, c := range cases(b.family) {
			ds := delaysOf(scoresOf(all, func(l limits) score { return of(l)[k] }))
			for _, f := range []figure{{row: told + ": share found within 36 h", value: share(finite(ds))}, {row: "  median delay, h, " + told, value: median(ds)}} {
				f.table, f.column = fmt.Sprintf("Limit of leak tests, %s, %s, %d stacks", c.kind, b.family, b.stacks), fmt.Sprintf("×%v", c.factor)
				out = append(out, f)
			}
		}
	}
	for i, told := range []string{"told how hard gusts blow", "told how hard they usually blow"} {
		leaks(told, func(l limits) []score { return l[i].leaks })
		for k, h := range horizons {
			var ends []float64
			for _, of := range all {
				ends = append(ends, of[i].ends[k])
			}
			out = append(out, figure{table: fmt.Sprintf("Limit of forecasts, %s, %d stacks", b.family, b.stacks), row: "rms error of ln C, each line, " + told,
				column: fmt.Sprintf("%d h", h), value: math.Sqrt(mean(ends))})
		}
	}
	leaks("and not what a leak does to each line", func(l limits) []score { return l[usual].untold })
	return out, nil
}
