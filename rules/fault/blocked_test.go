package fault

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
)

// A blocked tube holds the gas that stood in it, or lets in what is there by now so
// slowly that it lags behind by tau hours, dy/dt = (x − y)/tau: either comes to lie above
// the others as they fall, steadily and for long, and is blocked still. What seeps in is
// told from an instrument that drifts up as the gas falls by a bend no greater than its
// scatter: of 8 stacks two may be taken for one within a day.
func TestBlockedIsNoDrift(t *testing.T) {
	for _, c := range []struct{ tau, until, drifts float64 }{{30, 66, 2}, {math.Inf(1), 100, 0}} {
		blocked, drifts := 0, 0
		for seed := range uint64(8) {
			k := newStack(seed, 0, 0.1, 0, 0.2).until(40, nil)
			held, at := math.Exp(-loss*40/24), 40.0
			k.until(c.until, func(i int, hours float64) (int, float64) {
				if i != 1 {
					return i, 0
				}
				fallen := math.Exp(-loss * hours / 24)
				held, at = held+(hours-at)/c.tau*(fallen-held), hours
				return i, math.Log(held / fallen)
			})
			got := k.take()
			if slices.Contains(got, "blocked 1") {
				blocked++
			}
			if slices.Contains(got, "drifting 1") {
				drifts++
			}
			require.False(t, math.IsInf(c.tau, 1) && slices.Contains(got, "blocked 1 over"), "stack %d", seed)
		}
		require.GreaterOrEqual(t, blocked, 7, "%v h", c.tau)
		require.LessOrEqual(t, drifts, int(c.drifts), "%v h", c.tau)
	}
}
