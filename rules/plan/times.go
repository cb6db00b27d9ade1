package plan

import (
	"time"

	"undersheet/logbook"
	"undersheet/rules/protocol"
)

// Times are the hours of a plan whose start is fixed.
type Times struct {
	Shut      logbook.Time `json:"shut"`       // t = 0
	End       logbook.Time `json:"end"`        // the shortest exposure is over
	AirFrom   logbook.Time `json:"air_from"`   // earliest opening: after End, by daylight
	AirLatest logbook.Time `json:"air_latest"` // latest opening on that day
	Dark      logbook.Time `json:"dark"`       // night begins that day
	Waits     bool         `json:"waits"`      // the exposure ends too late in the day: opening waits for the next
}

// Usual bounds of the night by the clock of the site, where its file has none: as
// the daemon's.
const (
	usualDark  = 20 * 60 // minutes of the day
	usualLight = 6 * 60
)

// spareHours is kept between the end of the shortest airing and the dark, for the
// hand readings, and for what goes wrong: common practice.
const spareHours = 1.0

// timesOf lays the hours of airing into daylight: the first opening, two hours of
// airing and one to spare, all before it is dark. A longer airing goes on over night
// with nobody inside.
func timesOf(a *Ask, hours, airing float64) *Times {
	zone, light, dark := a.Zone, usualLight, usualDark
	if zone == nil {
		zone = time.UTC
	}
	if a.Site != nil && a.Site.Settings.Night != nil {
		n := a.Site.Settings.Night
		dark, light = minutes(n.From, usualDark), minutes(n.To, usualLight)
	}
	end := a.Start.Std().Add(time.Duration(hours * float64(time.Hour))).In(zone)
	t := &Times{Shut: a.Start, End: logbook.At(end)}
	if dark <= light { // a day that spans midnight is no day to plan by
		light, dark = usualLight, usualDark
	}
	need := time.Duration((min(airing, protocol.MinAiring.Hours()) + spareHours) * float64(time.Hour))
	for day := 0; day < 3; day++ {
		at := func(m int) time.Time {
			return time.Date(end.Year(), end.Month(), end.Day()+day, m/60, m%60, 0, 0, zone)
		}
		latest := at(dark).Add(-need)
		first := at(light)
		if first.Before(end) {
			first = end
		}
		if !first.After(latest) {
			t.AirFrom, t.AirLatest, t.Dark = logbook.At(first), logbook.At(latest), logbook.At(at(dark))
			t.Waits = first.Sub(end) > 0
			return t
		}
	}
	return t
}

// minutes reads "15:04" as minutes of the day, or returns usual.
func minutes(clock string, usual int) int {
	t, err := time.Parse("15:04", clock)
	if err != nil {
		return usual
	}
	return 60*t.Hour() + t.Minute()
}
