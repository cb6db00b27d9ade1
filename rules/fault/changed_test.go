package fault

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// Another instrument reads a line from hour 44 on and shows 12 % more or less than the one
// before: within the 5 % that each may be off (common for such cells) and the line's place.
// Told, it is nothing; not told, some of them are taken for a fault of the line.
func TestAnotherInstrument(t *testing.T) {
	told := func(seed uint64, by float64, tell bool) []string {
		k := newStack(seed, 0, 0.05, -0.05, 0).until(44, nil)
		if tell {
			k.note(k.Changed(1, k.test))
		}
		return k.until(90, func(i int, _ float64) (int, float64) {
			if i == 1 {
				return i, by
			}
			return i, 0
		}).events
	}
	silent := 0
	for seed := range uint64(12) {
		for _, by := range []float64{0.12, -0.12} {
			require.Empty(t, told(seed, by, true), "stack %d, %v", seed, by)
			silent += min(len(told(seed, by, false)), 1)
		}
	}
	require.Positive(t, silent, "not told, it shows")
}

// The drift of an instrument is over once another one reads the line.
func TestAnotherInstrumentEndsDrift(t *testing.T) {
	k := newStack(3, 0, 0.1, 0, 0.2).until(68, drift(0.45))
	require.Contains(t, k.take(), "drifting 1")
	k.note(k.Changed(1, k.test))
	require.Equal(t, []string{"drifting 1 over"}, k.take())
	require.False(t, k.test.Out(1))
	require.Empty(t, k.until(100, nil).take())
}
