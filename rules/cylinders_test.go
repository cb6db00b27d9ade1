package rules

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"undersheet/logbook"
	"undersheet/rules/alarm"
)

// dosed is a depot whose first line reads up to 20,000 ppm, with 200 g of a form under stack A.
func dosed(t *testing.T, form string) *day {
	t.Helper()
	d := aday(t, func(s *logbook.Site) {
		c := s.Channels["a1"]
		c.Range = 20000
		s.Channels["a1"] = c
	})
	d.act(&logbook.TreatmentStarted{OnStack: onA(), Treatment: "A-1", Protocol: "five-day", Commodity: "maize", Tonnes: 100, VolumeM3: 150, PhosphineG: 200,
		GrainTempC: 27, Form: form}, logbook.KindTreatmentStarted, 0)
	return d
}

// firesIn is what is told of fire in an hour in which the first line, read every minute, goes
// from one level to another.
func firesIn(d *day, from, to float64) []string {
	d.fresh()
	d.level["a1"] = nil
	for minute := range 61 {
		d.now = d.now.Add(time.Minute)
		d.read("a1", from+(to-from)*float64(minute)/60)
	}
	return alarms(d.fresh(), alarm.Fire)
}

// Gas let in from cylinders is all there at once: a line may come to the whole dose in the
// first hour, at dosing and after an added one. 200 g in 72 m³ give about 2,000 ppm at the
// most, by the ideal gas law. What stands far over that is told, and a rise once the gas
// has spread, as phosphide told the same rise is at any time.
func TestGasFromCylindersIsNoFire(t *testing.T) {
	after := func(form string, hours float64, add bool, from, to float64) []string {
		d := dosed(t, form)
		d.level["a1"] = flat(from)
		d.run(hours)
		if add {
			d.act(&logbook.DoseAdded{OnStack: onA(), PhosphineG: 100}, logbook.KindDoseAdded, 0)
		}
		return firesIn(d, from, to)
	}
	assert.Empty(t, after("gas", 0, false, 0, 1700))
	assert.Empty(t, after("gas", 30, true, 300, 1600))
	assert.Equal(t, []string{"rise raised"}, after("tablets", 0, false, 0, 1700))
	assert.Equal(t, []string{"rise raised"}, after("gas", 30, false, 300, 1600))
	assert.Contains(t, after("gas", 0, false, 0, 4400), "above-dose raised")
	assert.Contains(t, after("gas", 0, false, 0, 9000), "lower-explosive-limit raised")
}

// Phosphide that is wet gives its gas faster than dry phosphide does, whatever gas was let in
// beside it: as it says at riseShare.
func TestPhosphideBesideCylindersIsWatched(t *testing.T) {
	after := func(form, laid string) []string {
		d := dosed(t, form)
		d.level["a1"] = flat(300)
		d.run(30)
		d.act(&logbook.DosePlaced{OnStack: onA(), Product: logbook.Product{Form: laid, Count: 100}}, logbook.KindDosePlaced, 0)
		d.act(&logbook.DoseAdded{OnStack: onA(), PhosphineG: 100}, logbook.KindDoseAdded, 0)
		return firesIn(d, 300, 1600)
	}
	assert.Equal(t, []string{"rise raised"}, after("gas", "tablets"))
	assert.Equal(t, []string{"rise raised"}, after("cylinders and tablets", "gas"))
	assert.Empty(t, after("gas", "gas"))
}

// Whatever was let in at first, phosphide that is added needs two days at the usual rate until
// nine tenths of its gas are off (ln 10 / 1.15 per day, from memory): airing before that would
// leave it live under the sheet.
func TestPhosphideAddedToCylindersHoldsBackAiring(t *testing.T) {
	d := aday(t)
	d.act(&logbook.TreatmentStarted{OnStack: onA(), Treatment: "A-1", Protocol: "five-day", Commodity: "maize", Tonnes: 100, VolumeM3: 150, PhosphineG: 50,
		GrainTempC: 27, Form: "gas"}, logbook.KindTreatmentStarted, 0)
	d.level["a1"], d.level["a2"] = decaying(450, 0.3), decaying(440, 0.3)
	d.run(30)
	d.act(&logbook.DoseAdded{OnStack: onA(), PhosphineG: 50}, logbook.KindDoseAdded, 0)
	assert.InDelta(t, 24*math.Ln10/1.15, d.state.Stacks["A"].Treatment.ReleaseUntil.Hours(d.now), 0.1)
}
