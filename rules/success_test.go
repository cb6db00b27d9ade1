package rules

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"undersheet/logbook"
	"undersheet/rules/alarm"
	"undersheet/rules/protocol"
)

// How a treatment stands against the published criteria is recorded when airing
// starts, and again with an inspection; the view says the same. 300 and 240 ppm held
// for 121 h: 300 × 121 ppm·h, all of it above 150 ppm, a ratio of 0.8.
func TestCriteriaAreRecorded(t *testing.T) {
	d := aday(t)
	d.level["a1"], d.level["a2"] = flat(300), flat(240)
	d.declare()
	d.dose("five-day")
	inspect := func(found string) {
		d.act(&logbook.GrainInspected{OnStack: onA(), Insects: found, Method: "sieved samples"}, logbook.KindInspected, 0)
	}
	d.run(1)
	inspect(logbook.InsectsNone)
	require.Contains(t, findings(d.fresh()), "inspected-before-airing")
	d.run(120)
	require.Empty(t, of[*logbook.Criteria](d.fresh()))
	d.air()
	made := of[*logbook.Criteria](d.fresh())
	require.Len(t, made, 1)
	assert.Equal(t, "A-1", made[0].Treatment)
	assert.Equal(t, []string{"not-decidable", "not-met", "met", "met"}, statesOf(made[0]), "the dose of 200 g would give about 2,000 ppm")
	assert.InDelta(t, 0.8, float64(made[0].Criteria[3].Value), 0.01)

	e := d.state.View().Stores[0].Stacks[0].Efficacy
	require.NotNil(t, e)
	assert.Equal(t, made[0].Criteria, e.Criteria())
	low, _ := e.Lowest()
	assert.Equal(t, "low", low.Name)
	assert.InEpsilon(t, 240*121, low.PPMh, 0.01)
	assert.InDelta(t, 121, low.Above, 0.2)
	assert.True(t, e.Over)
	assert.InDelta(t, 121, e.Hours, 1e-9)

	inspect(logbook.InsectsLive)
	made = of[*logbook.Criteria](d.fresh())
	require.Len(t, made, 1)
	assert.Equal(t, []string{"not-met", "not-met", "met", "met"}, statesOf(made[0]))
	assert.Equal(t, logbook.VerdictFailed, d.state.Stacks["A"].Treatment.Verdict, "live insects: common practice calls that failed, however good the gas was")
}

func statesOf(c *logbook.Criteria) (out []string) {
	for _, x := range c.Criteria {
		out = append(out, x.State)
	}
	return out
}

// A view shares nothing with the state: later readings do not change it.
func TestEfficacyIsACopy(t *testing.T) {
	d := underGas(t)
	e := d.state.View().Stores[0].Stacks[0].Efficacy
	require.NotEmpty(t, e.Lines[0].Hours)
	before := e.Lines[0].Hours[0]
	k := d.state.Stacks["A"].Treatment
	k.Lines[0].CTP.Hourly[0].PPMh++
	assert.Equal(t, before, e.Lines[0].Hours[0])
}

// A protocol that asks for it is as long as is published for the grain (GRDC
// Groundcover: 7 d above 25 °C, 10 d at 15-25 °C), by the colder of what was entered
// and measured; no protocol gets shorter by it.
func TestExposureByTemperature(t *testing.T) {
	for _, c := range []struct {
		protocol string
		by       bool
		measured float64 // 27 °C is entered; 0 = not measured
		hours    float64
	}{{"five-day", false, 20, 120}, {"five-day", true, 0, 168}, {"five-day", true, 26, 168}, {"five-day", true, 25, 240}, {"five-day", true, 30, 168},
		{"eight-day", true, 27, 192}, {"eight-day", true, 12, 240}, {"never heard of", true, 27, 192}} {
		d := aday(t, func(s *logbook.Site) {
			s.Channels["grain"] = logbook.Channel{Gas: "temperature", Unit: logbook.Cel}
			s.Stores[0].Stacks[0].Temperature = "grain"
			s.Protocols = map[string]logbook.Protocol{"five-day": {ByTemperature: c.by}, "eight-day": {ByTemperature: c.by}}
		})
		if c.measured != 0 {
			d.commit(d.stamp(&logbook.Reading{Channel: "grain", Value: c.measured, Unit: logbook.Cel}, logbook.KindReading, 0))
		}
		d.fresh()
		d.dose(c.protocol)
		k := d.state.Stacks["A"].Treatment
		assert.Equal(t, c.hours, k.Protocol.Hours, c)
		assert.Equal(t, k.ShortestEnd(), k.PlannedEnd)
		assert.Equal(t, k.ShortestEnd(), d.state.View().Stores[0].Stacks[0].ShortestEnd)
		base, _ := protocol.Resolve(d.state.Site, c.protocol)
		assert.Equal(t, c.hours > base.Hours, slices.Contains(findings(d.fresh()), "exposure-by-temperature"), c)
	}
}

// A line that came off tells nothing of the gas from then on: it does not make the gas
// uneven (the project's own rule).
func TestLineOffIsNoUnevenGas(t *testing.T) {
	d := aday(t)
	d.declare()
	d.dose("five-day")
	d.level["a1"], d.level["a2"] = flat(600), flat(500)
	d.run(40)
	d.level["a2"] = flat(0)
	d.run(6)
	require.True(t, d.state.raised(&logbook.Alarm{Alarm: alarm.LineOff, Store: "Long Barn", Stack: "A", Line: "low"}))
	e := d.state.View().Stores[0].Stacks[0].Efficacy
	for h, x := range e.Lines[1].Hours {
		_, ok := x.Mean()
		assert.Equal(t, h < 40, ok, "hour %d", h)
	}
	c := e.Criteria()[3]
	assert.Equal(t, "met", c.State, "as far as it was read: the end level will not be shown")
	assert.Greater(t, float64(c.Value), 0.8)
}
