package rules

import (
	"math"
	"strings"
	"time"

	"undersheet/logbook"
	"undersheet/rules/daylight"
	"undersheet/rules/reading"
)

// calm is the wind speed in m/s below which air is still: Beaufort number 0, below
// 0.3 m/s (WMO-No. 306, code table 1100).
const calm = 0.3

// towards is how far, in degrees, the wind may blow past a dwelling and still be said
// to blow towards it: common practice.
const towards = 45.0

// firstOpening notes when a store is opened against good practice: in the dark or at
// dusk, in still air, or with the wind towards dwellings. A reason that was stated
// stands beside it.
func (s *State) firstOpening(e *logbook.AiringStarted, k *Stack, at logbook.Time) {
	note := func(code, about string, value float64) {
		if reason := strings.TrimSpace(e.Despite); reason != "" {
			about = strings.TrimSpace(about + " " + reason)
		} else {
			code += "-no-reason"
		}
		s.find(logbook.Finding{Code: code, Store: k.Store, Stack: e.Stack, About: about, Value: logbook.Number(value)})
	}
	if p := s.Site.Position; p != nil {
		now, later := daylight.Elevation(at, p.Latitude, p.Longitude), daylight.Elevation(at.Add(2*time.Hour), p.Latitude, p.Longitude)
		switch {
		case now < daylight.Dark:
			note("opened-in-the-dark", "", now)
		case min(now, later) < daylight.Dusk:
			note("opened-at-dusk", "", min(now, later))
		}
	}
	w := s.Site.Wind
	if w == nil {
		return
	}
	if v, known := s.windNow(w.Speed); known && v < calm {
		note("opened-in-still-air", "", v)
		return // still air has no direction
	}
	from, known := s.windNow(w.Direction)
	site, _ := s.siteStore(k.Store)
	for _, d := range site.Dwellings {
		if away := math.Abs(math.Remainder(from+180-d.Bearing, 360)); known && away <= towards {
			note("opened-towards-dwelling", d.Name, away)
		}
	}
}

// windNow is what a channel of the wind shows, when that is to be trusted.
func (s *State) windNow(channel string) (float64, bool) {
	if channel == "" {
		return 0, false
	}
	v := s.sample(channel)
	return v.PPM, v.State == reading.OK
}
