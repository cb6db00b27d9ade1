package alert

import (
	"time"

	"undersheet/logbook"
)

// The shipped night, by the clock of the site's zone.
const (
	nightFrom = 20 * 60 // minutes of the day
	nightTo   = 6 * 60
)

// Night returns a function that reports whether it is night at a site. It may be
// called from many goroutines.
func Night(site *logbook.Site) func(time.Time) bool {
	n := nightOf(site)
	return n.at
}

// night is when nobody goes in and nobody is woken without need.
type night struct {
	zone     *time.Location
	from, to int // minutes of the day; it may span midnight
}

// nightOf reads the night of a site. A zone that is not known counts as UTC, a
// time that cannot be read as the shipped night.
func nightOf(site *logbook.Site) night {
	n := night{zone: time.UTC, from: nightFrom, to: nightTo}
	if z, err := time.LoadLocation(site.Timezone); err == nil {
		n.zone = z
	}
	set := site.Settings.Night
	if set == nil {
		return n
	}
	from, errFrom := time.Parse("15:04", set.From)
	to, errTo := time.Parse("15:04", set.To)
	if errFrom == nil && errTo == nil && from != to {
		n.from, n.to = minutes(from), minutes(to)
	}
	return n
}

func minutes(t time.Time) int { return t.Hour()*60 + t.Minute() }

// at reports whether it is night at t. It goes by the clock on the wall, so that
// it is right on the days on which the clocks are changed.
func (n night) at(t time.Time) bool {
	m := minutes(t.In(n.zone))
	if n.from < n.to {
		return m >= n.from && m < n.to
	}
	return m >= n.from || m < n.to
}

// over returns the next first light after t. A time of day that a change of the
// clocks leaves out counts as the one that the clock shows instead.
func (n night) over(t time.Time) time.Time {
	y, m, d := t.In(n.zone).Date()
	light := time.Date(y, m, d, n.to/60, n.to%60, 0, 0, n.zone)
	if !light.After(t) {
		light = time.Date(y, m, d+1, n.to/60, n.to%60, 0, 0, n.zone)
	}
	return light
}
