package rules

import (
	"encoding/json"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"undersheet/logbook"
	"undersheet/rules/alarm"
	"undersheet/rules/treatment"
)

// What is asked of a stop here is the project's own rule: whoever answers for a store under gas hears
// once, with from when until when, that nobody watched it.

// stops lets a program stand still for so many hours.
func (d *day) stops(hours float64) (from, until logbook.Time) {
	from = d.now
	d.now = d.now.Add(treatment.Hours(hours))
	return from, d.now.Add(5 * time.Minute)
}

// jumps sets the machine's clock ahead; passed is how much of that is time that passed.
func (d *day) jumps(hours, passed float64) {
	d.now = d.now.Add(treatment.Hours(hours))
	d.read("door", 0.02)
	d.commit(d.stamp(&logbook.ClockStepped{StepSeconds: 3600 * hours, PassedSeconds: 3600 * passed}, logbook.KindClockStepped, 0))
}

func TestStopUnderGasIsTold(t *testing.T) {
	d := underGas(t)
	d.run(3)
	d.fresh()
	from, until := d.stops(48)
	d.run(2)
	got := d.fresh()
	require.Equal(t, []string{"raised"}, alarms(got, alarm.Unwatched))
	for _, a := range of[*logbook.Alarm](got) {
		if a.Alarm == alarm.Unwatched {
			assert.Equal(t, []any{"Long Barn", from, logbook.PriorityMedium, false, logbook.Number(48.0833), &logbook.Missed{From: from, Until: until, Stacks: []string{"A"}}},
				[]any{a.Store, a.Onset, a.Priority, a.Wake, a.Value, a.Missed})
		}
	}
	raw, err := json.Marshal(d.state)
	require.NoError(t, err)
	again := New()
	require.NoError(t, json.Unmarshal(raw, again))
	assert.Equal(t, d.state.Unwatched, again.Unwatched)

	from, _ = d.stops(1) // before anybody acknowledged the first
	d.run(1)
	require.Equal(t, []string{"raised"}, alarms(d.fresh(), alarm.Unwatched))
	assert.Equal(t, from, d.state.Alarms[AlarmKey{Alarm: alarm.Unwatched, Store: "Long Barn"}].Record.Missed.From)
	d.act(&logbook.AlarmAcknowledged{Alarm: alarm.Unwatched, Store: "Long Barn"}, logbook.KindAcknowledged, 0)
	d.run(1)
	assert.Equal(t, []string{"acknowledged", "cleared"}, alarms(d.fresh(), alarm.Unwatched))
	d.act(&logbook.Corrected{Of: 2, Withdrawn: true, Why: "never said"}, logbook.KindCorrected, 0)
	d.run(1)
	assert.Empty(t, alarms(d.fresh(), alarm.Unwatched), "what was told is not told again when the state is made anew")
}

// Nobody hears of a stop that is shorter than a line may be silent, or in which no stack was at work,
// nor of the spaces of a file that somebody wrote by hand.
func TestStopThatNobodyHearsOf(t *testing.T) {
	d := underGas(t)
	d.stops(0.4)
	d.run(1)
	assert.Empty(t, alarms(d.made, alarm.Unwatched))

	d = aday(t)
	d.declare()
	d.run(1)
	d.stops(48)
	d.run(1)
	d.dose("five-day")
	d.run(1)
	assert.Empty(t, alarms(d.made, alarm.Unwatched), "no stack was at work")

	d = cleared(t)
	d.run(1)
	d.fresh()
	d.stops(48)
	d.run(1)
	assert.Empty(t, alarms(d.fresh(), alarm.Unwatched), "aired and cleared: the clearance falls, and that is told")

	d = underGas(t)
	s := New()
	for _, e := range d.log {
		e.Head().Received = 0
		if r, ok := e.(*logbook.Reading); !ok || r.Time >= epoch.Add(50*time.Minute) {
			s.Fold(e)
		}
	}
	s.Fold(readingAt(d.now.Add(20*time.Hour), 0, "a1", 500))
	s.Fold(readingAt(d.now.Add(21*time.Hour), 0, "a1", 500))
	assert.Nil(t, s.Unwatched)
	assert.Equal(t, d.now.Add(21*time.Hour), s.Now())
}

