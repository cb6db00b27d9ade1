package reading

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"undersheet/logbook"
)

var (
	noon = logbook.At(time.Date(2026, 3, 6, 12, 0, 0, 0, time.UTC))
	line = logbook.Channel{Gas: "ph3", Unit: logbook.PPM, Range: 2000, Resolution: 1, DetectionLimit: 1, Accuracy: 0.05}
	door = logbook.Channel{Gas: "ph3", Unit: logbook.PPM, Range: 20, Resolution: 0.01, DetectionLimit: 0.03, Accuracy: 0.1}
)

func ppm(at logbook.Time, v float64) *logbook.Reading {
	return &logbook.Reading{Header: logbook.Header{Time: at}, Value: v, Unit: logbook.PPM}
}

// The states of one reading, and what it may count for. The rules are the
// project's contract: range, detection limit, zero error, unit and time.
func TestStates(t *testing.T) {
	zero := 0.05
	loose := door
	loose.ZeroError = &zero
	grain := logbook.Channel{Unit: logbook.Cel}
	for name, c := range map[string]struct {
		ch                          logbook.Channel
		r                           logbook.Reading
		state                       string
		counts, fits, live, against bool
	}{
		"gas":                        {line, logbook.Reading{Value: 412}, OK, true, true, true, true},
		"at the detection limit":     {line, logbook.Reading{Value: 1}, BelowDetection, true, true, true, true},
		"just above it":              {line, logbook.Reading{Value: 1.001}, OK, true, true, true, true},
		"nothing":                    {line, logbook.Reading{Value: 0}, BelowDetection, true, true, true, true},
		"at minus the zero error":    {door, logbook.Reading{Value: -0.03}, BelowDetection, true, true, true, true},
		"below minus the zero error": {door, logbook.Reading{Value: -0.031}, BelowZero, false, false, false, false},
		"within the stated error":    {loose, logbook.Reading{Value: -0.05}, BelowDetection, true, true, true, true},
		"beyond the stated error":    {loose, logbook.Reading{Value: -0.051}, BelowZero, false, false, false, false},
		"just below the top":         {line, logbook.Reading{Value: 1999}, OK, true, true, true, true},
		"at the top of the range":    {line, logbook.Reading{Value: 2000}, OverRange, true, true, true, true},
		"a sentinel far above it":    {line, logbook.Reading{Value: 9999}, OverRange, true, true, true, true},
		"the instrument's own word":  {line, logbook.Reading{Value: 412, Fault: "pump"}, Fault, false, false, false, false},
		"a fault beats clean air":    {door, logbook.Reading{Value: 0, Fault: "sensor"}, Fault, false, false, false, false},
		"mg/m3 on a ppm channel":     {line, logbook.Reading{Value: 300, Unit: logbook.MgM3}, OK, true, true, true, true},
		"degrees on a gas channel":   {line, logbook.Reading{Value: 30, Unit: logbook.Cel}, UnitMismatch, false, false, false, false},
		"gas on a temperature":       {grain, logbook.Reading{Value: 30, Unit: logbook.PPM}, UnitMismatch, false, false, false, false},
		"a temperature":              {grain, logbook.Reading{Value: -3, Unit: logbook.Cel}, OK, true, true, true, true},
		"retained without a time":    {door, logbook.Reading{Value: 0.1, Retained: true, Stamped: true}, Retained, false, false, false, false},
		"retained with its own time": {door, logbook.Reading{Value: 0.1, Retained: true}, OK, true, true, false, true},
	} {
		t.Run(name, func(t *testing.T) {
			c.r.Time = noon
			if c.r.Unit == "" {
				c.r.Unit = logbook.PPM
			}
			j := new(History).Judge(c.ch, &c.r, noon)
			assert.Equal(t, c.state, j.State)
			assert.Equal(t, []bool{c.counts, c.fits, c.live, c.against}, []bool{j.Counts, j.Fits, j.Live, j.Against}, "counts, fits, live, against")
			assert.Equal(t, c.r.Value, j.Raw, "what was sent is kept")
		})
	}
}

