package scenario

import (
	"math"
	"math/rand/v2"

	"undersheet/rules/decay"
	"undersheet/rules/dose"
)

// source gives one seed's streams of draws, one for each purpose.
type source struct {
	seed   uint64
	family string
}

func newSource(seed uint64, family string) *source { return &source{seed, family} }

// stream returns the draws for a purpose.
func (s *source) stream(purpose string) draws {
	h := uint64(14695981039346656037) // FNV-1a
	for _, b := range []byte(s.family + "/" + purpose) {
		h = (h ^ uint64(b)) * 1099511628211
	}
	return draws{rand.New(rand.NewPCG(s.seed, h))}
}

// draws are random numbers of the shapes that plans need.
type draws struct{ *rand.Rand }

// between is uniform.
func (d draws) between(low, high float64) float64 { return low + (high-low)*d.Float64() }

// ratio is uniform in the logarithm.
func (d draws) ratio(low, high float64) float64 {
	return math.Exp(d.between(math.Log(low), math.Log(high)))
}

// around is log-normal.
func (d draws) around(mid, sdLn float64) float64 { return mid * math.Exp(sdLn*d.NormFloat64()) }

// tail is Student's t with 4 degrees of freedom, scaled to variance 1.
func (d draws) tail() float64 {
	chi2 := 0.0
	for range 4 {
		z := d.NormFloat64()
		chi2 += z * z
	}
	return d.NormFloat64() / math.Sqrt(chi2/4) / math.Sqrt2
}

// shares are n positive numbers that sum to 1 and differ by a factor of up to spread.
func (d draws) shares(n int, spread float64) []float64 {
	out, sum := make([]float64, n), 0.0
	for i := range out {
		out[i] = d.ratio(1, spread)
		sum += out[i]
	}
	for i := range out {
		out[i] /= sum
	}
	return out
}

// about is shares that differ from others by a factor of up to spread.
func (d draws) about(others []float64, spread float64) []float64 {
	out, sum := make([]float64, len(others)), 0.0
	for i, v := range others {
		out[i] = v * d.ratio(1, spread)
		sum += out[i]
	}
	for i := range out {
		out[i] /= sum
	}
	return out
}

// plan is all that is drawn for a treatment before it runs.
type plan struct {
	commodity string
	grams     float64
	space     float64 // m³
	temp      float64 // °C of the grain
	moisture  float64 // %
	every     float64 // hours
	lines     []sensor
	nodeOf    []int // by line
	gas       gasSpace
	trouble   Trouble // Line from 0
	form      draws   // of how it shows
	size      float64 // of that, 0–1
	until     float64
	other     int
	told      []decay.Dose
}

// gasSpace is the stack as a system of mixed nodes.
type gasSpace struct {
	volume   []float64   // share of the gas space, by node
	exchange [][]float64 // flow between nodes, gas spaces per day; symmetric
	edge     []float64   // share of the leakage, by node
	feed     []float64   // share of the dose, by node

	yield, release float64 // ppm, per day at temp
	slow           float64 // share of the dose that is released at a third of that
	lag, ramp      float64 // hours

	leak, sorb, free, bind float64 // per day

	breathing, phase float64 // amplitude of the leak's day, share; its phase
	gust, gustHours  float64 // sd of ln leak that all share; its memory
	local            float64 // sd of ln leak that each node has of its own
	swing            float64 // °C: amplitude of the day under the sheet
	head             float64 // share of the gas space that swings
	core             float64 // share of the swing that the phosphide feels
	drift            float64 // °C per day: sd of the grain's walk
	added            []decay.Dose
	tears            []tear

	still float64 // hours from which gusts are what is expected of them; 0 = never
	pulse pulse   // of weather, to see what it does
}

// tear is more leakage from a node.
type tear struct {
	node         int
	flow         float64 // gas spaces per day
	onset, until float64 // hours
}

// sensor is the instrument of a line.
type sensor struct {
	share, floor  float64 // scatter: share of the value, ppm
	tails         bool
	gain, drift   float64 // ln, ln per day
	spikes        float64 // chance of one
	range_, digit float64 // ppm
	offset        float64 // hours after the round began
}

// The clean family: spreads of its priors (standard deviations of ln yield, of ln
// release, of ln loss, of the lag in days, of sorption and permanent sorption per
// day), and its readings.
const (
	CleanYieldSD   = 0.20
	CleanReleaseSD = 0.35
	CleanLossSD    = 0.70
	CleanLagSD     = 0.12
	CleanSorbSD    = 0.35
	CleanBindSD    = 0.07

	CleanLines = 4
	CleanEvery = 1.0 / 6 // hours
	CleanNoise = 0.03    // of ln C
)

