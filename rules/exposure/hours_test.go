package exposure

import (
	"encoding/json"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"undersheet/logbook"
)

// theoph is subject 1 of R 4.2.2, package datasets, Theoph (Boeckmann, Sheiner & Beal
// 1994): hours and mg/L.
var theoph = []struct{ hours, level float64 }{{0, 0.74}, {0.25, 2.84}, {0.57, 6.57}, {1.12, 10.5}, {2.02, 9.66}, {3.82, 8.58}, {5.1, 8.36},
	{7.03, 7.47}, {9.05, 6.89}, {12.12, 5.94}, {24.37, 3.28}}

func theophylline(level float64) CTP {
	c := CTP{Began: start, Level: level}
	for _, p := range theoph {
		c.Add(start.Add(time.Duration(p.hours*float64(time.Hour))), p.level, 24*time.Hour)
	}
	return c
}

// The trapezoid of that curve is 148.92305; the straight line of R's approxfun is at or
// above 5 from 0.435308311 to 16.448947368 h, above 8 from 0.7701272265 to
// 5.8806741573 h (R 4.2.2, uniroot), and over the hours from 0, 1, 5, 23 and 24 on (the
// last one cut at 24.37) the trapezoid gives 5.438797273, 10.08716606, 8.174097717,
// 3.468914286 and 1.228463429 (R 4.2.2).
func TestHoursOfTheophylline(t *testing.T) {
	c := theophylline(5)
	assert.InDelta(t, 148.92305, c.PPMh, 1e-6, "times are kept to the microsecond")
	assert.InDelta(t, 16.448947368-0.435308311, c.Above, 1e-7)
	assert.InDelta(t, 5.8806741573-0.7701272265, theophylline(8).Above, 1e-7)
	require.Len(t, c.Hourly, 25)
	for hour, want := range map[int]float64{0: 5.438797273, 1: 10.08716606, 5: 8.174097717, 23: 3.468914286, 24: 1.228463429} {
		assert.InDelta(t, want, c.Hourly[hour].PPMh, 1e-7, "hour %d", hour)
	}
	sum, read := 0.0, 0.0
	for _, h := range c.Hourly {
		sum, read = sum+h.PPMh, read+h.Read
	}
	assert.InDelta(t, c.PPMh, sum, 1e-9)
	assert.InDelta(t, 24.37, read, 1e-9)
	mean, ok := c.Hourly[23].Mean()
	assert.True(t, ok)
	assert.InDelta(t, 3.468914286, mean, 1e-7)
	_, ok = c.Hourly[24].Mean()
	assert.False(t, ok, "0.37 of the hour was read")
}

// Late readings fill the hours of a gap and its time above the level: the sum is that
// of the readings in order, an identity of the trapezoid rule.
func TestHoursFilledLate(t *testing.T) {
	whole, late := CTP{Began: start, Level: 150}, CTP{Began: start, Level: 150}
	at := func(m int) (logbook.Time, float64) {
		return start.Add(time.Duration(m) * time.Minute), 150 + 60*math.Sin(float64(m)/200)
	}
	for m := 0; m <= 3000; m += 10 {
		x, y := at(m)
		whole.Add(x, y, 10*time.Minute)
		if m < 700 || m > 1500 {
			late.Add(x, y, 10*time.Minute)
		}
	}
	assert.InDelta(t, 0, late.Hourly[15].Read, 1e-12, "a gap is no reading")
	for m := 700; m <= 1500; m += 10 {
		x, y := at(m)
		late.Add(x, y, 10*time.Minute)
	}
	assert.InDelta(t, 0, late.Unread(start.Add(50*time.Hour)), 1e-9)
	assert.InDelta(t, whole.PPMh, late.PPMh, 1e-8)
	assert.InDelta(t, whole.Above, late.Above, 1e-10)
	for i := range whole.Hourly {
		assert.InDelta(t, whole.Hourly[i].PPMh, late.Hourly[i].PPMh, 1e-9, "hour %d", i)
		assert.InDelta(t, whole.Hourly[i].Read, late.Hourly[i].Read, 1e-12, "hour %d", i)
	}
}

// What is written and read back goes on as if it had not been; what is no number, or
// more hours than are kept, is refused.
func TestHoursInASnapshot(t *testing.T) {
	c := theophylline(5)
	c.MarkOver(start.Add(90 * time.Minute))
	c.MarkOver(start.Add(-time.Hour))
	c.MarkOver(start.Add(mostHours * time.Hour))
	text, err := json.Marshal(c)
	require.NoError(t, err)
	var back CTP
	require.NoError(t, json.Unmarshal(text, &back))
	require.Equal(t, c, back)
	assert.True(t, back.Hourly[1].Over)
	assert.False(t, back.Hourly[0].Over)
	var empty Hours
	require.NoError(t, json.Unmarshal([]byte(`""`), &empty))
	assert.Empty(t, empty)
	for _, bad := range []Hours{{{PPMh: math.NaN()}}, {{Read: math.Inf(1)}}, make(Hours, mostHours+1)} {
		text, err := json.Marshal(bad)
		require.NoError(t, err)
		assert.Error(t, json.Unmarshal(text, &empty))
	}
	assert.Error(t, json.Unmarshal([]byte(`"AAAA"`), &empty), "no whole hour")
}

// An hour in which the line did not draw the stack's gas tells nothing of it, however
// it was read, before it was known or after (the project's own rule): it counts for
// nothing, and is a gap. By hand: 200 ppm over 10 h, of them 3 away.
func TestHoursAway(t *testing.T) {
	c := CTP{Began: start, Level: 150}
	add := func(from, to int) {
		for h := from; h < to; h++ {
			c.Add(start.Add(time.Duration(h)*time.Hour), 200, 10*time.Hour)
		}
	}
	away := func() { c.MarkAway(start.Add(3*time.Hour+50*time.Minute), start.Add(5*time.Hour+10*time.Minute)) }
	add(0, 5)
	assert.InDelta(t, 800, c.PPMh, 1e-9)
	away()
	assert.InDelta(t, 600, c.PPMh, 1e-9, "the hour from 3 on is taken back")
	add(7, 11) // bridged from 4 on
	away()
	c.MarkAway(start.Add(8*time.Hour), start.Add(7*time.Hour))
	for i, h := range c.Hourly {
		_, ok := h.Mean()
		assert.Equal(t, i < 3 || i > 5, ok, "hour %d", i)
	}
	assert.InDelta(t, 1400, c.PPMh, 1e-9)
	assert.InDelta(t, 7, c.Above, 1e-9)
	assert.InDelta(t, 3, c.Unread(start.Add(10*time.Hour)), 1e-9)
	assert.InDelta(t, 5, c.Unread(start.Add(12*time.Hour)), 1e-9, "after the last reading, too")
}

// A treatment that nobody ends does not grow for ever.
func TestHoursAreBounded(t *testing.T) {
	c := CTP{Began: start}
	for d := 0; d < 100; d++ {
		c.Add(start.Add(time.Duration(24*d)*time.Hour), 100, 24*time.Hour)
	}
	assert.Len(t, c.Hourly, mostHours)
	assert.InDelta(t, 100*24*99, c.PPMh, 1e-6, "the sum goes on")
}
