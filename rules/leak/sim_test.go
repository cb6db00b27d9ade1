package leak

import (
	"math"
	"math/rand/v2"

	"undersheet/rules/decay"
)

// plan is one simulated exposure: an invented stack, not a record (no open record
// of phosphine under a sheet was found). All but what is named is drawn.
type plan struct {
	seed   uint64
	lines  int
	hours  float64 // length
	every  int     // bins between readings: 1 = 5 min, 2 = 10 min
	noise  float64 // of a reading, share
	tied   float64 // correlation of the noise with that 5 minutes before
	gusts  float64 // sd of the loss rate's share, OU over 1.5 h
	calm   float64 // hours until which none blows
	told   bool    // the fit tells how hard they have blown so far
	swing  float64 // amplitude of the daily breathing, share of the loss rate
	sorb   bool    // two-way sorption, which the fit does not know
	mixing float64 // hours after which the slowest line follows
	loss   float64 // per day; 0 = drawn from 0.1–0.4
	errs   float64 // size of the fit's error, 1 = plausible

	from, until float64 // hours of a leak; until 0 = it stays
	times       float64 // loss rate × this
	at          int     // -1 all lines; else beside this line, the others at a third
}

// usual is the plan that most tests take: 3 % noise, 1 ppm rounding,
// gusts, ±20 % of daily breathing.
func usual(seed uint64) plan {
	return plan{seed: seed, lines: 4, hours: 120, every: 1 + int(seed%2), noise: 0.03, gusts: 0.2, swing: 0.2, sorb: seed%3 == 0, mixing: 1, errs: 1, at: -1, times: 1}
}

// world is a plan carried out: what the lines read, by bin, and what a fit says.
type world struct {
	plan
	truth [][]float64 // ppm by bin and line
	seen  [][]Obs
	fit   *roughFit
}

const binHours = 5.0 / 60

func (p plan) make() *world {
	rnd := rand.New(rand.NewPCG(p.seed, 0x6c65616b))
	w := &world{plan: p}
	r := 0.8 + 0.8*rnd.Float64()
	k := 0.1 + 0.3*rnd.Float64()
	if p.loss > 0 {
		k = p.loss
	}
	yield := 500 + 1000*rnd.Float64()
	lag, phase := 2*rnd.Float64()/24, 2*math.Pi*rnd.Float64()
	sorb, free := 0.0, 0.5
	if p.sorb {
		sorb, free = 0.3*rnd.Float64(), 0.3+0.5*rnd.Float64()
	}
	late, factor := make([]float64, p.lines), make([]float64, p.lines)
	for i := range p.lines {
		late[i], factor[i] = p.mixing*rnd.Float64()/24, 0.1*rnd.NormFloat64()
	}
	w.fit = newRoughFit(p, r, k, yield, lag, rnd)
	const dt = 1.0 / 24 / 60
	c, q, gust := 0.0, 0.0, 0.0
	lines, hold, tied := make([]float64, p.lines), make([]float64, p.lines), make([]float64, p.lines)
	keep := math.Exp(-1.0 / 90)
	for n := range int(math.Round(p.hours * 60)) {
		t := float64(n) * dt
		leak := 0.0
		if p.times != 1 && t*24 >= p.from && (p.until == 0 || t*24 < p.until) {
			leak = k * (p.times - 1)
		}
		all := leak
		if p.at >= 0 {
			all = leak / 3
		}
		gust = gust*keep + p.gusts*math.Sqrt(1-keep*keep)*rnd.NormFloat64()
		if t*24 < p.calm {
			gust = 0
		}
		kt := k*max(1+gust+p.swing*math.Sin(2*math.Pi*t+phase), 0) + all
		rel := 0.0
		if u := t - lag; u > 0 {
			rel = yield * r * math.Exp(-r*u)
		}
		c, q = c+dt*(rel-(kt+sorb)*c+free*q), q+dt*(sorb*c-free*q)
		for i := range lines {
			if i == p.at {
				hold[i] -= dt * (leak - all)
			}
			if late[i] > 0.002 {
				lines[i] += (c - lines[i]) * dt / late[i]
			} else {
				lines[i] = c
			}
		}
		if n%5 != 2 {
			continue
		}
		bin := n / 5
		now, obs := make([]float64, p.lines), []Obs{}
		for i := range lines {
			now[i] = lines[i] * math.Exp(factor[i]+hold[i])
			tied[i] = p.tied*tied[i] + math.Sqrt(1-p.tied*p.tied)*rnd.NormFloat64()
			ppm := math.Round(now[i] * math.Exp(p.noise*tied[i]))
			if bin%p.every == 0 {
				obs = append(obs, Obs{Line: i, PPM: ppm, SDLn: math.Hypot(0.03, 1/max(ppm, 1)), Censored: ppm < 1})
			}
		}
		w.truth, w.seen = append(w.truth, now), append(w.seen, obs)
	}
	return w
}