// Middles of the clean family's priors, per day, days and °C.
const (
	cleanRelease = 1.15 // at 25 °C
	cleanLoss    = 0.22
	cleanLag     = 0.104
	cleanFree    = 0.75
	cleanTemp    = 27.0
)

// CleanTruth draws the parameters of a clean treatment.
func CleanTruth(rnd *rand.Rand) *Truth {
	p := cleanPlan(draws{rnd})
	t := p.truth()
	return &t
}

// clean draws a plan of the clean family.
func (s *source) clean() *plan { return cleanPlan(s.stream("plan")) }

func cleanPlan(d draws) *plan {
	p := &plan{commodity: "wheat", temp: cleanTemp, moisture: 12.5, space: 200, grams: 320, every: CleanEvery, nodeOf: make([]int, CleanLines)}
	g := &p.gas
	g.volume, g.edge, g.feed, g.exchange = []float64{1}, []float64{1}, []float64{1}, [][]float64{{0}}
	g.yield = dose.FullPPM(p.grams, p.space, p.temp) * d.around(1, CleanYieldSD)
	g.release = d.around(cleanRelease*warmer(cleanTemp), CleanReleaseSD)
	g.leak = d.around(cleanLoss, CleanLossSD)
	for g.lag = -1; g.lag < 0; {
		g.lag = 24 * (cleanLag + CleanLagSD*d.NormFloat64())
	}
	g.sorb, g.free = math.Abs(CleanSorbSD*d.NormFloat64()), cleanFree
	g.bind = math.Abs(CleanBindSD * d.NormFloat64())
	for range CleanLines {
		p.lines = append(p.lines, sensor{share: CleanNoise})
	}
	return p
}

// warmer is how much faster phosphide releases than at 25 °C.
func warmer(temp float64) float64 { return math.Exp(0.07 * (temp - 25)) }

// commodities and the ranges of their sorption, per day.
var commodities = []struct {
	name             string
	sorb, free, bind [2]float64
}{
	{"milled rice", [2]float64{0.1, 0.3}, [2]float64{0.3, 1}, [2]float64{0.002, 0.03}},
	{"wheat", [2]float64{0.1, 0.5}, [2]float64{0.2, 0.9}, [2]float64{0.005, 0.06}},
	{"maize", [2]float64{0.15, 0.6}, [2]float64{0.2, 0.8}, [2]float64{0.01, 0.08}},
	{"paddy", [2]float64{0.35, 1}, [2]float64{0.1, 0.6}, [2]float64{0.02, 0.12}},
}

// unlike is how far the places under a sheet differ: factors of leakage and dose over
// the gas that stands there, the sd of a place's own gusts at the most, and the hours
// in which neighbours exchange their gas.
type unlike struct{ edge, feed, local, quick, slow float64 }

// The hard family and the uneven one. With the first a plain CUSUM on line ratios finds
// 70 % of the tears that double the loss rate beside a line, in 6 h, at 1 false alarm in
// 500 stack-days.
var (
	hardSheet   = unlike{edge: 1.6, feed: 1.3, local: 0.1, quick: 1.5, slow: 9}
	unevenSheet = unlike{edge: 4, feed: 3, local: 0.2, quick: 1, slow: 6}
)

// hard draws a plan of the hard family, or of another as far as its places differ.
func (s *source) hard(of unlike) *plan {
	d := s.stream("plan")
	c := commodities[d.IntN(len(commodities))]
	p := &plan{commodity: c.name, temp: d.between(21, 34), moisture: d.between(11, 14), space: d.ratio(60, 300), every: 1.0 / 6}
	if d.Float64() < 0.25 {
		p.every = 1.0 / 60
	}
	nominal := d.ratio(700, 4000)
	p.grams = math.Round(100*nominal/dose.FullPPM(100, p.space, p.temp)/10) * 10
	lines := 3 + d.IntN(4)
	nodes := min(lines+1+d.IntN(2), 7) // at least one without a line
	p.nodeOf = d.Perm(nodes)[:lines]
	g := &p.gas
	g.space(d, nodes, of)
	g.yield = dose.FullPPM(p.grams, p.space, p.temp) * d.around(1, hardYieldSD)
	g.release = releases.ratio(d) * warmer(p.temp)
	g.slow, g.lag, g.ramp = slows.draw(d), lags.draw(d), ramps.draw(d)
	g.sorb, g.free, g.bind = d.ratio(c.sorb[0], c.sorb[1]), d.ratio(c.free[0], c.free[1]), d.ratio(c.bind[0], c.bind[1])
	for g.leak = 0; g.leak+g.bind < 0.05 || g.leak+g.bind > 1.2; {
		g.leak = d.around(0.25, hardLeakSD)
	}
	g.weather(d, of)
	for i := range lines {
		p.lines = append(p.lines, hardSensor(d, p.every*float64(i)/float64(lines)))
	}
	return p
}

