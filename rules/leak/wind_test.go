package leak

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
)

// calm is a stack that no wind reaches, of which the fit says so.
func calm(seed uint64) plan {
	p := usual(seed)
	p.gusts, p.swing, p.sorb, p.errs, p.told = 0, 0, false, 0.5, true
	return p
}

// findingTimes is how long it took to find the leak of each world, in hours, in their order.
func findingTimes(n int, of func(uint64) plan) []float64 {
	var out []float64
	for seed := range uint64(n) {
		w, d := of(seed).make(), math.Inf(1)
		for _, e := range w.run(New(Setup{Lines: w.lines}), nil) {
			if e.Kind == Leak && !e.Cleared && e.at >= w.from {
				d = min(d, e.at-w.from)
			}
		}
		out = append(out, d)
	}
	slices.Sort(out)
	return out
}

// TestOutOfTheWind: where the fit tells that no gust blows and the stack shows none, a
// skirt that lifts is found sooner than where that is not known.
func TestOutOfTheWind(t *testing.T) {
	lifts := func(told bool) func(uint64) plan {
		return func(seed uint64) plan {
			p := calm(seed)
			p.from, p.times, p.told = 60+float64(seed%12), 1.7, told
			return p
		}
	}
	const n = 40
	told, not := findingTimes(n, lifts(true)), findingTimes(n, lifts(false))
	t.Logf("half found within %.1f h, three quarters within %.1f h; not told of the calm %.1f and %.1f h", told[n/2], told[3*n/4], not[n/2], not[3*n/4])
	require.Less(t, told[n/2], 0.8*not[n/2])
}

// TestWindGetsUp: a strong wind after days of calm is not called a leak more often where
// the fit told of the calm than where nothing was known of gusts.
func TestWindGetsUp(t *testing.T) {
	gets := func(told bool) float64 {
		s := look(worlds(t, 60, 20), func(seed uint64) plan {
			p := calm(seed)
			p.told, p.gusts, p.swing, p.loss, p.calm = told, 0.5, 0.3, 0.4, 50
			return p
		})
		return s.raised()
	}
	told, not := gets(true), gets(false)
	t.Logf("%.0f leaks where the calm was told, %.0f where it was not", told, not)
	require.LessOrEqual(t, told, not+2*math.Sqrt(not))
}
