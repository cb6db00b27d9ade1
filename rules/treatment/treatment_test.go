package treatment

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"undersheet/logbook"
	"undersheet/rules/followup"
	"undersheet/rules/protocol"
)

// The rules here are the project's contract; 120 h and 150 ppm are common practice
// (150 ppm also Brice & Golob 2000, J. agric. Engng Res. 76:17-26).

var (
	t0    = logbook.At(time.Date(2026, 3, 1, 8, 0, 0, 0, time.UTC))
	stack = logbook.Stack{Name: "A", Lines: []logbook.Line{{Name: "top", Channel: "a1"}, {Name: "low", Channel: "a2"}}}
)

func at(h float64) logbook.Time { return t0.Add(time.Duration(h * float64(time.Hour))) }

// started is a treatment under gas since t = 0, dosed an hour before.
func started(hours float64) *Treatment {
	p, _ := protocol.BuiltIn(protocol.FiveDay)
	t := Dosing(stack, at(-1))
	t.Start(&logbook.TreatmentStarted{Treatment: "A-1", PhosphineG: 500, ExposureHours: hours}, p, t0)
	return t
}

// hold lets both lines read every 10 minutes over the hours from, to.
func hold(t *Treatment, from, to, top, low float64) {
	for h := from; h <= to+1e-9; h += 1.0 / 6 {
		t.Read(0, at(h), top, time.Hour)
		t.Read(1, at(h), low, time.Hour)
		t.Advance(at(h), followup.DefaultWithholding)
	}
}

func air(t *Treatment, h float64) {
	t.Air(at(h))
	t.JudgeAiring(t.AiringFirst)
}

// end clears the store two hours on and lets withholding pass.
func end(t *Treatment, h float64) string {
	t.Clear(at(h + 2))
	t.Advance(at(h+2).Add(followup.DefaultWithholding)-1, followup.DefaultWithholding)
	if t.Close(nil); t.GasPhase() != logbook.PhaseWithholding {
		return "left withholding too soon"
	}
	t.Advance(at(h+2).Add(followup.DefaultWithholding), followup.DefaultWithholding)
	if t.GasPhase() != logbook.PhaseClosed || t.Phase != logbook.PhaseWithholding {
		return "its gas is over, and what is owed is not"
	}
	if t.Close(nil); t.Phase != logbook.PhaseClosed {
		return "never closed"
	}
	return t.Verdict
}

func TestHeld(t *testing.T) {
	x := started(0)
	assert.Equal(t, []string{logbook.PhaseExposure, logbook.VerdictProvisional}, []string{x.Phase, x.Verdict})
	hold(x, 118, 119.9, 160, 150)
	assert.Zero(t, x.Lines[0].Shortest.At, "not judged before the shortest exposure has passed")
	assert.Equal(t, logbook.MomentShortest, x.Advance(at(120), 0))
	assert.Empty(t, x.Advance(at(120), 0), "judged once")
	assert.Equal(t, Judgement{At: at(120), Shown: logbook.ShownMet, PPM: 150}, x.Lines[1].Shortest, "at the end level is met")
	hold(x, 120.2, 124, 160, 150)
	air(x, 124)
	assert.Equal(t, logbook.VerdictProvisional, x.Verdict, "decided at the end")
	assert.Equal(t, logbook.ShownMet, x.Lines[1].Airing.Shown)
	assert.Equal(t, logbook.VerdictHeld, end(x, 124))
}

// The median of the last hour: a spike or a dip of single readings decides nothing.
func TestMedianOfTheLastHour(t *testing.T) {
	x := started(0)
	hold(x, 100, 118.9, 400, 400)
	for i, v := range []float64{900, 100, 151, 20, 149} { // 119:05 … 119:45
		x.Read(0, at(119).Add(time.Duration(5+10*i)*time.Minute), v, time.Hour)
	}
	x.Advance(at(120), 0)
	assert.Equal(t, 149.0, x.Lines[0].Shortest.PPM)
	assert.Equal(t, logbook.ShownNotMet, x.Lines[0].Shortest.Shown)
	assert.Equal(t, logbook.NotShown, x.Lines[1].Shortest.Shown, "400 ppm over an hour ago shows nothing")
	_, missed := x.Missed()
	assert.True(t, missed)
}

// A line that reads every second is judged on its whole hour, not on its last minutes.
func TestMedianOfFastReadings(t *testing.T) {
	x := started(0)
	for s := 0; s < 3600; s++ {
		v := 200.0
		if s >= 2400 {
			v = 100 // the last 20 minutes
		}
		x.Read(0, at(119).Add(time.Duration(s+1)*time.Second), v, time.Hour)
	}
	x.Advance(at(120), 0)
	assert.Equal(t, 200.0, x.Lines[0].Shortest.PPM)
	assert.LessOrEqual(t, len(x.Lines[0].Samples), keepSamples)
}

