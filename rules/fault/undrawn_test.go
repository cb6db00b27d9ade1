package fault

import (
	"encoding/json"
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"undersheet/rules/leak"
)

// empty lets a line read air until an hour.
func empty(line int, until float64) func(int, float64) (int, float64) {
	return func(i int, hours float64) (int, float64) {
		if i == line && hours < until {
			return i, math.Log(0.001)
		}
		return i, 0
	}
}

// A line that was never connected shows air while the others show gas: it is told once
// gas is everywhere, 8 hours after dosing (from memory), as a line that is off since then, and
// is over when it reads gas. Through JSON it goes on as it was.
func TestLineThatNeverDrew(t *testing.T) {
	for lines := 2; lines <= 6; lines++ {
		k := newStack(uint64(lines), make([]float64, lines)...)
		require.Empty(t, k.until(7.9, empty(1, 40)).take(), "%d lines", lines)
		require.Equal(t, []string{"line-off 1"}, k.until(9, empty(1, 40)).take(), "%d lines", lines)
		require.Zero(t, k.drops[0].Onset)
		require.True(t, k.test.Out(1))
		data, err := json.Marshal(k.State)
		require.NoError(t, err)
		k.State = new(State)
		require.NoError(t, json.Unmarshal(data, k.State))
		require.Empty(t, k.until(39.9, empty(1, 40)).take(), "%d lines", lines)
		require.Equal(t, []string{"line-off 1 over"}, k.until(120, empty(1, 40)).take(), "%d lines", lines)
		require.False(t, k.test.Out(1))
	}
}

// A line that shows less than the others, a tenth of them, draws their gas; one that shows
// none while nothing is there yet tells nothing; and one that comes off later is the leak
// test's to tell.
func TestThinGasIsDrawn(t *testing.T) {
	require.Empty(t, newStack(1, 0, math.Log(0.1), 0, 0).until(60, nil).events)
	require.Empty(t, newStack(2, math.Log(0.05), math.Log(0.05), math.Log(0.001)).until(20, nil).events, "45 ppm at the others are not enough")
	off := newStack(3, 0, 0, 0).until(40, func(i int, hours float64) (int, float64) {
		if i == 1 && hours >= 30 {
			return i, math.Log(0.001)
		}
		return i, 0
	})
	require.Equal(t, []string{"line-off 1"}, off.events)
	require.Greater(t, off.drops[0].Onset, 29.0)
}

// Read three times a day, a line that comes off is told at its third reading of air and is over
// at its third of gas, the morning's included: the leak test finds its levels anew after each
// night. What all lines do together is no line that is off.
func TestLineOffAmongFewReadings(t *testing.T) {
	run := func(air func(line int, day int) bool) []string {
		k := newStack(1, 0, 0.1, 0, 0)
		for day := range 5 {
			for _, hour := range []float64{2, 7, 11} {
				var obs []leak.Obs
				h := 24*float64(day) + hour
				for i := range k.levels {
					ppm := 900 * math.Exp(k.levels[i]-loss*h/24)
					if air(i, day) {
						ppm = 0
					}
					obs = append(obs, leak.Obs{Line: i, PPM: math.Round(ppm), SDLn: 0.03, Censored: ppm == 0})
				}
				k.note(k.Observe(h, obs, k.test, knowing{}))
			}
		}
		return k.events
	}
	require.Equal(t, []string{"line-off 2", "line-off 2 over"}, run(func(line, day int) bool { return line == 2 && (day == 1 || day == 2) }))
	require.Empty(t, run(func(_, day int) bool { return day == 2 }), "all lines")
}

// Of two lines one instrument fails and stays at the top of its range, 5,000 ppm (common
// practice: cells fail high or low). The other reads what is there to the end, a twentieth of
// that, and is on; one that was never connected is told beside it all the same.
func TestTopOfRangeIsNoMeasure(t *testing.T) {
	run := func(first float64) []string {
		k := newStack(1, 0, 0)
		for h := 1.0 / 6; h < 190; h += 1.0 / 6 {
			read := math.Round(first * math.Exp(-loss*h/24) * (1 + 0.03*k.rnd.NormFloat64()))
			k.note(k.Observe(h, []leak.Obs{{Line: 0, PPM: 5000, SDLn: 0.03, Censored: true}, {Line: 1, PPM: read, SDLn: 0.03}}, k.test, knowing{}))
		}
		return k.events
	}
	require.Empty(t, run(900))
	require.Equal(t, []string{"line-off 1"}, run(0))
}
