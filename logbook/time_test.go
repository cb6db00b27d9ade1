package logbook

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// Differences are those of package time, also where they do not fit.
func TestTimeSubAsPackageTime(t *testing.T) {
	years := []int{1, 1600, 1970, 2026, 2262, 2400, 9999}
	for _, a := range years {
		for _, b := range years {
			x, y := time.Date(a, 3, 1, 2, 3, 4, 5000, time.UTC), time.Date(b, 5, 6, 7, 8, 9, 10000, time.UTC)
			require.Equal(t, x.Sub(y), At(x).Sub(At(y)), "%d and %d", a, b)
		}
	}
	require.Equal(t, time.Duration(math.MaxInt64), Time(math.MaxInt64).Sub(math.MinInt64))
	require.Equal(t, time.Duration(math.MinInt64), Time(math.MinInt64).Sub(math.MaxInt64))
}
