package decay

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
)

// The standard library's sort says what stands where.
func TestRankIsThatOfTheSortedList(t *testing.T) {
	rnd := rand.New(rand.NewPCG(1, 2))
	for range 2000 {
		xs := make([]float64, 2+rnd.IntN(40))
		for i := range xs {
			if xs[i] = math.Floor(20 * rnd.Float64()); rnd.IntN(30) == 0 { // many are equal
				xs[i] = math.Inf(1 - 2*rnd.IntN(2))
			}
		}
		sorted, i := slices.Sorted(slices.Values(xs)), rnd.IntN(len(xs))
		rank(xs, i)
		require.Equal(t, sorted[i], xs[i])
		require.LessOrEqual(t, slices.Max(xs[:i+1]), xs[i])
		require.GreaterOrEqual(t, slices.Min(xs[i:]), xs[i])
		require.Equal(t, sorted, slices.Sorted(slices.Values(xs)), "they are the same numbers")
	}
}
