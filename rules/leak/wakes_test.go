package leak

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// stands lets all lines read on, to the digit, what they read at 60 h, until an hour.
func stands(w *world, until float64, after func(hours float64, o Obs) Obs) func(int, []Obs) []Obs {
	return func(bin int, obs []Obs) []Obs {
		h := hoursOf(bin)
		for i, o := range obs {
			if h > 60 && h < until {
				obs[i].PPM = math.Round(w.truth[int(60/binHours)][o.Line])
			}
			if h >= until {
				obs[i] = after(h, o)
			}
		}
		return obs
	}
}

// A pump that stood is over however it ends: after half a day in which nothing was read,
// and when no gas is left as it runs again.
func TestStandingEnds(t *testing.T) {
	leaks := func(hours float64, o Obs) Obs {
		if hours > 90 {
			o.PPM = math.Round(o.PPM * math.Exp(-2*(hours-90)/24))
		}
		return o
	}
	gone := func(_ float64, o Obs) Obs { return Obs{Line: o.Line, SDLn: o.SDLn, Censored: true} }
	each(t, 4, func(p *plan) { p.loss, p.hours = 0.4, 110 }, func(w *world) func(int, []Obs) []Obs {
		read := stands(w, 66, leaks)
		return func(bin int, obs []Obs) []Obs {
			if h := hoursOf(bin); h >= 66 && h < 79 {
				return nil
			}
			return read(bin, obs)
		}
	}, func(seed int, events []timed, s *State) {
		require.False(t, s.Out(0), "stack %d", seed)
		require.Equal(t, 1, leaksIn(events), "stack %d", seed)
	})
	each(t, 6, func(p *plan) { p.loss, p.hours = 0.4, 90 }, func(w *world) func(int, []Obs) []Obs {
		return stands(w, 66, gone)
	}, func(seed int, events []timed, s *State) {
		require.False(t, s.Out(0), "stack %d: %v", seed, short(events))
	})
}

// The end of a stopped pump is told also where phosphine was added while it stood.
func TestStandingEndsWithADose(t *testing.T) {
	each(t, 4, func(p *plan) { p.loss, p.hours = 0.4, 63 }, func(w *world) func(int, []Obs) []Obs {
		return stands(w, 64, nil)
	}, func(seed int, events []timed, s *State) {
		require.Equal(t, []string{"pump-stop `"}, short(events), "stack %d", seed)
		s.DoseAdded(63)
		got := s.Observe(63.5, nil, nil)
		require.Len(t, got, 1)
		require.True(t, got[0].Kind == PumpStop && got[0].Cleared)
		require.Empty(t, s.Observe(63.6, nil, nil))
	})
}

// A pump that stood hides no more than the gas loses meanwhile: what falls at once again
// and again, or by a third, is lost gas.
func TestFallsAtOnceAreNotHiddenForEver(t *testing.T) {
	for name, fall := range map[string]func(hours float64) float64{
		"a little, again and again": func(h float64) float64 { return -0.14 * (1 + math.Floor((h-60)/3)) },
		"a third":                   func(float64) float64 { return -0.4 },
	} {
		found := 0
		each(t, 8, func(p *plan) { p.loss = 0.2 }, from(60, func(hours float64, _ Obs) float64 { return fall(hours) }),
			func(_ int, events []timed, _ *State) { found += min(leaksIn(events), 1) })
		require.GreaterOrEqual(t, found, 7, name)
	}
}
