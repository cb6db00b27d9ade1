package exposure

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"undersheet/logbook"
)

// 29 CFR 1910.1000(d)(1)(ii): 2 h at 150 ppm, 2 h at 75 ppm and 4 h at 50 ppm give
// (2×150 + 2×75 + 4×50)/8 = 81.25 ppm.
func TestTWA8Of29CFR(t *testing.T) {
	assert.Equal(t, 81.25, TWA8([]Span{{150, 2}, {75, 2}, {50, 4}}))
}

// The worked examples of EH40 (HSE; wording from memory): 7 h 20 min at 0.12 mg/m³
// give 0.11; 0.32 over 2.5 h, 0.07 over 2 h, 0.20 over 2 h and 0.10 over 1.5 h give
// 0.19.
func TestTWA8OfEH40(t *testing.T) {
	assert.InDelta(t, 0.11, TWA8([]Span{{0.12, 7 + 20.0/60}}), 0.005)
	assert.InDelta(t, 0.19, TWA8([]Span{{0.32, 2.5}, {0.07, 2}, {0.20, 2}, {0.10, 1.5}}), 0.005)
}

var start = logbook.At(time.Date(2026, 3, 1, 8, 0, 0, 0, time.UTC))

// The example of 29 CFR 1910.1000(d)(1)(ii) again, as readings every 5 minutes.
func TestAirOf29CFR(t *testing.T) {
	var a Air
	level := func(h float64) float64 {
		switch {
		case h < 2:
			return 150
		case h < 4:
			return 75
		}
		return 50
	}
	for m := 0; m <= 480; m += 5 {
		a.Add(start.Add(time.Duration(m)*time.Minute), level(float64(m)/60), 10*time.Minute)
	}
	twa, covered := a.TWA8(start.Add(8 * time.Hour))
	assert.InDelta(t, 81.25, twa, 1.2, "the steps are sloped over 5 minutes")
	assert.InDelta(t, 8, covered, 0.1)
	assert.InDelta(t, 50, a.Mean15(start.Add(8*time.Hour)), 1e-9)
}

// The trapezoid rule is exact on a straight line (calculus): its mean over any time is
// its value in the middle, also where that time begins between two readings.
func TestAirOfAStraightLine(t *testing.T) {
	var a Air
	for m := 0; m <= 480; m += 7 {
		a.Add(start.Add(time.Duration(m)*time.Minute), float64(m), 10*time.Minute)
	}
	last := start.Add(476 * time.Minute)
	assert.InDelta(t, 476-7.5, a.Mean15(last), 1e-9)
	twa, covered := a.TWA8(last)
	assert.InDelta(t, 476.0*476/2/480, twa, 1e-9, "what was not read adds nothing")
	assert.InDelta(t, 476.0/60, covered, 1e-9)
	assert.InDelta(t, (476+466)/2.0, a.Mean15(last.Add(5*time.Minute)), 1e-9, "nothing is made up for the time since the last reading")
}

// The first reading of a moment stands, and a point read every second is remembered in
// no more than keepPoints readings.
func TestAirIsBounded(t *testing.T) {
	var a Air
	for s := range 1200 {
		at := start.Add(time.Duration(s) * time.Second)
		a.Add(at, 2, time.Minute)
		a.Add(at, 9, time.Minute)
	}
	assert.Len(t, a.Points, keepPoints)
	assert.InDelta(t, 2, a.Mean15(start.Add(1199*time.Second)), 1e-9)
}

func TestAirDoesNotBridgeGaps(t *testing.T) {
	var a Air
	a.Add(start, 1, 10*time.Minute)
	a.Add(start.Add(3*time.Hour), 1, 10*time.Minute)
	twa, covered := a.TWA8(start.Add(3 * time.Hour))
	assert.Zero(t, twa)
	assert.Zero(t, covered)
}

// The re-entry limit is the lowest figure of the set in force. Australia: 0.3 ppm
// and 1 ppm until 30 Nov 2026, then 0.05 ppm and a peak of 0.15 ppm (Grain Trade
// Australia, "SafeWork Australia Phosphine").
func TestLimitFollowsItsDate(t *testing.T) {
	change := logbook.At(time.Date(2026, 11, 30, 13, 0, 0, 0, time.UTC))
	sets := []logbook.LimitSet{
		{Source: "old", Levels: []logbook.Level{{Name: "twa-8h", PPM: 0.3}, {Name: "short-term-15min", PPM: 1}}},
		{From: change, Source: "new", Levels: []logbook.Level{{Name: "twa-8h", PPM: 0.05}, {Name: "peak", PPM: 0.15}}},
	}
	before, of := Limit(sets, change-1)
	assert.Equal(t, 0.3, before)
	assert.Equal(t, "old", of)
	after, of := Limit(sets, change)
	assert.Equal(t, 0.05, after)
	assert.Equal(t, "new", of)
	none, of := Limit(nil, change)
	assert.Equal(t, 0.3, none)
	assert.Equal(t, NoCountry, of)
	early, _ := Limit(sets[1:], change-1)
	assert.Equal(t, 0.3, early)
}

