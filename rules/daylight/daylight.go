// Package daylight tells day from night, for rules that ask for daylight.
//
// [Night] goes by the clock of a depot: nobody is sent in, and nobody is woken without
// need. [Elevation] goes by the sun, for what is told afterwards of an opening in the
// dark, and needs no calendar of a time zone. It is good to a few hundredths of a degree from 1950 to
// 2050, which is far finer than the question asks for; refraction is left out.
package daylight

import (
	"math"

	"undersheet/logbook"
)

// j2000 is the epoch of the formulas: 2000-01-01 12:00, in hours since 1970.
const j2000 = 10957*24 + 12

// Dark is the elevation below which there is no daylight to work by: the end of civil
// twilight, 6° below the horizon (definition).
const Dark = -6.0

// Dusk is the elevation below which the light is going: the sun at the horizon with
// refraction and its own radius, −0.833° (definition of sunset).
const Dusk = -0.833

// Elevation is the height of the sun's centre over the horizon in degrees, at a time
// and a place in degrees north and east (low-precision formulas of the Astronomical
// Almanac, section C).
func Elevation(at logbook.Time, latitude, longitude float64) float64 {
	ra, dec, sidereal := sun(at)
	hour := sidereal + longitude*math.Pi/180 - ra
	lat := latitude * math.Pi / 180
	sin := math.Sin(lat)*math.Sin(dec) + math.Cos(lat)*math.Cos(dec)*math.Cos(hour)
	return math.Asin(min(max(sin, -1), 1)) * 180 / math.Pi
}

// sun returns right ascension, declination and Greenwich sidereal time, in radians.
func sun(at logbook.Time) (ra, dec, sidereal float64) {
	rad := math.Pi / 180
	days := (float64(at)/3.6e9 - j2000) / 24
	anomaly := (357.528 + 0.9856003*days) * rad
	longitude := (280.460+0.9856474*days)*rad + 1.915*rad*math.Sin(anomaly) + 0.020*rad*math.Sin(2*anomaly)
	tilt := (23.439 - 0.0000004*days) * rad
	ra = math.Atan2(math.Cos(tilt)*math.Sin(longitude), math.Cos(longitude))
	dec = math.Asin(math.Sin(tilt) * math.Sin(longitude))
	return ra, dec, (280.46062 + 360.98564737*days) * rad
}