// An act that somebody writes while no daemon runs does not cut a stop in two, and ends none.
func TestActInAStop(t *testing.T) {
	d := underGas(t)
	d.fresh()
	from, _ := d.stops(24)
	d.act(&logbook.ExposureExtended{OnStack: onA(), ExposureHours: 144}, logbook.KindExposureExtended, 0)
	assert.Nil(t, d.state.Unwatched)
	d.stops(24)
	d.run(1)
	assert.Equal(t, []string{"raised"}, alarms(d.fresh(), alarm.Unwatched))
	assert.Equal(t, from, d.state.Unwatched.From)
}

// What a clock that was set ahead skips is no exposure. The end level is judged when the hours that
// were lived through are as many as the protocol asks for (five-day: 120 h), whether the clock
// jumps over that moment or before it; airing before then is early.
func TestClockSetAheadIsNoExposure(t *testing.T) {
	for _, hours := range []float64{60, 118.2} {
		d := underGas(t)
		k := d.state.Stacks["A"]
		end := k.Treatment.ShortestEnd()
		d.run(hours)
		d.fresh()
		d.jumps(72, 0)
		d.run(0.5)
		rs := d.fresh()
		assert.Equal(t, []string{"clock-set raised"}, alarms(rs, alarm.Unwatched))
		assert.Empty(t, alarms(rs, alarm.Missed))
		assert.Equal(t, end.Add(72*time.Hour), k.Treatment.ShortestEnd())
		assert.Equal(t, end.Add(72*time.Hour), k.Treatment.PlannedEnd)
		for _, e := range of[*logbook.EndLevel](rs)[max(0, len(of[*logbook.EndLevel](rs))-2):] {
			assert.Equal(t, logbook.NotShown, e.Shown, "after %v h", hours)
		}
		require.Zero(t, k.Treatment.Lines[0].Shortest.At, "after %v h", hours)
		if hours < 100 {
			d.air()
			assert.Equal(t, []string{logbook.PhaseAiring, logbook.VerdictFailed}, d.phase(), "62 h were lived through")
			continue
		}
		d.run(3)
		met := of[*logbook.EndLevel](d.fresh())
		require.Len(t, met, 2)
		assert.Equal(t, logbook.ShownMet, met[0].Shown)
		d.air()
		assert.Equal(t, []string{logbook.PhaseAiring, logbook.VerdictProvisional}, d.phase())
	}
}

// A machine that slept, or that has just started and gets the time, was away for as long as its
// clock jumped: nobody watched, but the gas was there. A clock that stood behind and is set right
// skips nothing, however wide the step.
func TestStepThatIsTimePassed(t *testing.T) {
	d := underGas(t)
	k := d.state.Stacks["A"]
	end := k.Treatment.ShortestEnd()
	d.run(10)
	d.fresh()
	d.jumps(24, 24)
	d.run(1)
	assert.Equal(t, []string{"raised"}, alarms(d.fresh(), alarm.Unwatched))
	assert.Equal(t, end, k.Treatment.ShortestEnd())

	d.now = d.now.Add(2 * time.Hour)
	d.commit(d.stamp(&logbook.ClockStepped{StepSeconds: 3600 * 24 * 365 * 50}, logbook.KindClockStepped, 0))
	d.run(1)
	assert.Equal(t, []string{"raised"}, alarms(d.fresh(), alarm.Unwatched))
	assert.Equal(t, end, k.Treatment.ShortestEnd())
}

// Hours that nobody lived through are none in which the gas held: an end level at risk stays told,
// though the fit takes them for such.
func TestClockSetAheadEndsNoRisk(t *testing.T) {
	risk := func(d *day) string {
		if a := d.state.Alarms[AlarmKey{Alarm: alarm.AtRisk, Store: "Long Barn", Stack: "A"}]; a != nil && a.Raised {
			return "raised"
		}
		return ""
	}
	d := underGas(t)
	d.run(3)
	d.stops(20)
	d.run(1)
	require.Equal(t, "raised", risk(d))
	d.jumps(30, 0)
	for range 20 {
		d.run(1)
		require.Equal(t, "raised", risk(d))
	}
}

