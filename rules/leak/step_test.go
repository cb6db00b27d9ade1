package leak

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// leaksIn counts the leaks that were raised.
func leaksIn(events []timed) (n int) {
	for _, e := range events {
		if e.Kind == Leak && !e.Cleared {
			n++
		}
	}
	return n
}

// from changes what some lines read from an hour on.
func from(hour float64, change func(hours float64, o Obs) float64) func(*world) func(int, []Obs) []Obs {
	return func(*world) func(int, []Obs) []Obs {
		return func(bin int, obs []Obs) []Obs {
			if h := hoursOf(bin); h >= hour {
				for i, o := range obs {
					obs[i].PPM = math.Round(o.PPM * math.Exp(change(h, o)))
				}
			}
			return obs
		}
	}
}

// A line that reads less from one reading to the next, and then goes on beside the others,
// may have a new place or an instrument that was set anew (common practice: a calibration
// moves an instrument by 5 to 10 %). Most are taken for a leak beside it, before more
// readings tell; no other line is, nor the stack.
func TestLineStepsDown(t *testing.T) {
	each(t, 16, nil, from(60, func(_ float64, o Obs) float64 {
		return -0.08 * bit(o.Line == 2)
	}), func(seed int, events []timed, _ *State) {
		for _, e := range events {
			require.Equal(t, 2, e.Line, "stack %d: %v", seed, e)
		}
	})
}

// All lines a few per cent less at once: a pump that stood still runs again. No leak.
func TestAllStepDown(t *testing.T) {
	leaks := 0
	each(t, 16, nil, from(60, func(float64, Obs) float64 { return -0.08 }), func(_ int, events []timed, _ *State) { leaks += leaksIn(events) })
	require.LessOrEqual(t, leaks, 2)
}

// A leak that begins with a fall at once is a leak all the same: a sheet that tears open
// beside a line (from memory: gas near a hole thins within minutes, the stack follows at
// a rate of its own).
func TestLeakThatBeginsAtOnce(t *testing.T) {
	found := 0
	each(t, 12, func(p *plan) { p.loss = 0.15 }, from(60, func(hours float64, o Obs) float64 {
		return -0.9*(hours-60)/24 - 0.08*bit(o.Line == 2)
	}), func(_ int, events []timed, _ *State) {
		for _, e := range events {
			if e.Kind == Leak && e.at > 60 && e.at < 72 {
				found++
				break
			}
		}
	})
	require.GreaterOrEqual(t, found, 11)
}

// A line that was blocked for hours while the gas fell reads less at once when it is free
// again: where it stood before is no leak.
func TestLineFreeAgain(t *testing.T) {
	leaks := 0
	each(t, 16, func(p *plan) { p.loss = 0.15 }, func(w *world) func(int, []Obs) []Obs {
		held := w.truth[int(60/binHours)][2]
		return func(bin int, obs []Obs) []Obs {
			if h := hoursOf(bin); h > 60 && h < 70 {
				for i, o := range obs {
					if o.Line == 2 {
						obs[i].PPM = math.Round(o.PPM * held / w.truth[bin][2])
					}
				}
			}
			return obs
		}
	}, func(_ int, events []timed, _ *State) { leaks += leaksIn(events) })
	require.LessOrEqual(t, leaks, 1)
}

// Cells that use up what stands in them when the pump stops do so alike; a wild reading
// among them, or lines that are read in turn, make no leak of it and no line that came off.
func TestPumpStopReadInTurn(t *testing.T) {
	for _, minutes := range []float64{12, 24} { // e-folding times, from memory of electrochemical cells
		each(t, 8, func(p *plan) { p.every = 1 }, func(*world) func(int, []Obs) []Obs {
			return func(bin int, obs []Obs) []Obs {
				h := hoursOf(bin)
				for i, o := range obs {
					if h > 50 && h < 56 {
						obs[i].PPM = math.Round(o.PPM * math.Exp(-(h-50)*60/minutes))
						obs[i].Censored = obs[i].PPM < 1
					}
					if o.Line == 0 && bin == int(50.5/binHours) {
						obs[i].PPM *= 3
					}
				}
				return obs[bin%2*2 : min(bin%2*2+2, len(obs))] // two lines at a time
			}
		}, func(seed int, events []timed, _ *State) {
			require.Equal(t, []string{"pump-stop `", "pump-stop cleared `"}, short(events), "%v min, stack %d", minutes, seed)
		})
	}
}

// A step in points without noise is found where it is, and a change of rate is none.
func TestAtOnce(t *testing.T) {
	read := func(f func(at float64) float64) []series {
		p := series{variance: 1e-4}
		for i := range 24 {
			at := float64(i) / 6
			p.at, p.ln = append(p.at, at), append(p.ln, f(at))
		}
		return []series{p}
	}
	d := atOnce(read(func(at float64) float64 { return 5 - 0.1*bit(at > 2.05) }))
	require.InDelta(t, 2.08, d.at, 0.01)
	require.InDelta(t, 0.1, d.by, 1e-9)
	require.Greater(t, d.lead, 10.0)
	d = atOnce(read(func(at float64) float64 { return 5 - 0.1*max(at-2, 0) }))
	require.Less(t, d.lead, -10.0)
	d = atOnce(read(func(float64) float64 { return 5 }))
	require.InDelta(t, 0, d.z, 1e-9)
	require.Zero(t, atOnce(nil).z)
}
