package leak_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"undersheet/rules/decay"
	"undersheet/rules/leak"
)

var _ leak.Expecter = (*decay.State)(nil)

// TestWithTheFit runs the test on the fit of this program, made anew each hour as
// the daemon does: nothing while nothing leaks, and a loss rate of three times the
// old one within hours, three of four within twelve, although the fit takes it in.
func TestWithTheFit(t *testing.T) {
	if testing.Short() {
		t.Skip("some seconds of refits")
	}
	soon := 0
	for seed := range uint64(4) {
		w := leak.NewTestWorld(seed, 110, 3, 60)
		setup := decay.Setup{TempC: 25}
		for range 4 {
			setup.Lines = append(setup.Lines, decay.Line{Accuracy: 0.05, Resolution: 1, DetectionLimit: 1, Range: 5000})
		}
		fit, s := decay.New(setup), leak.New(leak.Setup{Lines: 4})
		found := math.Inf(1)
		for bin, obs := range w.Seen() {
			h := (float64(bin) + 0.5) / 12
			if bin%12 == 0 && h > 8 {
				fit.Refit()
			}
			for _, o := range obs {
				fit.Observe(h, o.Line, o.PPM)
			}
			for _, e := range s.Observe(h, obs, fit) {
				require.Equal(t, leak.Leak, e.Kind)
				require.Greater(t, h, 60.0, "seed %d: a false alarm", seed)
				if !e.Cleared {
					found = min(found, h)
				}
			}
		}
		t.Logf("stack %d: found after %.1f h", seed, found-60)
		require.LessOrEqual(t, found, 84.0, "seed %d", seed)
		if found <= 72 {
			soon++
		}
	}
	require.GreaterOrEqual(t, soon, 3)
}