// An exposure that is longer than the protocol's shortest is as long as was asked for, too: a clock
// that jumps ahead after the shortest has passed skips none of it, nor of the release of an added
// dose, and the end level judged before stands.
func TestClockSetAheadInALongerExposure(t *testing.T) {
	d := underGas(t)
	d.act(&logbook.ExposureExtended{OnStack: onA(), ExposureHours: 168}, logbook.KindExposureExtended, 0)
	d.level["a1"], d.level["a2"] = nil, nil // nothing to fit
	d.run(116)
	d.level["a1"], d.level["a2"] = flat(600), flat(500)
	d.run(5)
	k := d.state.Stacks["A"].Treatment
	k.ReleaseUntil = d.now.Add(10 * time.Hour)
	short, end, judged, released := k.ShortestEnd(), k.PlannedEnd, k.Lines[0].Shortest, k.ReleaseUntil
	require.Equal(t, logbook.ShownMet, judged.Shown)
	before := d.now
	lived := d.state.View().Stores[0].Stacks[0].Efficacy.Hours
	d.jumps(30, 0)
	assert.Equal(t, short, k.ShortestEnd())
	assert.Equal(t, judged, k.Lines[0].Shortest)
	assert.Equal(t, end.Add(30*time.Hour), k.PlannedEnd)
	assert.Equal(t, released.Add(30*time.Hour), k.ReleaseUntil)
	assert.InDelta(t, lived, d.state.View().Stores[0].Stacks[0].Efficacy.Hours, 0.1)
	assert.Equal(t, 30*time.Hour, d.state.View().Stores[0].Stacks[0].Skipped, "pages leave it out")
	assert.Equal(t, k.Started.Add(222*time.Hour), k.EndOf(192*time.Hour), "the eight-day protocol's end moves, too")
	assert.Equal(t, before.Sub(k.Started), k.Lived(before), "what was lived before the jump is not less for it")
}

// A clock that is set twice before anybody looks at it says so once, of both leaps.
func TestClockSetTwice(t *testing.T) {
	d := underGas(t)
	k := d.state.Stacks["A"].Treatment
	end := k.ShortestEnd()
	d.run(10)
	d.now = d.now.Add(30 * time.Hour)
	d.read("door", 0.02)
	d.now = d.now.Add(10 * time.Second)
	d.read("door", 0.02)
	d.jumpsTold(20, 50)
	assert.Equal(t, end.Add(50*time.Hour), k.ShortestEnd())
}

// jumpsTold sets the clock ahead, after it had been already, and says so of both.
func (d *day) jumpsTold(hours, both float64) {
	d.now = d.now.Add(treatment.Hours(hours))
	d.read("door", 0.02)
	d.commit(d.stamp(&logbook.ClockStepped{StepSeconds: 3600 * both}, logbook.KindClockStepped, 0))
}

// A start that somebody enters late, after the clock jumped, is of before the jump.
func TestStartEnteredAfterAJump(t *testing.T) {
	d := aday(t)
	d.declare()
	d.run(1)
	d.act(&logbook.DosingStarted{OnStack: onA(), StoreEmpty: true}, logbook.KindDosingStarted, 0)
	d.run(0.5)
	d.jumps(48, 0)
	d.run(0.5)
	d.act(&logbook.TreatmentStarted{OnStack: onA(), Treatment: "A-1", Protocol: "five-day", Commodity: "maize", Tonnes: 100,
		VolumeM3: 150, PhosphineG: 200, GrainTempC: 27}, logbook.KindTreatmentStarted, 49*time.Hour)
	k := d.state.Stacks["A"].Treatment
	assert.InDelta(t, 168, k.ShortestEnd().Hours(k.Started), 0.01)
}

// How even the gas was is judged hour by hour of the exposure (criterion (d) of
// efficacy.CriteriaSource): an uneven hour after the clock jumped is one of them.
func TestUnevenAfterAJump(t *testing.T) {
	d := underGas(t)
	d.run(34)
	even := func() string { return d.state.View().Stores[0].Stacks[0].Efficacy.Criteria()[3].State }
	require.Equal(t, logbook.ShownMet, even())
	d.jumps(60, 0)
	d.level["a2"] = flat(50)
	d.run(4)
	assert.Equal(t, logbook.ShownNotMet, even())
}
