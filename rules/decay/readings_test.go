package decay

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// TestLateReadings: readings that come late land where they belong.
func TestLateReadings(t *testing.T) {
	d := simulate(9, 60, 2, 0)
	inOrder, late := New(d.setup), New(d.setup)
	var held []reading
	for _, r := range d.seen {
		inOrder.Observe(r.hours, r.line, r.ppm)
		if r.line == 1 && r.hours > 10 && r.hours < 40 {
			held = append(held, r)
			continue
		}
		late.Observe(r.hours, r.line, r.ppm)
	}
	for i := range held { // newest first
		r := held[len(held)-1-i]
		late.Observe(r.hours, r.line, r.ppm)
	}
	inOrder.Refit()
	late.Refit()
	a, _, _ := inOrder.Forecasts(120, 150)
	b, _, _ := late.Forecasts(120, 150)
	for l := range a {
		require.InEpsilon(t, a[l].P50, b[l].P50, 0.02)
		require.InEpsilon(t, a[l].P05, b[l].P05, 0.04)
	}
	require.Zero(t, late.Refused)
}

// TestCensored: readings below the detection limit and at the top of the range
// count for what they say.
func TestCensored(t *testing.T) {
	run := func(top, limit float64) Forecast {
		d := simulate(4, 60, 1, 0)
		d.setup.Lines[0].Range, d.setup.Lines[0].DetectionLimit = top, limit
		s := New(d.setup)
		for _, r := range d.seen {
			s.Observe(r.hours, r.line, min(r.ppm, top))
		}
		s.Refit()
		f, ok := s.Forecast(0, 80, 150)
		require.True(t, ok)
		return f
	}
	free := run(2000, 1)
	cut := run(free.P50*1.05, 1) // saturated for most of the time
	require.Less(t, cut.P05, free.P95)
	require.Greater(t, cut.P95, free.P05)
	top := run(100, 1) // always saturated: more than 100 ppm is all that is known
	require.Greater(t, top.P50, 100.0)
	gone := New(stack(1))
	for h := 0.0; h < 60; h += 0.5 {
		gone.Observe(h, 0, 0)
	}
	gone.Refit()
	f, ok := gone.Forecast(0, 80, 150)
	require.True(t, ok)
	require.Less(t, f.ChanceMet, 0.05, "%+v", f)
}

// TestSpikeAmongCensored: one low reading of a line that is otherwise over its range
// says nothing, though no other reading of that day has a value.
func TestSpikeAmongCensored(t *testing.T) {
	run := func(spike float64) Forecast {
		setup := stack(3)
		setup.DoseG *= 5000 / setup.ppmOf(setup.DoseG)
		s, c := New(setup), Curve{4500, 1.2, 0.25}
		for h := 0.0; h < 72; h += 1.0 / 6 {
			for l := range 3 {
				ppm := math.Min(math.Round(c.At((h-3)/24)), 2000)
				if l == 1 && h > 70.9 && h < 71.1 {
					ppm = spike
				}
				s.Observe(h, l, ppm)
			}
		}
		for range 3 {
			s.Refit()
		}
		checkSane(t, s)
		f, ok := s.Lowest(120, 150)
		require.True(t, ok)
		return f
	}
	clean, wild := run(2000), run(700)
	require.InEpsilon(t, clean.P50, wild.P50, 0.05)
	require.InEpsilon(t, clean.P05, wild.P05, 0.3)
	end := Curve{4500, 1.2, 0.25}.At(117.0 / 24)
	require.True(t, clean.P05 < end && end < clean.P95, "%.0f in %+v", end, clean)
}

// TestSpikes: a few wild readings change little.
func TestSpikes(t *testing.T) {
	d := simulate(6, 72, 3, 0)
	clean, wild := New(d.setup), New(d.setup)
	for i, r := range d.seen {
		clean.Observe(r.hours, r.line, r.ppm)
		if i%37 == 5 {
			r.ppm *= 3
		}
		wild.Observe(r.hours, r.line, r.ppm)
	}
	clean.Refit()
	wild.Refit()
	a, _ := clean.Forecast(1, 120, 150)
	b, _ := wild.Forecast(1, 120, 150)
	require.InEpsilon(t, a.P50, b.P50, 0.05)
	require.Positive(t, wild.Spikes)
}

func TestHandReading(t *testing.T) {
	d := simulate(12, 48, 1, 0)
	s := New(d.setup)
	for _, r := range d.seen {
		if math.Mod(r.hours, 12) < 0.01 {
			s.ObserveHand(r.hours, r.line, r.ppm, 0.1)
		}
	}
	s.ObserveHand(30, 0, 500, math.NaN())
	s.Refit()
	wide, ok := s.Forecast(0, 120, 150)
	require.True(t, ok)
	full := New(d.setup)
	feed(full, d.seen, 48, 12)
	narrow, _ := full.Forecast(0, 120, 150)
	require.Greater(t, wide.P95/wide.P05, narrow.P95/narrow.P05)
}
