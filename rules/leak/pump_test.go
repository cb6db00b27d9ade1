package leak

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// usedUp is a pump that stands from 50 to 56 h while the cells use up the gas that stands in
// them.
func usedUp(*world) func(int, []Obs) []Obs {
	return func(bin int, obs []Obs) []Obs {
		if h := hoursOf(bin); h > 50 && h < 56 {
			for i := range obs {
				obs[i].PPM = math.Round(obs[i].PPM * math.Exp(-(h-50)/0.4))
				obs[i].Censored = obs[i].PPM < 1
			}
		}
		return obs
	}
}

// Lines that all go alike to nothing within the hour, as when the pump stops and
// the cells use up the gas that stands in them, are no leak and no line that came
// off.
func TestPumpStop(t *testing.T) {
	each(t, 8, nil, usedUp, func(seed int, events []timed, _ *State) {
		require.Equal(t, []string{"pump-stop `", "pump-stop cleared `"}, short(events), "stack %d", seed)
		require.InDelta(t, 50.3, events[0].Onset, 0.3)
		require.LessOrEqual(t, events[0].at, 52.0)
		require.InDelta(t, 56, events[1].at, 0.3)
	})
}

// A pump stands for so short a time that the cells use up half of what stands in them, or
// nothing is read just when they would show it: that all lines are back tells it.
func TestShortPumpStop(t *testing.T) {
	each(t, 8, nil, func(*world) func(int, []Obs) []Obs {
		return func(bin int, obs []Obs) []Obs {
			if h := hoursOf(bin); h > 50 && h < 50.7 {
				for i := range obs {
					obs[i].PPM = math.Round(obs[i].PPM * math.Exp(-(h-50)/0.7))
				}
			}
			return obs
		}
	}, func(seed int, events []timed, _ *State) {
		require.Equal(t, []string{"pump-stop `", "pump-stop cleared `"}, short(events), "stack %d", seed)
		line, since, ok := events[0].Misled()
		require.True(t, ok)
		require.Negative(t, line)
		require.InDelta(t, 50.1, since, 0.3)
		require.InDelta(t, 51, events[1].at, 0.4)
	})
}

// While the pump stands, no line draws the stack's gas, and the pump is what is wrong.
func TestLinesAreOutWhileThePumpStands(t *testing.T) {
	for until, out := range map[float64]bool{49: false, 54: true, 60: false} {
		each(t, 2, func(p *plan) { p.hours = until }, usedUp, func(seed int, _ []timed, s *State) {
			for line := range s.Lines {
				require.Equal(t, out, s.Out(line), "stack %d, after %v h", seed, until)
				require.Empty(t, s.Cause(line))
			}
		})
	}
}

// pumpStands lets all lines read, from 60 h until another, what stood in them then, of which
// the cells use up a share each hour.
func pumpStands(until, use float64) func(*world) func(int, []Obs) []Obs {
	return func(w *world) func(int, []Obs) []Obs {
		stands := make([]float64, w.lines)
		return func(bin int, obs []Obs) []Obs {
			for i, o := range obs {
				now := w.truth[bin][o.Line]
				switch h := hoursOf(bin); {
				case h <= 60:
					stands[o.Line] = now
				case h < until:
					obs[i].PPM = math.Round(o.PPM * stands[o.Line] / now * math.Exp(-use*(h-60)))
				}
			}
			return obs
		}
	}
}

// Lines that all stand still while the gas falls, as when the pump stops and the gas in
// them is not used up, are a stopped pump; that they fall at once when it runs again is
// no leak.
func TestPumpStopsAndLinesStand(t *testing.T) {
	named := 0
	each(t, 8, func(p *plan) { p.loss = 0.35 }, pumpStands(70, 0), func(seed int, events []timed, _ *State) {
		for _, e := range events {
			require.Equal(t, PumpStop, e.Kind, "stack %d", seed)
		}
		if len(events) == 2 && math.Abs(events[0].Onset-60) < 4 && math.Abs(events[1].at-70) < 1.5 {
			named++
		}
	})
	require.GreaterOrEqual(t, named, 6)
}

// A pump stands while the cells use up 1 % an hour of the gas in them, more than the sheet
// loses: when it runs again all lines rise at once to what is there and fall as before. No
// pump stands after that, though for a while the level lies above what was expected.
func TestPumpThatRunsAgainStandsNoMore(t *testing.T) {
	wrong := 0
	each(t, 8, func(p *plan) { p.loss = 0.15 }, pumpStands(72, 0.01), func(_ int, events []timed, _ *State) {
		for _, e := range events {
			if e.Kind == PumpStop && !e.Cleared && e.at > 72.5 {
				wrong++
			}
		}
	})
	require.LessOrEqual(t, wrong, 1)
}
