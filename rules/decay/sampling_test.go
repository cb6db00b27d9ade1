package decay

import (
	"encoding/json"
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// bare are parameters without lag, mixing, sorption or leakage: what is left is
// release, and what the pump takes.
func bare(yield, release float64) []float64 {
	x := make([]float64, inAdded)
	x[inLoss], x[inLag] = -14, -14 // of exp: nothing
	x[inYield], x[inRelease] = math.Log(yield), math.Log(release)
	return x
}

// TestSamplingLossIsFirstOrder: a well-mixed space of volume V from which Q flows
// away loses C·e^(−Qt/V) (mass balance; the identities of the one-compartment model
// hold with k = Q/V).
func TestSamplingLossIsFirstOrder(t *testing.T) {
	const k, release = 0.12, 1.5
	x := bare(1000, release)
	c := func(days, sampling float64) float64 {
		w := (&told{sampling: sampling}).walk(x)
		return w.to(days).air
	}
	for _, days := range []float64{0.5, 1, 2, 5, 10} {
		want := 1000 * release / (release - k) * (math.Exp(-k*days) - math.Exp(-release*days))
		require.InEpsilon(t, want, c(days, k), 1e-4, "%v days", days)
	}
	require.InEpsilon(t, math.Exp(-k*4), c(16, k)/c(12, k), 1e-5, "when release is over")
	require.InEpsilon(t, 1000, c(12, 0), 1e-4, "nothing is lost without it")
}

// TestSamplingLossAddsToTheFit: two fits of the same readings, one of which knows
// what the pump takes, agree on the loss in all; the one that knows finds the rest.
func TestSamplingLossAddsToTheFit(t *testing.T) {
	const leak, pump = 0.10, 0.15
	truth := Curve{YieldPPM: 1200, Release: 1.3, Loss: leak + pump}
	fit := func(sampling float64) (*State, Params) {
		setup := stack(2)
		setup.DoseG, setup.SamplingLossPerDay = 0, sampling
		s := New(setup)
		for h := 0.25; h <= 96; h += 0.25 {
			for line := range setup.Lines {
				s.Observe(h, line, truth.At((h-2.5)/24)+0.5*math.Sin(7*h))
			}
		}
		s.Refit()
		p, ok := s.Params()
		require.True(t, ok)
		return s, p
	}
	_, blind := fit(0)
	s, knows := fit(pump)
	require.InDelta(t, leak+pump, knows.LossPerDay.Value, 0.05)
	require.InDelta(t, blind.LossPerDay.Value, knows.LossPerDay.Value, 0.05)
	require.Equal(t, pump, knows.Sampling)
	require.InDelta(t, leak, exp(s.Fit.X[inLoss]), 0.05)
	data, err := json.Marshal(s)
	require.NoError(t, err)
	back := new(State)
	require.NoError(t, json.Unmarshal(data, back))
	require.Equal(t, s, back)
	f, ok := s.Forecast(0, 120, 150)
	require.True(t, ok)
	require.InEpsilon(t, truth.At((120-2.5)/24), f.P50, 0.03)
}

// TestSamplingOfATightSheet: when the pump takes more than the sheet loses, a fit
// that knows it is nearer to the truth while the readings say little.
func TestSamplingOfATightSheet(t *testing.T) {
	const pump = 0.5
	truth := Curve{YieldPPM: 1200, Release: 1.3, Loss: 0.04 + pump}
	miss := func(sampling float64) float64 {
		setup := stack(2)
		setup.DoseG, setup.SamplingLossPerDay = 0, sampling
		s := New(setup)
		for h := 0.25; h <= 20; h += 0.25 {
			for line := range setup.Lines {
				s.Observe(h, line, truth.At((h-2.5)/24)+0.5*math.Sin(7*h))
			}
		}
		s.Refit()
		f, ok := s.Forecast(0, 120, 150)
		require.True(t, ok)
		return math.Abs(math.Log(f.P50 / truth.At((120-2.5)/24)))
	}
	require.Less(t, miss(pump), miss(0))
}

// TestSamplingOfNoUse: what cannot be counts as none, what is absurd is held.
func TestSamplingOfNoUse(t *testing.T) {
	for given, want := range map[float64]float64{-1: 0, math.Inf(1): 0, 1e6: mostSampling, 0.2: 0.2} {
		setup := stack(1)
		setup.SamplingLossPerDay = given
		require.Equal(t, want, New(setup).Setup.SamplingLossPerDay, "%v", given)
	}
	setup := stack(1)
	setup.SamplingLossPerDay = math.NaN()
	require.Zero(t, New(setup).Setup.SamplingLossPerDay)
}
