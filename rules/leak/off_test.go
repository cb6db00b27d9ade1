package leak

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// comingOff lets a line draw more and more of the store's air, from 50 h on, until after the
// hours that it takes it draws nothing else, until 70 h.
func comingOff(line int, takes float64) func(*world) func(int, []Obs) []Obs {
	return func(*world) func(int, []Obs) []Obs {
		return between(line, 50, 70, func(bin int, o Obs) Obs {
			o.PPM = math.Round(o.PPM * max(1-(hoursOf(bin)-50)/takes, 0))
			if o.PPM < 1 {
				o.PPM, o.Censored = 0, true
			}
			return o
		})
	}
}

// A line that comes off over an hour or two looks like a tear beside it at first. When it is
// said to be off no leak stands any more at that line, and what it made of the stack's level on
// its way is neither a leak of the stack nor a line that stands still.
func TestLineThatComesOffOverAnHour(t *testing.T) {
	for _, takes := range []float64{0.5, 1, 1.5, 2} {
		each(t, 12, nil, comingOff(2, takes), func(seed int, events []timed, s *State) {
			off := 0
			for _, e := range events {
				off += int(bit(e.Kind == LineOff && !e.Cleared && e.Line == 2))
				require.False(t, e.Kind != LineOff && e.Line != 2, "%v h, stack %d: %v", takes, seed, short(events))
			}
			require.Equal(t, 1, off, "%v h, stack %d: %v", takes, seed, short(events))
			require.Nil(t, s.Raised, "%v h, stack %d: %v", takes, seed, short(events))
		})
	}
}

// A line that is put back while all read over the range reads the gas again.
func TestLineIsBackOverTheRange(t *testing.T) {
	each(t, 4, nil, func(*world) func(int, []Obs) []Obs {
		return func(bin int, obs []Obs) []Obs {
			h := hoursOf(bin)
			for i := range obs {
				switch {
				case h >= 40 && h < 50 && obs[i].Line == 2:
					obs[i].PPM, obs[i].Censored = 0, true
				case h >= 45 && h < 60:
					obs[i].PPM, obs[i].Censored = math.Round(obs[i].PPM), true
				}
			}
			return obs
		}
	}, func(seed int, events []timed, _ *State) {
		require.Equal(t, []string{"line-off c", "line-off cleared c"}, short(events), "stack %d", seed)
		require.InDelta(t, 50, events[1].at, 1)
	})
}

// All lines at nothing from the first reading after a gap on, and back: the pump had stopped.
func TestPumpStopsInAGap(t *testing.T) {
	each(t, 8, nil, func(*world) func(int, []Obs) []Obs {
		return func(bin int, obs []Obs) []Obs {
			switch h := hoursOf(bin); {
			case h > 50 && h < 54:
				return nil
			case h >= 54 && h < 57:
				for i := range obs {
					obs[i].PPM, obs[i].SDLn = 1.5, 0.5
				}
			}
			return obs
		}
	}, func(seed int, events []timed, _ *State) {
		require.Equal(t, []string{"pump-stop `", "pump-stop cleared `"}, short(events), "stack %d", seed)
		_, since, ok := events[0].Misled()
		require.True(t, ok)
		require.LessOrEqual(t, since, 54.0)
		require.InDelta(t, 57, events[1].at, 0.4)
	})
}

// A stopped pump that shows to the digit is not over because one line gives one other figure.
func TestOneFigureEndsNoStop(t *testing.T) {
	each(t, 4, nil, func(*world) func(int, []Obs) []Obs {
		held := map[int]float64{}
		return func(bin int, obs []Obs) []Obs {
			h := hoursOf(bin)
			for i, o := range obs {
				if h < 55 || h > 63 {
					held[o.Line] = o.PPM
				}
				if obs[i].PPM = held[o.Line]; o.Line == 1 && h > 59 && h < 59.1 {
					obs[i].PPM *= 1.4
				}
			}
			return obs
		}
	}, func(seed int, events []timed, _ *State) {
		require.Equal(t, []string{"pump-stop `", "pump-stop cleared `"}, short(events), "stack %d", seed)
		require.InDelta(t, 63, events[1].at, 0.5)
	})
}

// A stop that shows to the digit is over when the pump runs again, though half of the lines then
// draw air, read over the range, or are blocked: else nothing more would be told of the stack.
func TestStopEndsForTheLinesThatAreLeft(t *testing.T) {
	for name, c := range map[string]struct {
		left func(o *Obs, stood float64)
		more []string
	}{
		"off":            {func(o *Obs, _ float64) { o.PPM, o.Censored = 0, true }, nil},
		"over the range": {func(o *Obs, _ float64) { o.PPM, o.Censored = 2000, true }, nil},
		"blocked":        {func(o *Obs, stood float64) { o.PPM = stood }, []string{"blocked c", "blocked d"}},
	} {
		each(t, 4, nil, func(*world) func(int, []Obs) []Obs {
			stood := map[int]float64{}
			return func(bin int, obs []Obs) []Obs {
				for i := range obs {
					o := &obs[i]
					o.PPM = math.Round(o.PPM)
					switch h := hoursOf(bin); {
					case h < 55:
						stood[o.Line] = o.PPM
					case h < 63:
						o.PPM = stood[o.Line]
					case o.Line >= 2:
						c.left(o, stood[o.Line])
					}
				}
				return obs
			}
		}, func(seed int, events []timed, s *State) {
			require.Equal(t, append([]string{"pump-stop `", "pump-stop cleared `"}, c.more...), short(events), "%s, stack %d", name, seed)
			require.InDelta(t, 63.5, events[1].at, 1, "%s, stack %d", name, seed)
			require.Nil(t, s.Held)
		})
	}
}