// R package DAAG, data set sorption (measured methyl bromide): the published
// product ct is m5·(5/60) + the trapezoid from 5 to 120 min.
func TestCTPOfDAAG(t *testing.T) {
	minutes := []int{5, 10, 30, 60, 90, 120}
	for _, r := range []struct {
		c  []float64
		ct float64
	}{
		{[]float64{7.8, 8.04, 8.89, 8.05, 7.89, 5.08}, 15.5941666666667},
		{[]float64{18.4, 18.48, 16.04, 15.93, 15.88, 15.8}, 32.6883333333333},
		{[]float64{32.9, 32.9, 32.8, 32.5, 32.1, 31.9}, 64.9083333333333},
	} {
		c := CTP{Began: start}
		c.Add(start, r.c[0], time.Hour) // the first value stands for the first 5 minutes
		for i, m := range minutes {
			c.Add(start.Add(time.Duration(m)*time.Minute), r.c[i], time.Hour)
		}
		assert.InDelta(t, r.ct, c.PPMh, 1e-9)
		assert.InDelta(t, 0, c.Unread(start.Add(2*time.Hour)), 1e-9)
	}
}

// One-compartment build-up and decay: CTP(0..T) in closed form for C₀ = 1000 ppm,
// release 1.5 and loss 0.15 per day over 5 days is 76,033.557 ppm·h.
func TestCTPOfOneCompartment(t *testing.T) {
	var c CTP
	for m := 0; m <= 5*1440; m += 10 {
		d := float64(m) / 1440
		c.Add(start.Add(time.Duration(m)*time.Minute), 1000*1.5/1.35*(math.Exp(-0.15*d)-math.Exp(-1.5*d)), time.Hour)
	}
	assert.InDelta(t, 76033.557, c.PPMh, 1, "trapezoid of 10-minute readings")
}

// 150 ppm held for 5 days is 18,000 ppm·h.
func TestCTPLateReadingsFillAGap(t *testing.T) {
	c := CTP{Began: start}
	for h := 0; h <= 120; h++ {
		if h <= 40 || h >= 50 {
			c.Add(start.Add(time.Duration(h)*time.Hour), 150, time.Hour)
		}
	}
	assert.InDelta(t, 10, c.Unread(start.Add(120*time.Hour)), 1e-9)
	assert.InDelta(t, 18000-1500, c.PPMh, 1e-6)
	for h := 41; h < 50; h++ {
		c.Add(start.Add(time.Duration(h)*time.Hour), 150, time.Hour)
	}
	assert.InDelta(t, 0, c.Unread(start.Add(120*time.Hour)), 1e-9)
	assert.InDelta(t, 18000, c.PPMh, 1e-6)
}

// The hours before the first reading are a gap until late readings fill it; nobody
// read the beginning, so nothing is counted from it (the project's own rule).
func TestCTPBeforeTheFirstReading(t *testing.T) {
	c := CTP{Began: start}
	c.Add(start.Add(10*time.Hour), 150, time.Hour)
	c.Add(start.Add(11*time.Hour), 150, time.Hour)
	assert.InDelta(t, 10, c.Unread(start.Add(11*time.Hour)), 1e-9)
	assert.InDelta(t, 150, c.PPMh, 1e-9)
	c.Add(start.Add(30*time.Minute), 150, time.Hour)
	assert.InDelta(t, 10, c.Unread(start.Add(11*time.Hour)), 1e-9, "one reading spans nothing")
	c.Add(start, 150, time.Hour)
	assert.InDelta(t, 9.5, c.Unread(start.Add(11*time.Hour)), 1e-9)
	for h := 1; h < 10; h++ {
		c.Add(start.Add(time.Duration(h)*time.Hour), 150, time.Hour)
	}
	assert.InDelta(t, 0, c.Unread(start.Add(11*time.Hour)), 1e-9)
	assert.InDelta(t, 11*150, c.PPMh, 1e-9)
}

// What nobody read is said to be so whatever happens then: a line that was never read, one that
// fell silent, and one with more gaps than are remembered one by one (the project's own rule).
func TestUnread(t *testing.T) {
	never := CTP{Began: start}
	assert.InDelta(t, 20, never.Unread(start.Add(20*time.Hour)), 1e-9)
	assert.Zero(t, never.Unread(start.Add(-time.Hour)))
	whole := CTP{Began: start} // tenths of an hour are no binary fractions
	for m := 0; m <= 7*24*60; m += 6 {
		whole.Add(start.Add(time.Duration(m)*time.Minute), 150, time.Hour)
	}
	assert.Zero(t, whole.Unread(start.Add(7*24*time.Hour)))
	broken := CTP{Began: start}
	for h := 0; h < 400; h += 4 { // read for one hour of four
		broken.Add(start.Add(time.Duration(h)*time.Hour), 150, time.Hour)
		broken.Add(start.Add(time.Duration(h+1)*time.Hour), 150, time.Hour)
	}
	assert.InDelta(t, 300, broken.Unread(start.Add(400*time.Hour)), 1e-9)
}