// 0.1 ppm is 0.14 mg/m³ at 20–25 °C in the lists of national limits (Directive
// 2006/15/EC: 0.1 ppm, 0.14 mg/m³; 0.2 ppm, 0.28 mg/m³).
func TestUnits(t *testing.T) {
	for mg, want := range map[float64]float64{0.14: 0.1, 0.28: 0.2} {
		j := new(History).Judge(door, &logbook.Reading{Header: logbook.Header{Time: noon}, Value: mg, Unit: logbook.MgM3}, noon)
		assert.InDelta(t, want, j.Value, 0.006)
		g := new(History).Judge(door, &logbook.Reading{Header: logbook.Header{Time: noon}, Value: mg / 1000, Unit: logbook.GM3}, noon)
		assert.InDelta(t, j.Value, g.Value, 1e-12)
	}
	inMg := logbook.Channel{Gas: "ph3", Unit: logbook.MgM3, Range: 3000, DetectionLimit: 1.4}
	j := new(History).Judge(inMg, &logbook.Reading{Header: logbook.Header{Time: noon}, Value: 3000, Unit: logbook.MgM3}, noon)
	assert.Equal(t, OverRange, j.State, "the range is in the channel's unit")
	assert.InDelta(t, 3000/1.39, j.Value, 15, "1 ppm = 1.39 mg/m³: NIOSH Pocket Guide npgd0505")
}

// Contract: upper value = reading × (1 + accuracy) + zero error; the default of
// the zero error is the detection limit.
func TestUpper(t *testing.T) {
	j := new(History).Judge(door, ppm(noon, 0.2), noon)
	assert.InDelta(t, 0.2*1.1+0.03, j.Upper, 1e-12)
	zero := 0.0
	exact := door
	exact.ZeroError = &zero
	assert.InDelta(t, 0.22, new(History).Judge(exact, ppm(noon, 0.2), noon).Upper, 1e-12, "a stated zero error of 0 is 0")
}

// Over range is at least the top of the range, whatever number is sent for it.
func TestOverRangeCountsAsTheTop(t *testing.T) {
	j := new(History).Judge(line, ppm(noon, 9999), noon)
	assert.Equal(t, 2000.0, j.Value)
	assert.Greater(t, j.Upper, 9999.0, "and may be as much as was sent")
}

// Contract: more than 5 min ahead of now is future and not used.
func TestFuture(t *testing.T) {
	var h History
	j := h.Judge(line, ppm(noon.Add(5*time.Minute), 300), noon)
	assert.Equal(t, OK, j.State, "5 minutes exactly")
	j = h.Judge(line, ppm(noon.Add(5*time.Minute)+1, 900), noon)
	assert.Equal(t, Future, j.State)
	assert.False(t, j.Counts || j.Fits || j.Live || j.Against)
	assert.Equal(t, 300.0, h.Last.Value, "it does not replace a reading that counts")
	assert.Equal(t, noon.Add(5*time.Minute), h.Newest, "nor move the channel's newest")
}

// A clock that is centuries wrong must not pass for now: a difference of 584.5
// years is nothing in 64-bit nanoseconds.
func TestAWrongCenturyIsNeverNow(t *testing.T) {
	for year := 1; year <= 9999; year += 7 {
		at := logbook.At(time.Date(year, 3, 6, 12, 0, 0, 0, time.UTC))
		var h History
		j := h.Judge(door, ppm(at, 0), noon)
		switch {
		case year > 2026:
			require.Equal(t, Future, j.State, "year %d", year)
		case year < 2026:
			require.False(t, j.Live, "year %d", year)
		}
		_, silent := h.SilentFor(door, noon)
		require.True(t, silent, "year %d", year)
	}
	wrap := noon + logbook.Time(1<<63/1000*2)
	assert.Equal(t, Future, new(History).Judge(door, ppm(wrap, 0), noon).State, "584.5 years on")
}

// Contract: more than 2 h behind the channel's newest counts for the record, and
// can count against the gate but never for it.
func TestLateAndOutOfOrder(t *testing.T) {
	var h History
	h.Judge(line, ppm(noon, 300), noon)
	j := h.Judge(line, ppm(noon.Add(-2*time.Hour), 310), noon)
	assert.Equal(t, OK, j.State, "2 h exactly is only out of order")
	assert.Equal(t, []bool{true, true, false, true}, []bool{j.Counts, j.Fits, j.Live, j.Against})
	j = h.Judge(line, ppm(noon.Add(-2*time.Hour)-1, 320), noon)
	assert.Equal(t, Late, j.State)
	assert.Equal(t, []bool{true, true, false, true}, []bool{j.Counts, j.Fits, j.Live, j.Against})
	assert.Equal(t, 300.0, h.Last.Value)
	j = h.Judge(line, &logbook.Reading{Header: logbook.Header{Time: noon.Add(-3 * time.Hour)}, Value: 1, Unit: logbook.PPM, Fault: "pump"}, noon)
	assert.Equal(t, Late, j.State)
	assert.False(t, j.Counts, "late and faulty counts for nothing")
}

