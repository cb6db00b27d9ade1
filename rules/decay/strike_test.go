package decay

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// What was struck is as if it had never been read: here, a pump that stood while the
// cells used up what gas they held (an invented course).
func TestStrike(t *testing.T) {
	course := func(pump bool) *State {
		s := New(Setup{DoseG: 320, GasSpaceM3: 200, TempC: 27, Lines: make([]Line, 3)})
		c := Curve{YieldPPM: 1100, Release: 1.2, Loss: 0.2}
		for h := 1.0; h <= 60; h += 0.25 {
			stands := h > 40 && h <= 42
			for l := range 3 {
				ppm := math.Round(c.At(h / 24))
				if stands && pump {
					ppm = math.Round(ppm * math.Exp(-(h-40)/0.4))
				}
				if !stands || pump {
					s.Observe(h, l, ppm)
				}
			}
			if h == 43 && pump {
				s.Refit()
				s.Strike(-1, 40.1, 42)
				require.True(t, s.Late)
			}
		}
		s.Fit = nil
		s.Refit()
		return s
	}
	struck, never := course(true), course(false)
	require.Equal(t, never.Bins, struck.Bins)
	require.Equal(t, never.Fit.X, struck.Fit.X)
	kept := course(false)
	kept.Late = false
	kept.Strike(1, 200, 300)
	require.False(t, kept.Late)
}