func TestAiringEarlyFails(t *testing.T) {
	x := started(0)
	hold(x, 115, 119.9, 300, 300)
	air(x, 119.9)
	assert.True(t, x.Early())
	assert.Equal(t, logbook.VerdictFailed, x.Verdict)
	assert.Equal(t, logbook.VerdictFailed, end(x, 119.9))
	y := started(168)
	hold(y, 118, 130, 300, 300)
	air(y, 130)
	assert.False(t, y.Early(), "the shortest exposure counts, not the plan")
	assert.Equal(t, logbook.VerdictHeld, end(y, 130))
}

// What was missed at the shortest exposure counts as held only when the exposure
// was extended or dose was added, and the level was met when airing started.
func TestMissed(t *testing.T) {
	for name, c := range map[string]struct {
		rescue func(*Treatment)
		late   float64 // ppm when airing starts
		want   string
	}{
		"nothing was done":                 {func(*Treatment) {}, 160, logbook.VerdictFailed},
		"dose added":                       {func(x *Treatment) { x.AddDose(at(121), 100, 1.15) }, 160, logbook.VerdictHeld},
		"dose added, and not enough":       {func(x *Treatment) { x.AddDose(at(121), 10, 1.15) }, 149, logbook.VerdictFailed},
		"extended":                         {func(x *Treatment) { x.Extend(168) }, 160, logbook.VerdictHeld},
		"extended to no more than planned": {func(x *Treatment) { x.Extend(100) }, 160, logbook.VerdictFailed},
	} {
		t.Run(name, func(t *testing.T) {
			x := started(0)
			hold(x, 118, 120, 300, 140)
			_, missed := x.Missed()
			assert.True(t, missed)
			assert.Equal(t, logbook.VerdictProvisional, x.Verdict, "it can still be rescued")
			c.rescue(x)
			hold(x, 120.2, 150, 300, c.late)
			air(x, 150)
			assert.Equal(t, c.want, end(x, 150))
		})
	}
}

// What was met when the shortest exposure had passed is held, whatever it fell to.
func TestMetIsHeld(t *testing.T) {
	x := started(0)
	hold(x, 118, 120, 160, 160)
	hold(x, 120.2, 140, 100, 100)
	air(x, 140)
	assert.Equal(t, logbook.ShownNotMet, x.Lines[0].Airing.Shown, "both moments are reported")
	assert.Equal(t, logbook.VerdictHeld, end(x, 140))
}

// A line without a reading is not shown until a hand reading fills it.
func TestNotShownIsFilledByHand(t *testing.T) {
	dead := func() *Treatment {
		x := started(0)
		for h := 118.0; h <= 121; h += 0.25 {
			x.Read(0, at(h), 200, time.Hour)
		}
		return x
	}
	x := dead()
	x.Advance(at(120), 0)
	assert.Equal(t, logbook.NotShown, x.Lines[1].Shortest.Shown)
	_, missed := x.Missed()
	assert.False(t, missed, "not shown is not missed")
	assert.Empty(t, x.HandRead(1, at(118.9), 170), "from before the last hour")
	assert.Equal(t, logbook.MomentShortest, x.HandRead(1, at(121), 170))
	assert.Equal(t, Judgement{At: at(120), Shown: logbook.ShownMet, PPM: 170, ByHand: true}, x.Lines[1].Shortest)
	assert.Empty(t, x.HandRead(1, at(121), 10), "it is filled")
	assert.Empty(t, x.HandRead(0, at(121), 10), "a fixed reading showed it")
	air(x, 121.5)
	assert.True(t, x.Lines[1].Airing.ByHand, "the hand reading of half an hour ago")
	assert.Equal(t, 10.0, x.Lines[1].Airing.PPM, "the newest")
	assert.Equal(t, logbook.VerdictHeld, end(x, 121.5))

	x = dead()
	x.HandRead(1, at(119.5), 170)
	x.Advance(at(120), 0)
	assert.Equal(t, logbook.ShownMet, x.Lines[1].Shortest.Shown, "read by hand within the hour before it was judged")

	x = dead()
	x.Advance(at(120), 0)
	air(x, 121.5)
	assert.Empty(t, x.HandRead(1, at(122), 170), "after airing began")
	assert.Equal(t, logbook.VerdictFailed, end(x, 121.5), "never shown, at the end")

	x = dead()
	x.Advance(at(120), 0)
	air(x, 121.5)
	assert.Equal(t, logbook.MomentAiring, x.HandRead(1, at(121), 140), "entered late, taken in time")
	assert.Equal(t, logbook.VerdictFailed, x.Verdict)
}

