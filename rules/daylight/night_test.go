package daylight

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"undersheet/logbook"
)

// clock is a time of the wall clock of a zone, "2006-01-02 15:04".
func clock(t *testing.T, zone, local string) time.Time {
	z, err := time.LoadLocation(zone)
	require.NoError(t, err)
	at, err := time.ParseInLocation("2006-01-02 15:04", local, z)
	require.NoError(t, err)
	return at
}

func TestNight(t *testing.T) {
	for _, c := range []struct {
		set  *logbook.Night
		want map[string]bool
	}{
		{nil, map[string]bool{"19:59": false, "20:00": true, "00:00": true, "05:59": true, "06:00": false}},
		{&logbook.Night{From: "00:30", To: "04:15"}, map[string]bool{"00:29": false, "00:30": true, "04:14": true, "04:15": false, "23:00": false}},
	} {
		for local, want := range c.want {
			at := clock(t, "Asia/Kathmandu", "2026-03-01 "+local)
			n := NightOf(c.set, at.Location())
			assert.Equal(t, want, n.Dark(at.UTC()), local)
			assert.Equal(t, want, n.Quiet(at.UTC()), local)
		}
	}
}

// What cannot be read sends nobody in, and keeps nothing back.
func TestNightThatCannotBeRead(t *testing.T) {
	for name, n := range map[string]Night{
		"from": NightOf(&logbook.Night{From: "9 pm", To: "06:00"}, time.UTC), "to": NightOf(&logbook.Night{From: "21:00", To: "24:00"}, time.UTC),
		"empty": NightOf(&logbook.Night{}, time.UTC), "no hours": NightOf(&logbook.Night{From: "06:00", To: "06:00"}, time.UTC), "zone": NightOf(nil, nil),
	} {
		for hour := range 24 {
			at := time.Date(2026, 3, 1, hour, 30, 0, 0, time.UTC)
			assert.True(t, n.Dark(at), "%s, %d:30", name, hour)
			assert.False(t, n.Quiet(at), "%s, %d:30", name, hour)
		}
		from, to, known := n.Hours()
		assert.Equal(t, []any{NightFrom, NightTo, false}, []any{from, to, known}, name)
	}
}

// Clocks are changed in the EU at 01:00 UTC on the last Sundays of March and October
// (Directive 2000/84/EC), in the US at 02:00 local time on the second Sunday of March
// and the first of November (Energy Policy Act of 2005): first light is by the clock.
func TestLight(t *testing.T) {
	for _, c := range []struct{ zone, at, utc string }{
		{"Europe/London", "2026-03-28 22:10", "2026-03-29 05:00"}, {"Europe/London", "2026-10-24 22:10", "2026-10-25 06:00"},
		{"America/New_York", "2026-03-07 20:00", "2026-03-08 10:00"}, {"America/New_York", "2026-10-31 23:59", "2026-11-01 11:00"},
		{"Asia/Kathmandu", "2026-03-02 05:00", "2026-03-02 00:15"}, {"Asia/Kathmandu", "2026-03-02 06:00", "2026-03-03 00:15"},
	} {
		at := clock(t, c.zone, c.at)
		light := NightOf(nil, at.Location()).Light(at)
		assert.Equal(t, c.utc, light.UTC().Format("2006-01-02 15:04"), c.at)
	}
}

// By day is from first light until dark; a night in the middle of the day leaves what
// comes after it.
func TestDay(t *testing.T) {
	for night, want := range map[logbook.Night][2]string{
		{From: "18:00", To: "07:00"}: {"07:00", "18:00"}, {From: "01:00", To: "04:00"}: {"06:00", "20:00"}, {From: "02:00", To: "10:00"}: {"10:00", "20:00"},
	} {
		light, dark := NightOf(&night, time.UTC).Day(time.Date(2026, 3, 1, 3, 0, 0, 0, time.UTC))
		assert.Equal(t, want, [2]string{light.Format("15:04"), dark.Format("15:04")}, night)
	}
}
