package decay

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat/distuv"
)

// Simulation-based calibration: of treatments that the fit's own priors and misfit have
// drawn, the true value must be equally likely to have any rank among what the fit
// answers (Talts, Betancourt, Simpson, Vehtari & Gelman 2018, arXiv:1804.06788).

// treatment is one that the fit's own model has drawn.
type treatment struct {
	setup Setup
	seen  []reading
	truth []float64 // ppm of each line at the end
}

// endHours is the end of the exposure, at which the ranks are taken.
const endHours = 120

// flaws are what the fit is not told of the treatments that are drawn for it.
type flaws struct {
	noise float64 // of the readings, over what was drawn
	gain  float64 // of the instruments, over what their accuracy says
	loss  float64 // of ln loss rate, above its prior
	top   float64 // ppm: of the instruments' range, of which the fit is told; 0 = beyond any gas
}

var flawless = flaws{noise: 1, gain: 1}

// drawn draws parameters from the priors and the sizes of the misfit from theirs, and
// lets the treatment happen.
func drawn(seed uint64, lines int, bad flaws) treatment {
	rnd := rand.New(rand.NewPCG(seed, 1804))
	norm := rnd.NormFloat64
	t := treatment{setup: Setup{DoseG: 520, GasSpaceM3: 180, TempC: 27, MoisturePct: 12.5}}
	if bad.top == 0 {
		bad.top = 5000
	}
	for range lines {
		t.setup.Lines = append(t.setup.Lines, Line{Accuracy: 0.05, Resolution: 1, DetectionLimit: 1, Range: bad.top})
	}
	var x []float64
	for _, p := range New(t.setup).priors() {
		x = append(x, p.mean+p.sd*norm())
	}
	x[inLoss] += bad.loss
	var z size
	for k, p := range z.all() {
		pr, d := sizePrior[k], norm()
		if rnd.Float64() < 1/(1+float64(sizeSteeper)) { // above its middle the prior is as much narrower
			d = math.Abs(d) / sizeSteeper
		} else {
			d = -math.Abs(d)
		}
		tries := sizeTries[k]
		*p = min(max(math.Exp(pr.mean+pr.sd*d), tries[0]), tries[len(tries)-1])
	}
	t.run(x, z, rnd, bad)
	return t
}

// run lets the treatment happen in steps of 5 minutes by the equations in [atOffset].
func (t *treatment) run(x []float64, z size, rnd *rand.Rand, bad flaws) {
	norm, lines := rnd.NormFloat64, len(t.setup.Lines)
	m := &model{lines: t.setup.Lines, size: z, inflow: make([]float64, 1), feed: make([]float64, 1)}
	var s [states]float64
	s[atSlow], s[atGust], s[atFeed] = z.Slow*norm(), z.Gust*norm(), feedSD*norm()
	s[atSin], s[atCos] = m.breathing()*norm(), m.breathing()*norm()
	fixed, release, swing, gain := make([]float64, lines), make([]float64, lines), make([]float64, lines), make([]float64, lines)
	for l := range lines {
		fixed[l], release[l], swing[l] = lineFactorSD*norm(), unevenDays*norm(), z.Swing*norm()
		gain[l] = bad.gain * t.setup.Lines[l].gainSD() * norm()
	}
	w := new(told).walk(x)
	m.rate = []float64{w.loss}
	const step = tickHours / 24
	early := 0.0
	for n := 0; ; n++ {
		days := float64(n) * step
		g := w.to(days)
		feed, inflow := w.renewal(g, s[atOffset])
		if n%12 == 0 { // what mixing leaves undone is one for the hour
			f := feed * hourDays
			if g.air <= leastPPM {
				f = 1
			}
			early = (earlyNoise*f + startNoise*f*f) * norm()
		}
		ln := make([]float64, lines)
		for l := range lines {
			ln[l] = math.Log(max(g.air, 1e-6)) + s[atOffset] + feed*(s[atFeed]+release[l]) + fixed[l] + swing[l]
		}
		if n == int(math.Round(endHours/tickHours)) {
			for l := range lines {
				t.truth = append(t.truth, math.Exp(ln[l]))
			}
			return
		}
		if n%3 == 0 {
			for l := range lines {
				t.read(days*24, l, ln[l]+gain[l]+early, bad.noise*z.Noise, rnd)
			}
		}
		m.feed[0], m.inflow[0] = feed, inflow
		p := m.hopTo(0, step)
		p.sin, p.cos = math.Sincos(2 * math.Pi * (days + step/2))
		p.carry(&s)
		move := func(v *float64, sd, stays float64) { *v += sd * math.Sqrt(1-stays*stays) * norm() }
		move(&s[atSlow], z.Slow, p.slow)
		move(&s[atGust], z.Gust, p.gust)
		for l := range lines {
			swing[l] *= p.swing
			move(&swing[l], z.Swing, p.swing)
		}
	}
}

// read takes a reading with Student's t noise of a share, and the floor of the scale.
func (t *treatment) read(hours float64, line int, ln, share float64, rnd *rand.Rand) {
	chi := 0.0
	for range int(tails) {
		v := rnd.NormFloat64()
		chi += v * v
	}
	student := rnd.NormFloat64() / math.Sqrt(chi/tails)
	l := t.setup.Lines[line]
	v := math.Exp(ln+share*student) + noiseFloor*rnd.NormFloat64()
	t.seen = append(t.seen, reading{hours, line, math.Round(min(max(v, 0), l.Range))})
}