// Added phosphide gives off 90 % of its gas in ln 10 / r (first-order release).
func TestReleaseOfAnAddedDose(t *testing.T) {
	x := started(0)
	x.AddDose(at(50), 100, 1.15)
	assert.InDelta(t, 50+24*2.302585/1.15, x.ReleaseUntil.Hours(t0), 1e-3)
	assert.Equal(t, 600.0, x.Grams())
}

func TestPlannedEndIsNeverBeforeTheShortest(t *testing.T) {
	x := started(100)
	assert.Equal(t, at(120), x.PlannedEnd)
	x.Extend(168)
	assert.Equal(t, at(168), x.PlannedEnd)
	x.Extend(24)
	assert.Equal(t, at(120), x.PlannedEnd)
	x.Extend(1e300)
	assert.Greater(t, x.PlannedEnd, at(120), "a slip of the keyboard is clipped, not wrapped")
}

func TestAbandonedStaysAbandonedUnderGas(t *testing.T) {
	x := started(0)
	x.Verdict = logbook.VerdictAbandoned
	hold(x, 118, 121, 300, 300)
	assert.Equal(t, []string{logbook.PhaseExposure, logbook.VerdictAbandoned}, []string{x.Phase, x.Verdict})
	air(x, 121)
	assert.Equal(t, logbook.VerdictAbandoned, end(x, 121))
}

// Airing counts neither from before the gas nor from before a pause, a restart or
// an earlier start, whatever time is written down.
func TestAiringIsNeverBackdated(t *testing.T) {
	x := started(0)
	x.Air(at(-30))
	assert.Equal(t, t0, x.AiringSince)
	assert.True(t, x.Early())
	x = started(0)
	x.Air(at(121))
	x.Air(at(119))
	assert.Equal(t, []logbook.Time{at(121), at(121)}, []logbook.Time{x.AiringFirst, x.AiringSince})
	x.Pause(at(122))
	x.Air(at(121.5))
	assert.Equal(t, at(122), x.AiringSince)
	x.AirAnew(at(123))
	x.Pause(at(122.5))
	x.Air(at(122.6))
	assert.Equal(t, at(123), x.AiringSince, "a step of the clock stands")
	assert.Equal(t, at(121), x.AiringFirst)
}

// Without a start there is nothing to hold.
func TestAiredWithoutAStart(t *testing.T) {
	x := Dosing(stack, t0)
	x.Air(at(1))
	assert.False(t, x.Early())
	assert.Equal(t, logbook.VerdictFailed, end(x, 1))
}

func TestRewire(t *testing.T) {
	wire := func(pairs ...string) logbook.Stack {
		s := logbook.Stack{Name: "A"}
		for i := 0; i < len(pairs); i += 2 {
			s.Lines = append(s.Lines, logbook.Line{Name: pairs[i], Channel: pairs[i+1]})
		}
		return s
	}
	for name, c := range map[string]struct {
		site    logbook.Stack
		want    []string // name, channel of the treatment's lines
		changed bool
	}{
		"nothing":          {wire("top", "a1", "low", "a2"), []string{"top", "a1", "low", "a2"}, false},
		"another order":    {wire("low", "a2", "top", "a1"), []string{"top", "a1", "low", "a2"}, false},
		"channels swapped": {wire("top", "a2", "low", "a1"), []string{"top", "a2", "low", "a1"}, false},
		"a channel moved":  {wire("top", "a9", "low", "a2"), []string{"top", "a9", "low", "a2"}, false},
		"a line renamed":   {wire("north top", "a1", "low", "a2"), []string{"north top", "a1", "low", "a2"}, false},
		"a line went":      {wire("low", "a2"), []string{"top", "", "low", "a2"}, true},
		"a line came":      {wire("top", "a1", "low", "a2", "mid", "a3"), []string{"top", "a1", "low", "a2"}, true},
		"all went":         {wire(), []string{"top", "", "low", ""}, true},
	} {
		t.Run(name, func(t *testing.T) {
			x := started(0)
			assert.Equal(t, c.changed, x.Rewire(c.site))
			var got []string
			for _, l := range x.Lines {
				got = append(got, l.Name, l.Channel)
			}
			assert.Equal(t, c.want, got)
		})
	}
	x := Dosing(stack, t0)
	assert.False(t, x.Rewire(wire("only", "a7")))
	assert.Len(t, x.Lines, 1, "before t = 0 the new lines simply hold")
	y := started(0)
	y.Rewire(wire("top", "a1"))
	_, ok := y.LineOf("a2")
	assert.False(t, ok)
	i, ok := y.LineOf("a1")
	assert.True(t, ok)
	assert.Zero(t, i)
}
