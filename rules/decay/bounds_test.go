package decay

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// No gas comes from nowhere: 0.5·Y that were added at hour 50 and that nobody told of
// let the gas rise, and however the fit explains that, at no hour from 48 on may it promise
// more than what both doses hold (conservation of mass; twice that, for the lines' gains and
// what the fit errs by).
func TestForecastHoldsNoMoreThanWasLaid(t *testing.T) {
	for seed := range uint64(4) {
		d := simulate(seed, 120, 3, 0)
		c := Curve{d.setup.ppmOf(520), 1.2, 0.25}
		for i, r := range d.seen {
			d.seen[i].ppm = math.Round(r.ppm + 0.5*c.At((r.hours-50-2.5)/24))
		}
		s, rest := New(d.setup), d.seen
		for h := 12.0; h <= 118; h++ {
			rest = feed(s, rest, h, 1)
			low, ok := s.Lowest(120, 150)
			require.True(t, ok)
			if h >= 48 {
				require.Less(t, low.P95, 2*1.5*c.YieldPPM, "seed %d, %v h: %v", seed, h, low)
			}
		}
	}
}

// Lines that show nothing a day after dosing have no gas, or are not read: phosphide gives
// off gas within 1–4 h (Alberta Blue Book p. 409), and no end level is likely to hold.
func TestNothingShownIsNoLateRelease(t *testing.T) {
	for _, lines := range []int{1, 2, 4} {
		s := New(stack(lines))
		for h := 0.25; h <= 30; h += 0.25 {
			for l := range lines {
				s.Observe(h, l, 0)
			}
			if h == math.Floor(h) && h >= 12 {
				s.Update(h)
			}
		}
		low, ok := s.Lowest(120, 150)
		require.True(t, ok)
		require.Less(t, low.ChanceMet, 0.5, "%d lines: %v", lines, low)
	}
}

// One of three instruments fails and stays at the top of its range for two hours, while the
// others read what is there: the forecast goes on as it was from the record without these
// readings, within a factor of 1.5 of its median.
func TestOneFailsAtTheTopOfItsRange(t *testing.T) {
	for seed := range uint64(4) {
		d := simulate(seed, 48, 3, 0)
		for i := range d.setup.Lines {
			d.setup.Lines[i].Range = 5000
		}
		s, without := New(d.setup), New(d.setup)
		all := append(d.seen[:0:0], d.seen...)
		rest := d.seen[:0:0]
		for i, r := range all {
			if r.line == 0 && r.hours > 20 && r.hours < 22 {
				all[i].ppm = d.setup.Lines[0].Range
				continue
			}
			rest = append(rest, r)
		}
		for h := 12.0; h <= 46; h++ {
			all, rest = feed(s, all, h, 1), feed(without, rest, h, 1)
			low, ok := s.Lowest(120, 150)
			require.True(t, ok)
			want, _ := without.Lowest(120, 150)
			require.InDelta(t, math.Log(want.P50), math.Log(low.P50), math.Log(1.5), "seed %d, %v h", seed, h)
		}
	}
}
