package rules

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"undersheet/logbook"
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
	assert.Equal(t, logbook.VerdictProvisional, d.state.Stacks["A"].Treatment.Verdict, "no verdict rests on it")
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
