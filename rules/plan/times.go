package plan

import (
	"time"

	"undersheet/logbook"
	"undersheet/rules/daylight"
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

// spareHours is kept between the end of the shortest airing and the dark, for the
// hand readings, and for what goes wrong: common practice.
const spareHours = 1.0

// timesOf lays the hours of airing into daylight: the first opening, two hours of
// airing and one to spare, all before it is dark. A longer airing goes on over night
// with nobody inside.
func timesOf(a *Ask, hours, airing float64) *Times {
	zone := a.Zone
	if zone == nil {
		zone = time.UTC
	}
	var set *logbook.Night
	if a.Site != nil {
		set = a.Site.Settings.Night
	}
	night := daylight.NightOf(set, zone)
	end := a.Start.Std().Add(time.Duration(hours * float64(time.Hour))).In(zone)
	t := &Times{Shut: a.Start, End: logbook.At(end)}
	need := time.Duration((min(airing, protocol.MinAiring.Hours()) + spareHours) * float64(time.Hour))
	for day := range 3 {
		first, dark := night.Day(end.AddDate(0, 0, day))
		latest := dark.Add(-need)
		if first.Before(end) {
			first = end
		}
		if !first.After(latest) {
			t.AirFrom, t.AirLatest, t.Dark = logbook.At(first), logbook.At(latest), logbook.At(dark)
			t.Waits = first.Sub(end) > 0
			return t
		}
	}
	return t
}
