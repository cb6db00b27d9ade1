package decay

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// TestParams: on records that follow the model the figures are found, within
// what their standard errors promise.
func TestParams(t *testing.T) {
	s := New(stack(2))
	_, ok := s.Params()
	require.False(t, ok)
	c := Curve{s.Setup.ppmOf(520), 1.5, 0.15}
	for h := 0.0; h <= 110; h += 1.0 / 6 {
		for l := range 2 {
			s.Observe(h, l, c.At((h-3)/24))
		}
	}
	s.Refit()
	p, ok := s.Params()
	require.True(t, ok)
	for _, v := range []struct {
		got  Value
		want float64
	}{{p.YieldPPM, c.YieldPPM}, {p.ReleasePerDay, 1.5}, {p.LossPerDay, 0.15}} {
		require.InDelta(t, v.want, v.got.Value, 2.5*v.got.SE)
		require.Positive(t, v.got.SE)
	}
	require.InEpsilon(t, c.At((60-3)/24.0), s.Curve(0, 60), 0.01)
	require.Zero(t, s.Curve(0, -1))
	require.Zero(t, s.Curve(7, 60))
	mean, sd := s.ExpectedLnChange(0, 90, 100)
	require.InDelta(t, math.Log(c.At(97./24)/c.At(87./24)), mean, 0.01)
	require.Less(t, sd, 0.1)
	_, sd = s.ExpectedLnChange(0, 0, 100)
	require.True(t, math.IsInf(sd, 1))
}

// TestJoint: the chance that all lines meet the end level is at most that of any
// one of them, and falls with the level.
func TestJoint(t *testing.T) {
	d := simulate(15, 48, 4, 1)
	s := New(d.setup)
	feed(s, d.seen, 48, 12)
	last := 1.0
	for level := 0.0; level < 2000; level += 50 {
		fs, low, ok := s.Forecasts(120, level)
		require.True(t, ok)
		for l, f := range fs {
			require.LessOrEqual(t, low.ChanceMet, f.ChanceMet)
			require.LessOrEqual(t, low.P50, f.P50)
			one, _ := s.Forecast(l, 120, level)
			require.Equal(t, f, one)
		}
		require.LessOrEqual(t, low.ChanceMet, last)
		last = low.ChanceMet
	}
	_, ok := s.Forecast(9, 120, 150)
	require.False(t, ok)
}

// TestForecastFromPriors: a stack none of whose lines ever read still gets a
// forecast, from what is known of the treatment; readings narrow it.
func TestForecastFromPriors(t *testing.T) {
	s := New(stack(1))
	_, ok := s.Lowest(120, 150)
	require.False(t, ok, "not before a refit")
	s.Refit()
	blind, ok := s.Lowest(120, 150)
	require.True(t, ok)
	require.Greater(t, blind.P95/blind.P05, 5.0, "little is known: the interval is wide")
	full := s.Setup.ppmOf(520)
	require.Less(t, blind.P95, full)
	require.InDelta(t, full/4, blind.P50, full/5)
	d := simulate(21, 48, 1, 0)
	d.setup.TempC = s.Setup.TempC
	seeing := New(d.setup)
	feed(seeing, d.seen, 48, 12)
	f, _ := seeing.Lowest(120, 150)
	require.Less(t, f.P95/f.P05, blind.P95/blind.P05/1.5)
}
