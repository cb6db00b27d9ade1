package scenario

import (
	"math"
	"math/rand/v2"
	"slices"
)

// Unknowns are what nobody is told of a stack, as far as it is linear: what each of its own
// parameters and each stretch of weather moves its course without weather by.
type Unknowns struct {
	Stack   []Trace   // of each parameter, per standard deviation of what it is drawn from
	Weather []Weather // gusts that all share, those of each node, and how warm the phosphide is

	local float64 // the most that a node's own gusts may be
}

// Trace is ln of a line's concentration, or a change of it, by line and at the middle of
// each hour.
type Trace [][]float64

// Weather is a process that moves a stack.
type Weather struct {
	Moves  []Trace // of each stretch, per unit: of the leakage, or °C
	Hours  float64 // of a stretch
	SD     float64 // in units; of a walk, per square root of a day
	Memory float64 // hours, of an Ornstein–Uhlenbeck process; 0 = a walk
}

// Hours of stretches of weather: about as long as it lasts.
const (
	gustStretch  = 1.0
	localStretch = 2.0
	warmStretch  = 6.0
)

// Cov is the covariance of the means of the process over two stretches.
func (w Weather) Cov(i, j int) float64 {
	if w.Memory == 0 {
		since := float64(min(i, j)) + 0.5
		if i == j {
			since = float64(i) + 1.0/3
		}
		return w.SD * w.SD * w.Hours / 24 * since
	}
	x := w.Hours / w.Memory
	if i == j {
		return w.SD * w.SD * 2 * (x + math.Expm1(-x)) / (x * x)
	}
	apart := (math.Abs(float64(i-j)) - 1) * w.Hours
	mean := -math.Expm1(-x) / x
	return w.SD * w.SD * math.Exp(-apart/w.Memory) * mean * mean
}

// pulse is a stretch of weather.
type pulse struct {
	from, until float64 // hours; until 0 = there is none
	node        int     // anywhere, or the one
	wind, warm  float64 // share of the leakage, °C
}

const anywhere = -1

func (p *pulse) blows(node int, hours float64) float64 {
	if p.node != anywhere && p.node != node || hours < p.from || hours >= p.until {
		return 0
	}
	return p.wind
}

func (p *pulse) warms(hours float64) float64 {
	if hours < p.from || hours >= p.until {
		return 0
	}
	return p.warm
}

// Steps by which what is unknown is moved, to see what it does: small against where it is
// not linear, large against rounding.
const (
	stackStep = 0.25 // standard deviations
	windStep  = 0.3  // of the leakage
	warmStep  = 1.0  // °C
)

// Unknowns are those of the stack without its trouble.
func (r *Record) Unknowns() Unknowns {
	s := newSource(r.Seed, r.family)
	p := s.plan()
	p.befall(Trouble{}, s.stream("trouble"))
	u, mean := Unknowns{}, p.course()
	for _, k := range p.knobs(r.family) {
		at := func(steps float64) Trace {
			q := *p
			q.gas = p.gas.clone()
			k.turn(&q.gas, steps*stackStep*k.sd)
			return q.course()
		}
		u.Stack = append(u.Stack, at(1).less(at(-1), 2*stackStep))
	}
	if r.family == clean {
		return u
	}
	u.local = hardSheet.local
	if r.family == uneven {
		u.local = unevenSheet.local
	}
	g := &p.gas
	u.Weather = append(u.Weather, p.weather(mean, pulse{node: anywhere, wind: windStep}, windStep, Weather{Hours: gustStretch, SD: g.gust, Memory: g.gustHours}))
	for i := range g.volume {
		u.Weather = append(u.Weather, p.weather(mean, pulse{node: i, wind: windStep}, windStep, Weather{Hours: localStretch, SD: g.local, Memory: g.gustHours}))
	}
	u.Weather = append(u.Weather, p.weather(mean, pulse{node: anywhere, warm: warmStep}, warmStep, Weather{Hours: warmStretch, SD: g.drift}))
	return u
}

// Usual are the unknowns where how hard gusts blow, and for how long, is not known of the
// stack: as they are on most.
func (u Unknowns) Usual() Unknowns {
	u.Weather = slices.Clone(u.Weather)
	for i := range u.Weather {
		w := &u.Weather[i]
		switch {
		case w.Memory == 0: // no gusts
		case i == 0:
			w.SD, w.Memory = (gusts.low+gusts.high)/2, math.Sqrt(gustsHours.low*gustsHours.high)
		default:
			w.SD, w.Memory = u.local/2, math.Sqrt(gustsHours.low*gustsHours.high)
		}
	}
	return u
}