// A back-filled reading is in its turn and still shows nothing of now.
func TestBackFilledIsNotLive(t *testing.T) {
	var h History
	assert.True(t, h.Judge(door, ppm(noon.Add(-MinGap), 0), noon).Live)
	h = History{}
	j := h.Judge(door, ppm(noon.Add(-MinGap)-1, 0), noon)
	assert.True(t, j.Counts)
	assert.False(t, j.Live)
}

// Contract: a second value for the same channel and time is kept and flagged, the
// first is used; an identical one is a duplicate.
func TestSecondValueAndDuplicate(t *testing.T) {
	var h History
	h.Judge(door, ppm(noon, 0.1), noon)
	j := h.Judge(door, ppm(noon, 0.1), noon)
	assert.Equal(t, Duplicate, j.State)
	assert.False(t, j.Counts || j.Live || j.Against)
	j = h.Judge(door, ppm(noon, 0.9), noon)
	assert.Equal(t, SecondValue, j.State)
	assert.False(t, j.Counts || j.Fits || j.Live)
	assert.True(t, j.Against, "a doubt")
	mg := ppm(noon, 0.1)
	mg.Unit = logbook.MgM3
	assert.Equal(t, SecondValue, h.Judge(door, mg, noon).State, "the same digits in another unit are another value")
	bad := ppm(noon, 0.1)
	bad.Fault = "sensor"
	assert.Equal(t, SecondValue, h.Judge(door, bad, noon).State, "now the instrument does not trust it")
	assert.Equal(t, 0.1, h.Last.Value)
	h.Judge(door, ppm(noon.Add(time.Minute), 0.1), noon.Add(time.Minute))
	assert.Equal(t, SecondValue, h.Judge(door, ppm(noon, 0.5), noon.Add(time.Minute)).State, "later, too")
}

// Stuck: the same digits for 3 h and 12 readings, and only where the expected
// scatter reaches a digit. From memory of electrochemical cells.
func TestStuck(t *testing.T) {
	run := func(ch logbook.Channel, v float64, every time.Duration, n int) (last Judged, h History) {
		for i := 0; i < n; i++ {
			at := noon.Add(time.Duration(i) * every)
			last = h.Judge(ch, ppm(at, v), at)
		}
		return last, h
	}
	j, h := run(line, 400, 5*time.Minute, 37) // 36 intervals of 5 min are 3 h
	assert.Equal(t, Stuck, j.State)
	assert.Equal(t, []bool{true, false, false}, []bool{j.Counts, j.Fits, j.Live})
	at := noon.Add(185 * time.Minute)
	assert.Equal(t, OK, h.Judge(line, ppm(at, 401), at).State, "one digit on, it lives")
	j, _ = run(line, 400, 5*time.Minute, 36)
	assert.Equal(t, OK, j.State, "not yet 3 h")
	j, _ = run(line, 400, time.Hour, 11)
	assert.Equal(t, OK, j.State, "not yet 12 readings")
	j, _ = run(line, 10, 5*time.Minute, 100)
	assert.Equal(t, OK, j.State, "0.5 ppm of scatter does not reach a digit of 1 ppm")
	j, _ = run(door, 0.02, 5*time.Minute, 100)
	assert.Equal(t, BelowDetection, j.State, "clean air is steady")
	j, _ = run(door, 0, 5*time.Minute, 100)
	assert.Equal(t, BelowDetection, j.State)
	j, _ = run(door, 0.25, 5*time.Minute, 37)
	assert.Equal(t, Stuck, j.State, "gas in air that never moves")
	unknown := line
	unknown.Resolution = 0
	j, _ = run(unknown, 400, 5*time.Minute, 100)
	assert.Equal(t, OK, j.State, "no resolution is stated")
}

