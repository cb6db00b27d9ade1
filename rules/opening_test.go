package rules

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"undersheet/logbook"
)

// First opening against good practice (common practice): in the dark, so late that
// airing ends without daylight, in still air (Beaufort 0), towards people's homes.
func TestFirstOpening(t *testing.T) {
	for name, c := range map[string]struct {
		hours       float64 // after 06:00 UTC, at 0° N 0° E on 1 March: the sun sets at about 18:20
		speed, from float64
		despite     string
		want        []string
	}{
		"by day, away from people": {126, 3, 90, "", nil},
		"by day, towards people":   {126, 3, 170, "", []string{"opened-towards-dwelling-no-reason"}},
		"past them":                {126, 3, 140, "", []string{"opened-towards-dwelling-no-reason"}},
		"far past them":            {126, 3, 120, "", nil},
		"still air":                {126, 0.2, 180, "", []string{"opened-in-still-air-no-reason"}},
		"dusk":                     {131.2, 3, 90, "", []string{"opened-at-dusk-no-reason"}},
		"night":                    {136, 3, 90, "", []string{"opened-in-the-dark-no-reason"}},
		"night, with a reason":     {136, 3, 90, "fire next door", []string{"opened-in-the-dark"}},
	} {
		d := underGas(t, func(s *logbook.Site) {
			s.Position = &logbook.Position{}
			s.Channels["wind"], s.Channels["vane"] = logbook.Channel{Unit: logbook.MS}, logbook.Channel{Unit: logbook.Deg}
			s.Wind = &logbook.Wind{Speed: "wind", Direction: "vane"}
			s.Stores[0].Dwellings = []logbook.Dwelling{{Name: "mill cottage", Bearing: 0}}
		})
		d.level["wind"], d.level["vane"] = func(logbook.Time) float64 { return c.speed }, func(logbook.Time) float64 { return c.from }
		d.run(c.hours - d.now.Hours(epoch))
		d.fresh()
		d.act(&logbook.AiringStarted{OnStack: onA(), Despite: c.despite}, logbook.KindAiringStarted, 0)
		var got []string
		for _, f := range of[*logbook.Finding](d.fresh()) {
			if len(f.Code) > 6 && f.Code[:6] == "opened" {
				got = append(got, f.Code)
				if c.despite != "" {
					assert.Equal(t, c.despite, f.About)
				}
			}
		}
		assert.Equal(t, c.want, got, name)
		d.air()
		assert.NotContains(t, d.findings(), "opened-in-the-dark-no-reason", "only the first opening")
	}
}

// A dwelling has the limit that the site set with its authority, never the workers';
// without one, whatever the instrument finds is too much.
func TestDwellingsHaveTheirOwnLimit(t *testing.T) {
	for _, c := range []struct{ limit, ppm, want float64 }{{0.05, 0.06, 0.05}, {0.05, 0.04, 0}, {0, 0.04, 0.03}, {5, 0.31, 0.3}} {
		d := underGas(t, func(s *logbook.Site) {
			s.Stores[0].Air[2].Where, s.Stores[0].Air[2].Limit = logbook.WhereDwelling, c.limit
		})
		d.level["office"] = flat(c.ppm)
		d.run(0.5)
		got := logbook.Number(0)
		for _, a := range of[*logbook.Alarm](d.fresh()) {
			if a.Alarm == "air-gas" && a.State == logbook.AlarmRaised {
				got = a.Limit
			}
		}
		assert.InDelta(t, c.want, float64(got), 1e-9, "%+v", c)
	}
}
