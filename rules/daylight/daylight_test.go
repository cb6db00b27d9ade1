package daylight

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"undersheet/logbook"
)

// Meeus, Astronomical Algorithms, 2nd ed., example 25.a: on 1992-10-13 at 0h the sun's
// apparent right ascension is 198.38083° and its declination −7.78507° (from memory).
func TestSunOfMeeus(t *testing.T) {
	ra, dec, _ := sun(logbook.At(time.Date(1992, 10, 13, 0, 0, 0, 0, time.UTC)))
	assert.InDelta(t, 198.38083, math.Mod(ra*180/math.Pi+360, 360), 0.02)
	assert.InDelta(t, -7.78507, dec*180/math.Pi, 0.01)
}

// Meeus, example 12.a: mean sidereal time at Greenwich on 1987-04-10 at 0h is
// 13h10m46.3668s = 197.693195° (from memory).
func TestSiderealTimeOfMeeus(t *testing.T) {
	_, _, s := sun(logbook.At(time.Date(1987, 4, 10, 0, 0, 0, 0, time.UTC)))
	got := math.Mod(s*180/math.Pi, 360)
	if got < 0 {
		got += 360
	}
	assert.InDelta(t, 197.693195, got, 0.001)
}

// By definition: at the solstices the noon sun stands overhead at the tropics (23.44°),
// and does not rise beyond the polar circle in winter; at the equinox the day is 12
// hours long at the equator, but for refraction.
func TestElevation(t *testing.T) {
	noon := logbook.At(time.Date(2026, 6, 21, 12, 2, 0, 0, time.UTC))
	assert.InDelta(t, 90, Elevation(noon, 23.44, 0), 0.5)
	assert.Less(t, Elevation(noon, -70, 0), 0.0)
	equinox := time.Date(2026, 3, 20, 0, 0, 0, 0, time.UTC)
	up := 0
	for m := range 24 * 60 {
		if Elevation(logbook.At(equinox.Add(time.Duration(m)*time.Minute)), 0, 37) > 0 {
			up++
		}
	}
	assert.InDelta(t, 12*60, up, 2)
}

// Reda & Andreas, Solar Position Algorithm for Solar Radiation Applications,
// NREL/TP-560-34302, 2003/2008, the example of its appendix: on 2003-10-17 at 12:30:30,
// 7 h behind UTC, at 39.742476° N and 105.1786° W, the sun stands at 39.872046° without
// refraction (from memory).
func TestElevationOfReda(t *testing.T) {
	at := time.Date(2003, 10, 17, 12, 30, 30, 0, time.FixedZone("", -7*3600))
	assert.InDelta(t, 39.872046, Elevation(logbook.At(at), 39.742476, -105.1786), 0.01)
}