// Contract: live across 10 min or three usual intervals, whichever is longer.
func TestUsualIntervalAndSilence(t *testing.T) {
	var h History
	_, silent := h.SilentFor(line, noon)
	assert.True(t, silent, "nothing came yet")
	assert.Zero(t, h.Usual(line))
	for i := 0; i < 4; i++ {
		at := noon.Add(time.Duration(i) * 6 * time.Minute)
		h.Judge(line, ppm(at, 300+float64(i)), at)
	}
	assert.Equal(t, 6*time.Minute, h.Usual(line))
	assert.Equal(t, 18*time.Minute, h.AllowedGap(line))
	last := noon.Add(18 * time.Minute)
	_, silent = h.SilentFor(line, last.Add(18*time.Minute))
	assert.False(t, silent)
	d, silent := h.SilentFor(line, last.Add(18*time.Minute)+1)
	assert.True(t, silent)
	assert.Equal(t, 18*time.Minute+time.Microsecond, d)
	at := last.Add(5 * time.Hour) // one outage does not change what is usual
	h.Judge(line, ppm(at, 250), at)
	assert.Equal(t, 6*time.Minute, h.Usual(line))
	stated := line
	stated.Every = logbook.Duration(30 * time.Minute)
	assert.Equal(t, 90*time.Minute, h.AllowedGap(stated), "the site file's own figure")
	assert.Equal(t, MinGap, new(History).AllowedGap(line))
	var slow History
	for i := 0; i < 9; i++ {
		at := noon.Add(time.Duration(i) * 3 * time.Hour)
		slow.Judge(line, ppm(at, 300), at)
	}
	assert.Equal(t, time.Hour, slow.AllowedGap(line), "sleep is not learned as usual")
}

// What no concentration can be never makes a judgement that is not finite.
func TestHostileValues(t *testing.T) {
	bare := logbook.Channel{Gas: "ph3", Unit: logbook.GM3}
	for _, ch := range []logbook.Channel{line, door, bare, {Unit: logbook.Cel}} {
		for _, v := range []float64{math.MaxFloat64, -math.MaxFloat64, 1e300, math.SmallestNonzeroFloat64, math.NaN(), math.Inf(1)} {
			for _, unit := range logbook.Units {
				var h History
				j := h.Judge(ch, &logbook.Reading{Header: logbook.Header{Time: noon}, Value: v, Unit: unit}, noon)
				require.False(t, math.IsNaN(j.Value+j.Upper) || math.IsInf(j.Value, 0) || math.IsInf(j.Upper, 0), "%g %s", v, unit)
				require.False(t, j.Live && v > 1e299 && IsGas(ch) && j.State != OverRange, "%g %s is %s", v, unit, j.State)
			}
		}
	}
}

// How long silence is no news: three usual intervals; of a channel whose readings come
// unevenly, as over a radio that loses a third of them, what happened twice lately, doubled;
// of a new one what little is known. Common practice, with the bounds that are written here.
func TestPatience(t *testing.T) {
	read := func(gaps ...int) *History { // minutes
		h, at := &History{}, noon
		h.Judge(line, ppm(at, 300), at)
		for i, g := range gaps {
			at = at.Add(time.Duration(g) * time.Minute)
			h.Judge(line, ppm(at, 301+float64(i)), at)
		}
		return h
	}
	for want, h := range map[time.Duration]*History{
		0:                 read(),
		6 * time.Hour:     read(120),
		45 * time.Minute:  read(15, 10),
		361 * time.Minute: read(7200, 120, 120, 120),         // once more is known
		30 * time.Minute:  read(10, 10, 10, 10, 600, 10, 10), // one outage
		80 * time.Minute:  read(10, 10, 40, 10, 50, 10, 20),
		2 * time.Hour:     read(10, 10, 300, 10, 300, 10, 20), // it falls asleep
	} {
		assert.InDelta(t, want.Minutes(), h.Patience(line).Minutes(), 1)
	}
	assert.Equal(t, 6*time.Hour, read(7200).Patience(line), "not what lies between a test and the treatment")
	stated := line
	stated.Every = logbook.Duration(5 * time.Minute)
	assert.Equal(t, 15*time.Minute, read(10, 10, 40, 10, 50).Patience(stated), "the site file's own figure")
}
