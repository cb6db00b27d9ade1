package decay

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// feed observes readings until an hour, with a refit every so many hours and at
// the end, and returns the readings that are left.
func feed(s *State, rs []reading, until, every float64) []reading {
	for len(rs) > 0 && rs[0].hours <= until {
		if math.Floor(s.Newest/every) != math.Floor(rs[0].hours/every) {
			s.Refit()
		}
		s.Observe(rs[0].hours, rs[0].line, rs[0].ppm)
		rs = rs[1:]
	}
	s.Refit()
	return rs
}

// marks are the hours at which forecasts are scored.
var marks = []float64{24, 48, 72, 96}

// tally scores forecasts of the end of five days over simulated depots.
type tally struct {
	ours, lowest, paper [4]score
}

func (c *tally) run(seed uint64, ease float64) {
	d := simulate(seed, 120, 4, ease)
	s, rest := New(d.setup), d.seen
	end := len(d.truth[0]) - 1
	for m, at := range marks {
		rest = feed(s, rest, at, 12)
		fs, low, _ := s.Forecasts(120, 150)
		least := math.Inf(1)
		for l, f := range fs {
			truth := d.truth[l][end]
			least = min(least, truth)
			c.ours[m].add(f, truth)
			c.paper[m].add(Forecast{P50: onLogPaper(d.seen, l, at, 120)}, truth)
		}
		c.lowest[m].add(low, least)
	}
}

// many skips a test that only says something over many simulated depots.
func many(t *testing.T) {
	if testing.Short() {
		t.Skip("statistics over many simulated depots: run without -short")
	}
}

// TestForecastHolds: the 90 % interval holds about as often as it says, and the
// middle beats the line that people draw on log paper, on simulated records that
// are richer than the model (ease 1) and on ones that follow it (ease 0). The
// ceilings on the error are about a quarter above what was measured on 120
// seeds; a plain fit with priors is known to reach 0.45/0.25/0.17/0.13 on hard
// records of another simulation.
func TestForecastHolds(t *testing.T) {
	many(t)
	const seeds = 10
	for _, c := range []struct {
		ease    float64
		ceiling [4]float64
	}{{0, [4]float64{0.40, 0.16, 0.09, 0.03}}, {1, [4]float64{0.50, 0.25, 0.14, 0.08}}} {
		t.Run(fmt.Sprintf("ease %v", c.ease), func(t *testing.T) {
			t.Parallel()
			var sum tally
			for seed := range seeds {
				sum.run(uint64(seed), c.ease)
			}
			var lines, lowest score
			for m, at := range marks {
				o := &sum.ours[m]
				t.Logf("at %v h: rmse of ln C %.3f (log paper %.3f), interval holds %.2f, of the lowest line %.2f",
					at, o.rmse(), sum.paper[m].rmse(), o.cover(), sum.lowest[m].cover())
				require.Equal(t, 4*seeds, o.n)
				require.Less(t, o.rmse(), c.ceiling[m])
				require.Less(t, o.rmse(), sum.paper[m].rmse())
				require.GreaterOrEqual(t, o.cover(), 0.80, "at %v h", at)
				lines.n, lines.held = lines.n+o.n, lines.held+o.held
				lowest.n, lowest.held = lowest.n+sum.lowest[m].n, lowest.held+sum.lowest[m].held
			}
			require.GreaterOrEqual(t, lines.cover(), 0.82)
			require.GreaterOrEqual(t, lowest.cover(), 0.80)
		})
	}
}

// TestChanceHolds: of the forecasts that give a chance, about that share comes
// true (reliability, by three classes).
func TestChanceHolds(t *testing.T) {
	many(t)
	var n, met, chance [3]float64
	for seed := range 24 {
		d := simulate(uint64(100+seed), 120, 3, 1)
		s := New(d.setup)
		feed(s, d.seen, 36, 36)
		for _, level := range []float64{150, 300, 450, 600, 800} {
			_, low, ok := s.Forecasts(120, level)
			require.True(t, ok)
			all := 1.0
			for l := range d.truth {
				if d.truth[l][len(d.truth[l])-1] < level {
					all = 0
				}
			}
			c := min(int(low.ChanceMet*3), 2)
			n[c], met[c], chance[c] = n[c]+1, met[c]+all, chance[c]+low.ChanceMet
		}
	}
	for c := range n {
		t.Logf("chance %.2f: met %.2f of %v", chance[c]/n[c], met[c]/n[c], n[c])
		require.Greater(t, n[c], 10.0)
		require.InDelta(t, chance[c]/n[c], met[c]/n[c], 0.22)
	}
}

// TestExpectedLnChange: what the fit expects of the next hours is what comes,
// within its standard deviation.
func TestExpectedLnChange(t *testing.T) {
	many(t)
	var n, z2, inside float64
	for seed := range 10 {
		d := simulate(uint64(200+seed), 120, 4, 1)
		s, rest := New(d.setup), d.seen
		for _, at := range []float64{30, 50, 70, 90} {
			rest = feed(s, rest, at, 20)
			for l := range d.truth {
				mean, sd := s.ExpectedLnChange(l, at, at+6)
				got := math.Log(d.truth[l][int(12*(at+6))] / d.truth[l][int(12*at)])
				require.Greater(t, sd, 0.0)
				z := (got - mean) / sd
				n, z2 = n+1, z2+z*z
				if math.Abs(z) < 1.645 {
					inside++
				}
			}
		}
	}
	t.Logf("rms of the standardised error %.2f, %.2f within 90 %%", math.Sqrt(z2/n), inside/n)
	require.InDelta(t, 0.8, math.Sqrt(z2/n), 0.5)
	require.GreaterOrEqual(t, inside/n, 0.85)
}

