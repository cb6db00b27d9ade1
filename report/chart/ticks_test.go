package chart

import (
	"testing"

	"github.com/stretchr/testify/require"
)

func TestTicks(t *testing.T) {
	require.Equal(t, []float64{0, 24, 48, 72, 96, 120}, hourTicks(axis{min: 0, max: 120}, 6))
	require.Equal(t, []float64{0, 50, 100, 150}, valueTicks(axis{min: 0, max: 190}, 5))
	require.Equal(t, []float64{1, 2, 5, 10, 20, 50, 100}, valueTicks(axis{min: 1, max: 100, log: true}, 5))
	require.Equal(t, "0.3", short(0.30000000000000004))
	require.Equal(t, "1500", short(1500))
	require.Equal(t, "0,3", newDrawing(&Chart{Lang: "fr"}).short(0.3), "French figures have a decimal comma")
	require.LessOrEqual(t, len(hourTicks(axis{min: 0, max: 1e7}, 8)), 10)
}

// TestHourTicks: steps are those of the clock and the calendar (a day has 24 h, a week 168 h, a
// month 30 d), the finest of which no more than so many fit.
func TestHourTicks(t *testing.T) {
	for _, c := range []struct {
		span float64
		n    int
		step float64
	}{{6, 6, 1}, {7, 6, 2}, {24, 8, 3}, {48, 6, 12}, {120, 5, 24}, {120, 4, 48}, {192, 8, 24}, {1000, 6, 168}, {720, 1, 720}, {3000, 3, 1440}, {4320, 3, 1440}, {4400, 3, 2880}} {
		got := hourTicks(axis{min: 0, max: c.span}, c.n)
		require.Equal(t, c.step, got[1]-got[0], "%v h, %d", c.span, c.n)
		require.LessOrEqual(t, got[len(got)-1], c.span)
		require.Greater(t, got[len(got)-1]+c.step, c.span, "to the end")
	}
	require.Equal(t, []float64{24, 48}, hourTicks(axis{min: 13, max: 60}, 2))
}

// TestValueTicks: 1, 2 or 5 of a decade, the finest of which no more than so many steps fit.
func TestValueTicks(t *testing.T) {
	for span, step := range map[float64]float64{5: 1, 5.1: 2, 10: 2, 11: 5, 25: 5, 26: 10, 1050: 500, 0.6: 0.2} {
		got := valueTicks(axis{max: span}, 5)
		require.InDelta(t, step, got[1]-got[0], 1e-9, "%v", span)
	}
	require.Equal(t, []float64{1, 10, 100, 1000}, valueTicks(axis{min: 1, max: 1101, log: true}, 5))
	require.Equal(t, []float64{5, 10, 20, 50, 100, 200, 500, 1000, 2000}, valueTicks(axis{min: 4, max: 4400, log: true}, 5))
}

// TestShort: four digits that tell, no more zeros than must be.
func TestShort(t *testing.T) {
	for v, want := range map[float64]string{123456: "123500", 9999: "9999", 1e6: "1000000", 1.2e7: "1.2e+07", 0.000321: "0.000321", 0.0001: "0.0001", 0.005: "0.005", 0.00005: "5e-05", -2.5: "-2.5", 0.123449: "0.1234"} {
		require.Equal(t, want, short(v))
	}
}
