package rules

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"undersheet/logbook"
	"undersheet/rules/decay"
	"undersheet/rules/dose"
)

// What the sampling pump takes: 1 L/min is 1.44 m³ a day; the mass balance makes it
// flow / gas space, for the stack's share of what the pump draws in turn.
func TestSamplingLoss(t *testing.T) {
	of := func(change ...func(*logbook.Site)) float64 {
		d := aday(t, append([]func(*logbook.Site){wired}, change...)...)
		d.dose("five-day")
		return d.state.Stacks["A"].Gas.Setup.SamplingLossPerDay
	}
	d := aday(t, wired)
	d.dose("five-day")
	space := d.state.Stacks["A"].Gas.Setup.GasSpaceM3
	require.InDelta(t, 72, space, 1, "150 m³ less 100 t of maize at 1.28 t/m³")
	assert.InEpsilon(t, 1.44*2/3/space, of(), 1e-12, "two of the three channels")
	assert.Zero(t, of(func(s *logbook.Site) { s.Pumps[0].Returns = logbook.ReturnsStack }), "given back")
	assert.Zero(t, of(func(s *logbook.Site) { s.Pumps[0].Draws = []string{"b1", "office"} }), "another stack's")
	assert.Zero(t, of(func(s *logbook.Site) { s.Pumps = nil }))
	assert.InEpsilon(t, 1.44*3/2/space, of(func(s *logbook.Site) {
		s.Pumps[0].Draws = []string{"a1", "inside"}
		s.Pumps = append(s.Pumps, logbook.Pump{Name: "P2", Flow: 1, Draws: []string{"a2"}, Returns: logbook.ReturnsOutside})
	}), 1e-12, "two pumps")
}

// The loss that people see is all of it; what the pump takes of it is said beside it.
func TestFitShowsTheSampling(t *testing.T) {
	d := depot(t)
	d.level["a1"], d.level["a2"] = decaying(1500, 0.2), decaying(1400, 0.2)
	d.run(30)
	fit := d.state.View().Stores[0].Stacks[0].Fit
	require.NotNil(t, fit)
	assert.InEpsilon(t, d.state.Stacks["A"].Gas.Setup.SamplingLossPerDay, fit.SamplingPerDay, 1e-12)
	assert.Greater(t, fit.LossPerDay, fit.SamplingPerDay)
	assert.InEpsilon(t, 24*math.Ln2/fit.LossPerDay, fit.HalfLifeHours, 1e-9)
}

// The fit is told what lies under the sheet.
func TestFitKnowsTheCommodity(t *testing.T) {
	d := aday(t)
	d.dose("five-day")
	k := d.state.Stacks["A"]
	require.NotEmpty(t, k.Treatment.Given.Commodity)
	assert.Equal(t, k.Treatment.Given.Commodity, k.Gas.Setup.Commodity)
	assert.Equal(t, k.Gas.Setup.Commodity, k.Gas.Fit.Setup.Commodity)
}

// Where the dose or the gas space is not told, people are told so, and the forecast
// still comes, wider. The readings are those of the dose: the release-loss curve of
// Bateman (1910).
func TestForecastOfWhatIsNotTold(t *testing.T) {
	space, _ := dose.GasSpace(0, 150, 100, "maize")
	curve := decay.Curve{YieldPPM: dose.FullPPM(150, space, 27), Release: 1.3, Loss: 0.2}
	level := func(at logbook.Time) float64 { return curve.At((at.Hours(epoch) - 2.5) / 24) }
	width := func(grams, volume, tonnes float64) (ln float64, codes []string) {
		d := aday(t)
		d.level["a1"], d.level["a2"] = level, level
		d.act(&logbook.DosingStarted{OnStack: onA(), StoreEmpty: true}, logbook.KindDosingStarted, 0)
		d.act(&logbook.TreatmentStarted{OnStack: onA(), Treatment: "A-1", Protocol: "five-day", Commodity: "maize", Tonnes: tonnes,
			VolumeM3: volume, PhosphineG: grams, GrainTempC: 27}, logbook.KindTreatmentStarted, 0)
		d.run(14)
		low := d.state.Stacks["A"].Gas.Lowest
		require.NotNil(t, low)
		require.Positive(t, float64(low.PPM.P05))
		for _, f := range d.state.Found {
			codes = append(codes, f.Code)
		}
		return math.Log(float64(low.PPM.P95 / low.PPM.P05)), codes
	}
	told, codes := width(150, 150, 100)
	assert.NotContains(t, codes, "gas-space-unknown")
	for code, of := range map[string][3]float64{"dose-missing": {0, 150, 100}, "gas-space-unknown": {150, 150, 0}, "volume-missing": {150, 0, 100}} {
		wide, codes := width(of[0], of[1], of[2])
		assert.Contains(t, codes, code)
		assert.Greater(t, wide, told, code)
	}
}

// A dose that would make gas of a quarter of its lower explosive limit (1.79 %: NIOSH
// IDLH documentation 7803-51-2, 1994) is likely mistyped. Three grams a tonne, the most of
// a table of approved use (Government of India), is not.
func TestDoseThatCouldBurn(t *testing.T) {
	for grams, want := range map[float64]bool{300: false, 3000: true, 1e9: true} {
		d := aday(t)
		d.act(&logbook.DosingStarted{OnStack: onA(), StoreEmpty: true}, logbook.KindDosingStarted, 0)
		d.act(&logbook.TreatmentStarted{OnStack: onA(), Treatment: "A-1", Protocol: "five-day", Commodity: "maize", Tonnes: 100,
			VolumeM3: 150, PhosphineG: grams, GrainTempC: 27}, logbook.KindTreatmentStarted, 0)
		assert.Equal(t, want, slices.Contains(findings(d.fresh()), "dose-could-burn"), "%g g", grams)
	}
}
