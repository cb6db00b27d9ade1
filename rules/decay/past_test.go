package decay

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// TestPastIsWhatWasRead: where readings were, the middle that is drawn follows them
// and the fan is narrow, also after a loss rate that rose and a dose that was added;
// superposition of release-loss curves (Bateman 1910), loss 0.2 per day, and 1.2 from
// hour 60 to 66. Readings scatter by 2 %.
func TestPastIsWhatWasRead(t *testing.T) {
	s := New(stack(2))
	c := Curve{s.Setup.ppmOf(520), 1.5, 0.2}
	more := Curve{s.Setup.ppmOf(200), 1.5, 0.2}
	lost := func(h float64) float64 { return exp(-min(max(h-60, 0), 6) / 24) }
	truth := func(h float64) float64 { return c.At((h-2.5)/24)*lost(h) + more.At((h-69-2.5)/24) }
	for h := 0.0; h <= 100; h += 0.5 {
		switch h {
		case 61, 66:
			s.LossChanged(h, Value{})
		case 69:
			s.AddDose(h, 200)
		}
		for l := range 2 {
			s.Observe(h, l, truth(h)*(1+0.02*math.Sin(7*h+float64(l))))
		}
		if h > 12 && h == math.Floor(h) {
			s.Refit()
		}
	}
	for h := 12.0; h <= 99; h += 3 {
		f, ok := s.Forecast(0, h, 150)
		require.True(t, ok)
		require.InEpsilon(t, truth(h), f.P50, 0.04, "hour %v", h)
		require.Less(t, f.P95/f.P05, 1.15, "hour %v: what was read is not open any more", h)
	}
}