// space draws nodes on a ring with one link across.
func (g *gasSpace) space(d draws, nodes int, of unlike) {
	g.volume = d.shares(nodes, 3)
	g.edge, g.feed = d.about(g.volume, of.edge), d.about(g.volume, of.feed)
	g.exchange = make([][]float64, nodes)
	for i := range g.exchange {
		g.exchange[i] = make([]float64, nodes)
	}
	link := func(i, j int) {
		if i != j {
			x := 24 / d.ratio(of.quick, of.slow) * 2 / (1/g.volume[i] + 1/g.volume[j])
			g.exchange[i][j], g.exchange[j][i] = x, x
		}
	}
	for i := range nodes {
		link(i, (i+1)%nodes)
	}
	link(0, nodes/2)
}

// span is what a parameter is drawn from, evenly or in its logarithm.
type span struct{ low, high float64 }

func (s span) draw(d draws) float64  { return d.between(s.low, s.high) }
func (s span) ratio(d draws) float64 { return d.ratio(s.low, s.high) }

// sd is the standard deviation of what is drawn evenly, ratioSD that of the logarithm of
// what is drawn evenly in it.
func (s span) sd() float64      { return (s.high - s.low) / math.Sqrt(12) }
func (s span) ratioSD() float64 { return math.Log(s.high/s.low) / math.Sqrt(12) }

// What the hard family is drawn from.
var (
	releases   = span{0.8, 1.6}  // per day at 25 °C
	slows      = span{0, 0.25}   // share of the dose
	lags       = span{1, 5}      // hours
	ramps      = span{0.3, 2}    // hours
	breathings = span{0.05, 0.4} // of the leak
	gusts      = span{0.1, 0.35} // sd of ln leak
	gustsHours = span{0.7, 4}
	swings     = span{2, 10} // °C
	heads      = span{0.1, 0.35}
	cores      = span{0, 0.3}
	drifts     = span{0, 0.6} // °C per day
)

// Standard deviations of ln of yield and leak in the hard family.
const (
	hardYieldSD = 0.20
	hardLeakSD  = 1.0
)

// Standard deviations of ln of an instrument's gain in the hard family, and of its change
// per day.
const (
	GainSD  = 0.025
	DriftSD = 0.003
)

// weather draws what moves the leak and the release.
func (g *gasSpace) weather(d draws, of unlike) {
	g.breathing, g.phase = breathings.draw(d), 2*math.Pi*d.Float64()
	g.gust, g.gustHours, g.local = gusts.draw(d), gustsHours.ratio(d), d.between(0, of.local)
	g.swing, g.head, g.core, g.drift = swings.draw(d), heads.draw(d), cores.draw(d), drifts.draw(d)
}

// hardSensor draws the instrument of a line.
func hardSensor(d draws, offset float64) sensor {
	s := sensor{share: d.between(0.01, 0.04), floor: 1, tails: true, gain: GainSD * d.NormFloat64(), drift: DriftSD * d.NormFloat64(),
		spikes: d.between(0, 0.006), range_: 2000, digit: 1, offset: offset}
	if d.Float64() < 0.2 {
		s.digit = 5
	}
	return s
}

// setup is what the fit is told.
func (p *plan) setup() decay.Setup {
	s := decay.Setup{DoseG: p.grams, GasSpaceM3: p.space, TempC: p.temp, MoisturePct: p.moisture, Commodity: p.commodity, Form: "tablets"}
	for _, l := range p.lines {
		s.Lines = append(s.Lines, decay.Line{Accuracy: 0.05, Resolution: l.digit, DetectionLimit: 1, Range: l.range_})
	}
	return s
}

// truth is what the plan knows of it.
func (p *plan) truth() Truth {
	g := &p.gas
	t := Truth{Gust: g.gust * g.leak, Trouble: p.trouble, Until: p.until, Other: p.other, Loss: p.loss(), Release: g.release, Lag: g.lag,
		Yield: g.yield, Sorb: g.sorb, Free: g.free, Permanent: g.bind}
	for _, l := range p.lines {
		t.Scatter, t.Gain, t.Drift = append(t.Scatter, l.share), append(t.Gain, l.gain), append(t.Drift, l.drift)
	}
	return t
}

// loss is the long-run mean of leakage, breathing and permanent sorption, per day.
func (p *plan) loss() float64 {
	return p.gas.leak + p.gas.bind + p.gas.head*2*p.gas.swing/kelvin
}
