package configs

import (
	"math"

	"undersheet/logbook"
)

// position judges whether a depot can lie there.
func (c *checker) position(p logbook.Position) bool {
	for _, key := range []string{"position.latitude", "position.longitude"} {
		if !c.given(key) {
			c.wrong(key, nil, "is missing: the sun rises by both latitude and longitude")
			return false
		}
	}
	if !(p.Latitude >= -90 && p.Latitude <= 90 && p.Longitude >= -180 && p.Longitude <= 180) {
		c.wrong("position", nil, "latitude is from -90 to 90 and longitude from -180 to 180, in degrees, north and east positive")
		return false
	}
	return true
}

// noon warns of a place that cannot have the site's clock: the sun that is reckoned for another
// place rises at another hour.
func (c *checker) noon(p logbook.Position) {
	if h := offNoon(p.Longitude, c.site.Offsets); h > farthestNoon {
		c.warn("position.longitude", p.Longitude, "noon is %.0f hours from 12:00 there by the clock of %s: look at its sign (east is positive), whether it is the latitude, and at the time zone", h, c.site.Timezone)
	}
}

// farthestNoon is more hours between noon by the sun and 12:00 than wherever grain is kept: about
// three in the far west of China, less elsewhere.
const farthestNoon = 3

// offNoon is the hours between noon by the mean sun, which moves by 15° an hour (definition), and
// 12:00 by the clock that comes nearest to it, in summer or in winter.
func offNoon(longitude float64, offsets []logbook.Offset) float64 {
	least := math.Inf(1)
	for _, o := range offsets {
		least = min(least, math.Abs(math.Remainder(float64(o.Seconds)/3600-longitude/15, 24)))
	}
	return least
}
