package configs

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/logbook"
	"undersheet/rules/followup"
)

const withPeople = small + "people:\n  - {name: Ana Brook, email: ana@x.example}\n  - {name: Cy Orme}\n"

func TestFollowUpFaults(t *testing.T) {
	for _, c := range []struct{ part, want, got string }{
		{"follow_ups:\n  jar: {owner: Ana Brooke}\n", "follow_ups.jar.owner: is nobody of people: write the name as it stands there", "Ana Brooke"},
		{"follow_ups:\n  jars: {owner: Ana Brook}\n", "follow_ups.jars: there is no follow-up of this name that anybody does", ""},
		{"follow_ups:\n  withholding: {owner: Ana Brook}\n", "follow_ups.withholding: there is no follow-up of this name that anybody does", ""},
		{"follow_ups:\n  jar: {lead: 9000h}\n", "follow_ups.jar.lead: must be from 1m to 2880h", "9000h"},
		{"follow_ups:\n  default: {after: 1m}\n", "follow_ups.default.after: must be from 1h to 336h", "1m"},
		{"follow_ups:\n  jar: {who: Ana Brook}\n", "follow_ups.jar.who: ", ""},
		{"settings:\n  {inspect_at: \"25:00\"}\n", "settings.inspect_at: is no time of day", "25:00"},
		{"settings:\n  {jar: 24h}\n", "settings.jar: must be from 168h to 2880h", "24h"},
		{"settings:\n  {second_look: 1h}\n", "settings.second_look: must be from 48h to 1440h", "1h"},
	} {
		_, _, err := Parse("s.yaml", []byte(withPeople+c.part))
		require.ErrorContains(t, err, c.want)
		require.ErrorContains(t, err, "s.yaml:18:", "the line where it stands")
		require.ErrorContains(t, err, c.got)
	}
	site, warnings, err := Parse("s.yaml", []byte(withPeople+"follow_ups:\n  default: {owner: Cy Orme}\n  jar: {owner: Ana Brook, lead: 72h}\n"))
	require.NoError(t, err)
	require.Equal(t, followup.Rule{Owner: "Ana Brook", Lead: 72 * time.Hour, After: 24 * time.Hour}, followup.RuleOf(site, logbook.FollowJar))
	require.Equal(t, "Cy Orme", followup.RuleOf(site, logbook.FollowInspection).Owner)
	var said []string
	for _, w := range warnings {
		said = append(said, w.Path)
	}
	require.Contains(t, said, "follow_ups.default.owner", "nothing reaches them")
}

// The clock of a zone by the site's own list is that of the time zone database.
func TestOffsetsAreThoseOfTheZone(t *testing.T) {
	for _, name := range []string{"UTC", "Africa/Nairobi", "Europe/Lisbon", "Asia/Kathmandu", "America/Santiago", "Australia/Lord_Howe"} {
		zone, err := time.LoadLocation(name)
		require.NoError(t, err)
		z := followup.Zone(offsets(zone))
		for at := time.Date(2024, 1, 1, 0, 20, 0, 0, time.UTC); at.Year() < 2028; at = at.Add(7 * time.Hour) {
			next := z.Next(logbook.At(at), 16*time.Hour+30*time.Minute).Std().In(zone)
			require.Equal(t, "16:30", next.Format("15:04"), "%s after %s", name, at)
			require.False(t, next.Before(at), name)
			require.LessOrEqual(t, next.Sub(at), 25*time.Hour, name)
			y, m, d := at.In(zone).Date()
			require.Equal(t, logbook.At(time.Date(y, m, d+1, 0, 0, 0, 0, zone)), z.End(time.Date(y, m, d, 0, 0, 0, 0, time.UTC)), "%s: the end of %s", name, at)
		}
	}
}