// hoursOf is the middle of a bin.
func hoursOf(bin int) float64 { return (float64(bin) + 0.5) * binHours }

// roughFit stands for the fit: the release-loss curve with parameters that are off
// by an error that shrinks with the record, made anew each hour, and that takes in
// a leak over half a day.
type roughFit struct {
	plan
	r, k, lag  float64 // truth
	zr, zk, zl float64 // its errors, standard normal
	now        float64
	rs, ks     float64 // as estimated, per day
	sr, sk     float64 // sd of their logs
}

func newRoughFit(p plan, r, k, _, lag float64, rnd *rand.Rand) *roughFit {
	return &roughFit{plan: p, r: r, k: k, lag: lag, zr: rnd.NormFloat64(), zk: rnd.NormFloat64(), zl: rnd.NormFloat64()}
}

// refit makes the fit of hours.
func (f *roughFit) refit(hours float64) {
	f.now = hours
	f.sr = f.errs * max(0.35*math.Exp(-(hours-12)/30), 0.03)
	f.sk = f.errs * max(0.60*math.Exp(-(hours-12)/30), 0.03)
	f.rs = f.r * math.Exp(f.sr*f.zr)
	f.ks = f.k * math.Exp(f.sk*f.zk)
	learned := func(from float64) float64 {
		if hours <= from {
			return 0
		}
		return 1 - math.Exp(-(hours-from)/12)
	}
	if f.times != 1 {
		share := learned(f.from)
		if f.until > 0 {
			share -= learned(f.until)
		}
		f.ks += f.k * (f.times - 1) * share
	}
}

func (f *roughFit) ln(t, r, k float64) float64 {
	t = max(t/24-f.lag, 1e-3)
	if math.Abs(r-k) < 1e-6 {
		r = k + 1e-6
	}
	return math.Log((math.Exp(-k*t) - math.Exp(-r*t)) * r / (r - k))
}

// ExpectedLnChange is what the fit says, with the errors of its parameters and a
// floor of 0.015 per day for what it does not know.
func (f *roughFit) ExpectedLnChange(_ int, from, to float64) (mean, sd float64) {
	if f.now < 8 {
		return 0, math.Inf(1)
	}
	d := func(r, k float64) float64 { return f.ln(to, r, k) - f.ln(from, r, k) }
	mean = d(f.rs, f.ks)
	dr := (d(f.rs*1.01, f.ks) - d(f.rs/1.01, f.ks)) / (2 * math.Log(1.01)) * f.sr
	dk := (d(f.rs, f.ks*1.01) - d(f.rs, f.ks/1.01)) / (2 * math.Log(1.01)) * f.sk
	floor := 0.015 * (to - from) / 24
	return mean, math.Sqrt(dr*dr + dk*dk + floor*floor)
}

func (f *roughFit) MeanLnChange(line int, from, to float64) float64 {
	mean, _ := f.ExpectedLnChange(line, from, to)
	return mean
}

func (f *roughFit) LossPerDay() (loss, sdLn float64) { return f.ks, f.sk }

// GustPerDay is what has blown until now, a little at the least; 0 where it is not told.
func (f *roughFit) GustPerDay() float64 {
	switch {
	case !f.told:
		return 0
	case f.now < f.calm:
		return 0.005 * f.ks
	}
	return max(f.gusts, 0.005) * f.ks
}

// timed is an event and when it came.
type timed struct {
	Event
	at float64
}

// run lets a test watch the world; each may change a bin before the test sees it
// or look at the state after.
func (w *world) run(s *State, each func(bin int, obs []Obs) []Obs) (events []timed) {
	for bin, obs := range w.seen {
		if h := hoursOf(bin); math.Floor(h) != math.Floor(h-binHours) {
			w.fit.refit(math.Floor(h))
		}
		if each != nil {
			obs = each(bin, append([]Obs(nil), obs...))
		}
		for _, e := range s.Observe(hoursOf(bin), obs, w.fit) {
			events = append(events, timed{e, hoursOf(bin)})
		}
	}
	return events
}

// days is how long the test of w was live, in stack-days.
func (p plan) days() float64 { return (p.hours - quietHours) / 24 }

// Rises is nothing: a fit of two numbers has no record.
func (*roughFit) Rises() (float64, []decay.Rise) { return 0, nil }
