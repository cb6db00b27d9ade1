package decay

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// exactly is a fit of a stack whose readings are a curve without noise.
func exactly(t *testing.T, c Curve, lag, until float64) *State {
	t.Helper()
	s := New(stack(2))
	for h := 0.0; h <= until; h += 0.5 {
		for l := range 2 {
			s.Observe(h, l, c.At((h-lag)/24))
		}
	}
	for range 12 {
		s.Refit()
	}
	return s
}

// TestTopUpAgainstTheCurve: by superposition of the release-loss curve (Bateman 1910)
// a top-up of g grams at hour a adds g/dose·C(T − a); the answer must bring the curve
// over the level, with a margin that the uncertainty explains, and not absurdly.
func TestTopUpAgainstTheCurve(t *testing.T) {
	s := New(stack(2))
	c := Curve{s.Setup.ppmOf(520), 1.5, 0.6}
	s = exactly(t, c, 2.5, 60)
	low, ok := s.Lowest(120, 300)
	require.True(t, ok)
	require.Less(t, low.ChanceMet, 0.2)
	grams, ok := s.TopUp(62, 120, 300, 0.95)
	require.True(t, ok)
	least := 520 * (300 - c.At((120-2.5)/24)) / c.At((120-62-2.5)/24)
	require.Greater(t, grams, least)
	require.Less(t, grams, 1.8*least)
	chance, ok := s.ChanceWith(grams, 62, 120, 300)
	require.True(t, ok)
	require.GreaterOrEqual(t, chance, 0.95)
	fewer, _ := s.ChanceWith(grams-mostTopUp*520/250, 62, 120, 300)
	require.Less(t, fewer, 0.95, "the least that does")
	none, _ := s.ChanceWith(0, 62, 120, 300)
	require.InDelta(t, low.ChanceMet, none, 1e-9)
	late, ok := s.LatestTopUp(grams*1.3, 62, 120, 300, 0.95)
	require.True(t, ok)
	require.Greater(t, late, 62.0)
	require.Less(t, late, 120.0, "gas takes hours to come")
	_, ok = s.TopUp(119, 120, 300, 0.95)
	require.False(t, ok, "too late")
	enough, ok := s.TopUp(62, 120, 5, 0.95)
	require.True(t, ok)
	require.Zero(t, enough)
}

// TestExpectedCTPAgainstTheCurve: against the integral of the curve in closed form.
func TestExpectedCTPAgainstTheCurve(t *testing.T) {
	s := New(stack(2))
	c := Curve{s.Setup.ppmOf(520), 1.5, 0.25}
	s = exactly(t, c, 2.5, 96)
	got, ok := s.ExpectedCTP(12, 120)
	require.True(t, ok)
	want := c.CTP((120-2.5)/24) - c.CTP((12-2.5)/24)
	for _, v := range got {
		require.InEpsilon(t, want, v, 0.02)
	}
	_, ok = s.ExpectedCTP(20, 10)
	require.False(t, ok)
	held, ok := s.LongestHeld(100, 300, 150, 0.95)
	require.True(t, ok)
	require.Greater(t, c.At((held-2.5)/24), 150.0)
	require.Less(t, c.At((held+24-2.5)/24), 150.0)
}
