package decay

import (
	"encoding/json"
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// hourly observes readings until an hour, with an Update at every full one.
func hourly(s *State, rs []reading, until float64) []reading {
	for len(rs) > 0 && rs[0].hours <= until {
		if h := math.Floor(rs[0].hours); h > math.Floor(s.Newest) && h >= 2 {
			s.Update(h)
		}
		s.Observe(rs[0].hours, rs[0].line, rs[0].ppm)
		rs = rs[1:]
	}
	return rs
}

// again is a copy of a state, through JSON.
func again(t *testing.T, s *State) *State {
	t.Helper()
	data, err := json.Marshal(s)
	require.NoError(t, err)
	back := new(State)
	require.NoError(t, json.Unmarshal(data, back))
	return back
}

// TestRunningAgreesWithRefit: a posterior that runs on says what a refit of the same
// hours says. The standard error of the median of 256 independent draws is 0.08 of
// their standard deviation, √(π/2n) (large-sample theory); draws that weigh unlike and
// hang together count for fewer.
func TestRunningAgreesWithRefit(t *testing.T) {
	ran, off := 0, 0.0
	for seed := uint64(1); seed <= 3; seed++ {
		d := simulate(seed, 120, 3, 0.5)
		s, rest := New(d.setup), d.seen
		for _, at := range []float64{29, 41, 53, 71, 89} {
			rest = hourly(s, rest, at+0.01)
			if s.Fit.Run == 0 {
				continue
			}
			ran++
			anew := again(t, s)
			anew.refit(int(at))
			run, _ := s.Lowest(120, 150)
			fit, _ := anew.Lowest(120, 150)
			sd := math.Log(fit.P95/fit.P05) / 3.29
			off += math.Abs(math.Log(run.P50/fit.P50)) / sd
			require.InDelta(t, 0, math.Log(run.P50/fit.P50)/sd, 1, "seed %d at %v h", seed, at)
		}
	}
	require.Greater(t, ran, 6, "the posterior has hardly run: the test shows nothing")
	require.Less(t, off/float64(ran), 0.35, "in standard deviations, on the mean")
}

// TestRunningThroughSnapshots: a fit that is written and read back at any hour runs on
// to the same bits.
func TestRunningThroughSnapshots(t *testing.T) {
	d := simulate(3, 60, 3, 0.5)
	whole, cut, a, b := New(d.setup), New(d.setup), d.seen, d.seen
	for at := 20.0; at <= 60; at++ {
		a, b = hourly(whole, a, at), hourly(cut, b, at)
		cut = again(t, cut)
	}
	require.Positive(t, whole.Fit.Run)
	x, low, _ := whole.Forecasts(120, 150)
	y, low2, _ := cut.Forecasts(120, 150)
	require.Equal(t, x, y)
	require.Equal(t, low, low2)
}

// TestRunningEnds: what came late or was told, and an hour that was not foretold, make
// the fit anew.
func TestRunningEnds(t *testing.T) {
	d := simulate(3, 72, 3, 0.5)
	s := New(d.setup)
	at := 40.0
	rest := hourly(s, d.seen, at)
	runsOn := func() bool { // over the next hour
		next := again(t, s)
		h := float64(next.Fit.taken() + 1)
		hourly(next, rest, h-0.01)
		next.Update(h)
		return next.Fit.Run > 0
	}
	for s.Fit.Run == 0 || !runsOn() {
		at++
		require.Less(t, at, 66.0, "it never runs on")
		rest = hourly(s, rest, at)
	}
	h := s.Fit.taken() + 1
	hourly(s, rest, float64(h)-0.01)
	for what, do := range map[string]func(*State){
		"a late reading": func(s *State) { s.Observe(float64(h)-5, 1, 100) },
		"an added dose":  func(s *State) { s.AddDose(float64(h)-0.5, 50) },
		"a mended leak": func(s *State) {
			s.LossChanged(float64(h)-9, Value{})
			s.LossMended(float64(h) - 0.5)
		},
		"a change of loss":        func(s *State) { s.LossChanged(float64(h)-0.5, Value{}) },
		"an hour of half the gas": func(s *State) { halve(s, h-1) },
	} {
		other := again(t, s)
		do(other)
		other.Update(float64(h))
		require.Zero(t, other.Fit.Run, what)
		require.False(t, other.Late, what)
	}
	other := again(t, s)
	other.Update(float64(h))
	require.Positive(t, other.Fit.Run, "without any of that it runs on")
	s.LossChanged(float64(h)-0.5, Value{}) // in an hour that the next fit does not take in yet
	s.Update(float64(h) - 1)
	s.Update(float64(h))
	require.Zero(t, s.Fit.Run, "a change of loss in the running hour")
}

// halve takes half the gas from what the lines showed from an hour on.
func halve(s *State, hour int) {
	for _, bs := range s.Bins {
		for i := range bs {
			if float64(bs[i].at)*tickHours >= float64(hour) {
				bs[i].ppm /= 2
			}
		}
	}
}
