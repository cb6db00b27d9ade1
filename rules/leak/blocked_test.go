package leak

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// An instrument whose last digit flickers between two values stands still all the same
// (from memory of digital displays on a converter that hangs).
func TestStuckButForTheLastDigit(t *testing.T) {
	named := 0
	each(t, 8, func(p *plan) { p.loss = 0.2 }, func(w *world) func(int, []Obs) []Obs {
		at := w.truth[int(55/binHours)][1]
		return between(1, 55, 80, func(bin int, o Obs) Obs {
			o.PPM = float64(int(at)) + float64(bin/2*7%5%2)
			return o
		})
	}, func(seed int, events []timed, _ *State) {
		for _, e := range events {
			require.Equal(t, Blocked, e.Kind, "stack %d", seed)
		}
		if len(events) > 0 && events[0].Line == 1 && events[0].at < 59 {
			named++
		}
	})
	require.GreaterOrEqual(t, named, 7)
}

// Every instrument repeats its last digits, as behind a logger that hangs or cells that
// get no gas and read what stands in them: one stopped pump, no blocked lines, and over
// with the first reading that moves.
func TestAllStandToTheDigit(t *testing.T) {
	each(t, 8, nil, func(*world) func(int, []Obs) []Obs {
		held := map[int]float64{}
		return func(bin int, obs []Obs) []Obs {
			for i, o := range obs {
				if h := hoursOf(bin); h < 55 || h > 63 {
					held[o.Line] = o.PPM
				}
				obs[i].PPM = held[o.Line]
			}
			return obs
		}
	}, func(seed int, events []timed, _ *State) {
		require.Equal(t, []string{"pump-stop `", "pump-stop cleared `"}, short(events), "stack %d", seed)
		require.InDelta(t, 55, events[0].Onset, 0.5)
		require.LessOrEqual(t, events[0].at, 57.5)
		require.InDelta(t, 63, events[1].at, 0.5)
	})
}

// A line whose newest readings are the same to the digit is not said to fall by them.
func TestStuckLineDoesNotFall(t *testing.T) {
	s := &State{Lines: []line{{Still: still{Same: sameDigits + 1}}, {}}}
	require.True(t, s.doubtful(found{line: 0, z: 20}))
	require.False(t, s.doubtful(found{line: -1, z: 20}))
}