// ranks are those of the true end among what the fit answers, as shares, by horizon: of
// one line, and of the lowest of all. Forecasts gives them as one minus the chance that
// the truth is met.
type ranks struct{ line, lowest []float64 }

// calibrate draws treatments from a seed on, and fits each until every horizon.
func calibrate(t *testing.T, seed, n, lines int, bad flaws, horizons ...float64) []ranks {
	t.Helper()
	out := make([]ranks, len(horizons))
	for i := range n {
		d := drawn(uint64(seed+i), lines, bad)
		s, rest := New(d.setup), d.seen
		for k, at := range horizons {
			rest = feed(s, rest, at, 12)
			one, ok := s.Forecast(0, endHours, d.truth[0])
			require.True(t, ok)
			low, _ := s.Lowest(endHours, slices.Min(d.truth))
			out[k].line, out[k].lowest = append(out[k].line, 1-one.ChanceMet), append(out[k].lowest, 1-low.ChanceMet)
		}
	}
	return out
}

// byChance is how often an even sample may be called uneven by one look: 1 in 10,000,
// since TestCalibration looks 36 times.
const byChance = 1e-4

// uneven says why shares are not even between 0 and 1; "" = nothing speaks against it.
// It looks at a histogram of ten bins by Pearson's chi-square, and at the spread of the
// normal scores, whose mean square is 1 ± √(2/n).
func uneven(shares []float64) string {
	n := float64(len(shares))
	var bins [10]float64
	spread := 0.0
	for _, u := range shares {
		bins[min(int(u*10), 9)]++
		z := distuv.UnitNormal.Quantile(min(max(u, 1e-4), 1-1e-4))
		spread += z * z / n
	}
	chi2 := 0.0
	for _, b := range bins {
		chi2 += (b - n/10) * (b - n/10) / (n / 10)
	}
	switch far := math.Abs(spread-1) / math.Sqrt(2/n); {
	case chi2 > distuv.ChiSquared{K: 9}.Quantile(1-byChance):
		return fmt.Sprintf("bins %v: chi-square %.1f", bins, chi2)
	case far > distuv.UnitNormal.Quantile(1-byChance/2):
		return fmt.Sprintf("mean square of the normal scores %.2f", spread)
	}
	return ""
}

// TestCalibration: the fit's intervals hold as often as they say on treatments of its own
// model, with one, two and three lines, a day, two and four days into five. CALIBRATION=1500 draws more of them.
func TestCalibration(t *testing.T) {
	many(t)
	t.Parallel()
	n := 150
	if more := os.Getenv("CALIBRATION"); more != "" {
		var err error
		n, err = strconv.Atoi(more)
		require.NoError(t, err)
	}
	horizons := []float64{24, 48, 96}
	for _, lines := range []int{1, 2, 3} {
		for k, r := range calibrate(t, 1000, n, lines, flawless, horizons...) {
			assert.Empty(t, uneven(r.line), "of a line of %d, from %v h", lines, horizons[k])
			assert.Empty(t, uneven(r.lowest), "of the lowest line of %d, from %v h", lines, horizons[k])
		}
	}
}

// TestCalibrationOverRange: nor do they where the gas is above the range of the
// instruments for days, and readings say no more than that.
func TestCalibrationOverRange(t *testing.T) {
	many(t)
	t.Parallel()
	for _, top := range []float64{300, 900} {
		horizons := []float64{24, 48, 96}
		for k, r := range calibrate(t, 1000, 150, 2, flaws{noise: 1, gain: 1, top: top}, horizons...) {
			assert.Empty(t, uneven(r.line), "below %v ppm, from %v h", top, horizons[k])
			assert.Empty(t, uneven(r.lowest), "of the lowest line, below %v ppm, from %v h", top, horizons[k])
		}
	}
}

// TestCalibrationTells: the same check finds fits that believe what is not so:
// instruments three times as far off as their accuracy says, stacks that lose 2.5 times what
// the prior expects, and intervals half as wide as they should be.
func TestCalibrationTells(t *testing.T) {
	many(t)
	t.Parallel()
	gains := calibrate(t, 1000, 60, 3, flaws{noise: 1, gain: 3}, 96)[0]
	require.NotEmpty(t, uneven(gains.line))
	require.NotEmpty(t, uneven(gains.lowest))
	losses := calibrate(t, 1000, 100, 3, flaws{noise: 1, gain: 1, loss: math.Log(2.5)}, 24)[0]
	require.NotEmpty(t, uneven(losses.line))
	even := make([]float64, 200)
	for i := range even {
		even[i] = (float64(i) + 0.5) / 200
	}
	require.Empty(t, uneven(even))
	for i, u := range even {
		even[i] = distuv.UnitNormal.CDF(2 * distuv.UnitNormal.Quantile(u))
	}
	require.NotEmpty(t, uneven(even))
}

// TestNoiseIsFoundOut: readings twice as noisy as the fit's middle guess are no flaw,
// since it takes the noise from the readings themselves.
func TestNoiseIsFoundOut(t *testing.T) {
	many(t)
	t.Parallel()
	r := calibrate(t, 1000, 40, 3, flaws{noise: 2, gain: 1}, 96)[0]
	require.Empty(t, uneven(r.line))
	require.Empty(t, uneven(r.lowest))
}