// TestTornSheet: a leak that opens on day 3 is followed, sooner when it is told.
func TestTornSheet(t *testing.T) {
	many(t)
	var told, untold, before score
	var last struct {
		depot
		fit *State
	}
	for seed := range 10 {
		d := torn(uint64(seed), 120, 4, 1, 60, 120, 0.6)
		a, b := New(d.setup), New(d.setup)
		rest := feed(a, d.seen, 60, 20)
		feed(b, d.seen, 60, 20)
		end := len(d.truth[0]) - 1
		add := func(sc *score, s *State) {
			fs, _, _ := s.Forecasts(120, 150)
			for l, f := range fs {
				sc.add(f, d.truth[l][end])
			}
		}
		add(&before, a)
		feed(b, rest, 66, 1)
		b.LossChanged(60, Value{})
		feed(a, rest, 72, 1)
		for len(rest) > 0 && rest[0].hours <= 66 {
			rest = rest[1:]
		}
		feed(b, rest, 72, 1)
		add(&untold, a)
		add(&told, b)
		last.depot, last.fit = d, b
	}
	for h := 12.0; h < 72; h += 6 {
		require.InEpsilon(t, last.truth[0][int(12*h)], last.fit.Curve(0, h), 0.15, "the curve of the past at %v h", h)
	}
	t.Logf("rmse of ln C: before %.2f, 12 h after %.2f, when told %.2f", before.rmse(), untold.rmse(), told.rmse())
	require.Less(t, untold.rmse(), before.rmse()/2)
	require.Less(t, told.rmse(), untold.rmse())
}

func BenchmarkRefit(b *testing.B) {
	d := simulate(3, 120, 6, 1)
	s := New(d.setup)
	for _, r := range d.seen {
		s.Observe(r.hours, r.line, r.ppm)
	}
	s.Refit()
	b.Run("hourly", func(b *testing.B) {
		for b.Loop() {
			s.Fit.Refits = 0
			s.Refit()
		}
	})
	b.Run("fromNothing", func(b *testing.B) {
		for b.Loop() {
			s.Fit = nil
			s.Refit()
		}
	})
	b.Run("forecastsOfSixLines", func(b *testing.B) {
		for b.Loop() {
			s.Forecasts(120, 150)
		}
	})
}

func BenchmarkObserve(b *testing.B) {
	for _, days := range []float64{1, 20} {
		b.Run(fmt.Sprintf("afterDays%v", days), func(b *testing.B) {
			s := New(Setup{Lines: make([]Line, 6)})
			h := 0.0
			for ; h < 24*days; h += tickHours {
				for l := range 6 {
					s.Observe(h, l, 500)
				}
			}
			n := 0
			for b.Loop() {
				s.Observe(h+float64(n%6000)/600, n%6, 500)
				n++
			}
		})
	}
}

// TestMendedSheet: a fit that is told that a leak was mended forecasts the end more
// closely than one that is told of any change, and its 90 % intervals hold (of 80
// forecasts of 20 stacks: eight in ten, by common practice).
func TestMendedSheet(t *testing.T) {
	many(t)
	var told, changed score
	for seed := range 20 {
		d := torn(uint64(300+seed), 120, 4, 1, 60, 68, 1.5)
		a := New(d.setup)
		rest := feed(a, d.seen, 60, 20)
		rest = feed(a, rest, 64, 1)
		a.LossChanged(60, Value{})
		rest = feed(a, rest, 70, 1)
		b := again(t, a)
		a.LossMended(68)
		b.LossChanged(68, Value{})
		end := len(d.truth[0]) - 1
		for s, sc := range map[*State]*score{a: &told, b: &changed} {
			feed(s, rest, 71, 1)
			fs, _, _ := s.Forecasts(120, 150)
			for l, f := range fs {
				sc.add(f, d.truth[l][end])
			}
		}
	}
	t.Logf("3 h after: rmse of ln C %.2f, holds %.2f; when told of any change %.2f, %.2f", told.rmse(), told.cover(), changed.rmse(), changed.cover())
	require.Less(t, told.rmse(), changed.rmse()/1.5)
	require.GreaterOrEqual(t, told.cover(), 0.8)
}

// TestSweeps: gas that comes at a steady rate makes an offset of ln C be forgotten as
// the balance dC/dt = F − kC has it: e^z − 1 falls by e^(−gt) (closed form).
func TestSweeps(t *testing.T) {
	const g, step = 2.0, 1e-3
	for _, z0 := range []float64{-0.7, -0.2, -1e-9, 0.3, 1} {
		z := z0
		for n := 0.0; n < 500; n++ {
			z -= g * sweeps(z) * z * step
		}
		require.InDelta(t, math.Log1p(math.Expm1(z0)*math.Exp(-g*0.5)), z, 1e-3)
	}
}
