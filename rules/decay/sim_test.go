package decay

import (
	"math"
	"math/rand/v2"
)

// depot is an invented treatment, richer than the model that is fitted to it:
// release in two stages, sorption for a time and for good, a leak rate that
// breathes with the day and wanders, lines that are reached late and mixed
// slowly, an instrument with a wrong gain and rounding, spikes, gaps, and a dose
// and a gas space that are not what was written down. It is no published record:
// none of phosphine under a sheet was found.
type depot struct {
	setup Setup
	truth [][]float64 // ppm by line and 5 min
	seen  []reading
}

type reading struct {
	hours float64
	line  int
	ppm   float64
}

// ease says how much of the trouble a depot has: 0 none beyond the model, 1 all.
func simulate(seed uint64, hours float64, lines int, ease float64) depot {
	return torn(seed, hours, lines, ease, hours, hours, 0)
}

// torn is simulate with more loss (per day) from an hour until another.
func torn(seed uint64, hours float64, lines int, ease, from, until, extra float64) depot {
	rnd := rand.New(rand.NewPCG(seed, 77))
	norm := rnd.NormFloat64
	ln := func(mid, sd float64) float64 { return mid * math.Exp(sd*norm()) }
	temp := 22 + 12*rnd.Float64()
	r := ln(1.15*math.Exp(0.07*(temp-25)), 0.30)
	second := ease * 0.25 * rnd.Float64() // share released three times more slowly
	k := math.Exp(math.Log(0.06) + rnd.Float64()*math.Log(0.7/0.06))
	perm := math.Abs(0.07 * norm())
	sorb, free := math.Abs(0.35*norm())+0.02, ln(0.5, 0.5)
	lag := (1 + 4*rnd.Float64()) / 24
	noise := 0.01 + 0.03*rnd.Float64()
	d := depot{setup: Setup{DoseG: 520, GasSpaceM3: 180, TempC: temp, MoisturePct: 12.5}}
	yield := d.setup.ppmOf(520) * math.Exp(0.2*norm())
	phase, swing := rnd.Float64()*2*math.Pi, ease*0.5*rnd.Float64()
	factor, late, gain := make([]float64, lines), make([]float64, lines), make([]float64, lines)
	for i := range lines {
		factor[i], late[i], gain[i] = ease*0.10*norm()+0.02*norm(), ease*rnd.Float64()*0.5, ease*0.015*norm()
		d.setup.Lines = append(d.setup.Lines, Line{Accuracy: 0.05, Resolution: 1, DetectionLimit: 1, Range: 2000})
	}
	const dt = 1.0 / 24 / 60
	c, q, wander := 0.0, 0.0, 0.0
	mixed := make([]float64, lines)
	steps := int(math.Round(hours * 60))
	d.truth = make([][]float64, lines)
	for n := 0; n <= steps; n++ {
		t := float64(n) * dt
		for i := range lines {
			if n%5 == 0 {
				d.truth[i] = append(d.truth[i], mixed[i]*math.Exp(factor[i]))
			}
			if late[i] > 0.01 {
				mixed[i] += (c - mixed[i]) * dt / (late[i] * 0.5)
			} else {
				mixed[i] = c
			}
		}
		rel := 0.0
		if u := t - lag; u > 0 {
			rel = yield * ((1-second)*r*math.Exp(-r*u) + second*r/3*math.Exp(-r*u/3))
		}
		wander += -wander*dt/2 + ease*0.15*math.Sqrt(dt)*norm() // sd 0.15 of ln leak over 2 days
		kt := k*math.Exp(wander)*(1+swing*math.Sin(2*math.Pi*t+phase)) + perm
		if t*24 >= from && t*24 < until {
			kt += extra
		}
		c, q = c+dt*(rel-(kt+sorb)*c+free*q), q+dt*(sorb*c-free*q)
	}
	for i := range lines {
		gap, start := 0.0, hours*rnd.Float64()
		if rnd.Float64() < 0.3*ease {
			gap = 12 * rnd.Float64()
		}
		for n := 0; n <= steps; n += 10 {
			t := float64(n) / 60
			if t >= start && t < start+gap {
				continue
			}
			v := d.truth[i][n/5]*math.Exp(gain[i]+noise*norm()) + norm()
			if rnd.Float64() < 0.004*ease {
				v *= math.Exp(1.5 * norm())
			}
			d.seen = append(d.seen, reading{t, i, math.Round(min(max(v, 0), 2000))})
		}
	}
	sortReadings(d.seen)
	return d
}

func sortReadings(rs []reading) {
	for i := 1; i < len(rs); i++ { // nearly sorted runs: a merge of few lines
		for j := i; j > 0 && rs[j].hours < rs[j-1].hours; j-- {
			rs[j], rs[j-1] = rs[j-1], rs[j]
		}
	}
}

// score gathers forecasts of ln C at the end against the truth.
type score struct {
	n, held int
	sum2    float64
	low     int // truth below p05
}

func (s *score) add(f Forecast, truth float64) {
	floor := func(x float64) float64 { return math.Log(max(x, 20)) }
	e := floor(f.P50) - floor(truth)
	s.n, s.sum2 = s.n+1, s.sum2+e*e
	if truth >= f.P05 && truth <= f.P95 {
		s.held++
	}
	if truth < f.P05 {
		s.low++
	}
}

func (s *score) rmse() float64  { return math.Sqrt(s.sum2 / float64(s.n)) }
func (s *score) cover() float64 { return float64(s.held) / float64(s.n) }

// onLogPaper is the forecast that people draw: a straight line through ln(ppm)
// of a line's readings after its peak.
func onLogPaper(rs []reading, line int, until, at float64) float64 {
	top, from := 0.0, 0.0
	for _, r := range rs {
		if r.line == line && r.hours <= until && r.ppm > top && r.ppm < 2000 {
			top, from = r.ppm, r.hours
		}
	}
	var n, sx, sy, sxx, sxy float64
	for _, r := range rs {
		if r.line == line && r.hours <= until && r.hours >= from && r.ppm > 0 {
			y := math.Log(r.ppm)
			n, sx, sy, sxx, sxy = n+1, sx+r.hours, sy+y, sxx+r.hours*r.hours, sxy+r.hours*y
		}
	}
	det := n*sxx - sx*sx
	if n < 2 || !(det > 0) {
		return top
	}
	b := (n*sxy - sx*sy) / det
	return math.Exp((sy-b*sx)/n + b*at)
}
