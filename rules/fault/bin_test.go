package fault

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"undersheet/rules/decay"
	"undersheet/rules/leak"
)

// TestBin: a bin is 5 minutes. It gives the mean of what each line read in it, a line that
// was not read is left out, and so is a reading of another bin. The mean of four readings
// scatters half as much as one (the standard error of a mean); a reading of 100 ppm to the
// ppm by √(3² + 1²) %, one of no gas by all of it.
func TestBin(t *testing.T) {
	b := NewBin(4)
	for _, ppm := range []float64{98, 102, 99, 101} {
		b.Add(0.01, 0, ppm, false)
	}
	b.Add(0.02, 1, 100, true)
	b.Add(0.03, 3, 0, false)
	b.Add(5.1/60, 2, 500, false) // of the next bin
	require.False(t, b.Over(4.9/60))
	require.True(t, b.Over(5.1/60))
	middle, obs := b.Next(12.0/60, make([]decay.Line, 4))
	require.InDelta(t, 2.5/60, middle, 1e-12)
	one := math.Hypot(0.03, 0.01)
	require.Equal(t, []leak.Obs{{Line: 0, PPM: 100, SDLn: one / 2}, {Line: 1, PPM: 100, SDLn: one, Censored: true}, {Line: 3, PPM: 0, SDLn: 1}}, obs)

	b.Add(0.01, 0, 98, false) // of a bin that is over
	b.Add(11.0/60, 0, 98, false)
	b.Add(11.0/60, 1, 50, false)
	b.Forget(1)
	middle, obs = b.Next(1, []decay.Line{{Resolution: 9.8}, {}, {}, {}})
	require.InDelta(t, 12.5/60, middle, 1e-12, "the bins between were empty")
	require.Len(t, obs, 1)
	require.InDelta(t, math.Hypot(0.03, 0.1), obs[0].SDLn, 1e-12)
}