// weather fills a process with what each of its stretches does.
func (p *plan) weather(mean Trace, of pulse, step float64, w Weather) Weather {
	for of.from = 0; of.from < Hours; of.from += w.Hours {
		of.until = of.from + w.Hours
		q := *p
		q.gas.pulse = of
		w.Moves = append(w.Moves, q.course().less(mean, step))
	}
	return w
}

// course is the plan's without gusts, at the middles of the hours.
func (p *plan) course() Trace {
	q := *p
	q.gas.still = stepHours / 2
	t := Truth{minutes: q.simulate(draws{rand.New(rand.NewPCG(0, 0))}).tracks(q.nodeOf)}
	out := make(Trace, len(t.minutes))
	for l := range out {
		for h := 0.5; h < Hours; h++ {
			out[l] = append(out[l], math.Log(math.Max(t.PPM(l, h), leastTrace)))
		}
	}
	return out
}

// leastTrace is the ppm at which traces end, before gas comes.
const leastTrace = 1e-3

// less is how far a trace lies from another, over a step.
func (t Trace) less(other Trace, step float64) Trace {
	for l := range t {
		for h := range t[l] {
			t[l][h] = (t[l][h] - other[l][h]) / step
		}
	}
	return t
}

// knob turns one parameter of a stack.
type knob struct {
	sd   float64 // of what it is drawn from
	turn func(g *gasSpace, by float64)
}

// scales turns a parameter by its logarithm, and moves by itself.
func scales(sd float64, of func(g *gasSpace) *float64) knob {
	return knob{sd, func(g *gasSpace, by float64) { *of(g) *= math.Exp(by) }}
}

func moves(sd float64, of func(g *gasSpace) *float64) knob {
	return knob{sd, func(g *gasSpace, by float64) { *of(g) += by }}
}

// knobs are the parameters that a family draws, as [cleanPlan] and [source.hard] do. The
// phase of the day is nearly free.
func (p *plan) knobs(family string) []knob {
	yield, release := func(g *gasSpace) *float64 { return &g.yield }, func(g *gasSpace) *float64 { return &g.release }
	leak, lag := func(g *gasSpace) *float64 { return &g.leak }, func(g *gasSpace) *float64 { return &g.lag }
	sorb, bind := func(g *gasSpace) *float64 { return &g.sorb }, func(g *gasSpace) *float64 { return &g.bind }
	free := func(g *gasSpace) *float64 { return &g.free }
	if family == clean {
		return []knob{scales(CleanYieldSD, yield), scales(CleanReleaseSD, release), scales(CleanLossSD, leak), moves(24*CleanLagSD, lag),
			moves(CleanSorbSD, sorb), moves(CleanBindSD, bind)}
	}
	of := hardSheet
	if family == uneven {
		of = unevenSheet
	}
	ks := []knob{scales(hardYieldSD, yield), scales(releases.ratioSD(), release), scales(hardLeakSD, leak), moves(lags.sd(), lag),
		moves(slows.sd(), func(g *gasSpace) *float64 { return &g.slow }), moves(ramps.sd(), func(g *gasSpace) *float64 { return &g.ramp }),
		moves(breathings.sd(), func(g *gasSpace) *float64 { return &g.breathing }), moves(1, func(g *gasSpace) *float64 { return &g.phase }),
		moves(swings.sd(), func(g *gasSpace) *float64 { return &g.swing }), moves(heads.sd(), func(g *gasSpace) *float64 { return &g.head }),
		moves(cores.sd(), func(g *gasSpace) *float64 { return &g.core })}
	for _, c := range commodities {
		if c.name == p.commodity {
			ks = append(ks, scales(span{c.sorb[0], c.sorb[1]}.ratioSD(), sorb), scales(span{c.free[0], c.free[1]}.ratioSD(), free), scales(span{c.bind[0], c.bind[1]}.ratioSD(), bind))
		}
	}
	for i := range p.gas.volume {
		ks = append(ks, scales(span{1, of.edge}.ratioSD(), func(g *gasSpace) *float64 { return &g.edge[i] }),
			scales(span{1, of.feed}.ratioSD(), func(g *gasSpace) *float64 { return &g.feed[i] }))
		for j := range i {
			if p.gas.exchange[i][j] > 0 {
				ks = append(ks, knob{span{of.quick, of.slow}.ratioSD(), func(g *gasSpace, by float64) {
					g.exchange[i][j] *= math.Exp(by)
					g.exchange[j][i] = g.exchange[i][j]
				}})
			}
		}
	}
	return ks
}

// clone is a gas space whose lists are its own.
func (g gasSpace) clone() gasSpace {
	g.edge, g.feed = append([]float64(nil), g.edge...), append([]float64(nil), g.feed...)
	exchange := g.exchange
	g.exchange = nil
	for _, row := range exchange {
		g.exchange = append(g.exchange, append([]float64(nil), row...))
	}
	return g
}
