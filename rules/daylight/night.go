package daylight

import (
	"time"

	"undersheet/logbook"
)

// The shipped night, by the clock of the site's zone: common practice.
const (
	NightFrom = "20:00"
	NightTo   = "06:00"
)

// Night is when nobody goes in and nobody is woken without need, by the clock on the
// wall of a depot, so that it is right on the days on which clocks are changed.
//
// Where it cannot be read, which a checked site file does not allow, each question gets
// the answer that hurts nobody: it is dark at any hour, so that nobody is sent in, and
// quiet at none, so that no alarm waits. Its hours are then the shipped ones.
type Night struct {
	zone     *time.Location
	from, to int // minutes of the day; it may span midnight
	known    bool
}

// NightOf reads the night of a site: the shipped one where it sets none. A zone that is
// nil is not known: hours are then those of UTC.
func NightOf(set *logbook.Night, zone *time.Location) Night {
	if set == nil {
		set = &logbook.Night{From: NightFrom, To: NightTo}
	}
	n := Night{zone: zone, known: zone != nil}
	if zone == nil {
		n.zone = time.UTC
	}
	from, readFrom := minutes(set.From)
	to, readTo := minutes(set.To)
	if n.from, n.to = from, to; !readFrom || !readTo || from == to {
		n.from, _ = minutes(NightFrom)
		n.to, _ = minutes(NightTo)
		n.known = false
	}
	return n
}

// minutes reads "15:04" as minutes of the day.
func minutes(clock string) (m int, read bool) {
	t, err := time.Parse("15:04", clock)
	return 60*t.Hour() + t.Minute(), err == nil
}

// Zone is the time zone that its hours are of.
func (n Night) Zone() *time.Location { return n.zone }

// Hours are when it begins and ends ("15:04"), and whether that could be read.
func (n Night) Hours() (from, to string, known bool) {
	text := func(m int) string { return time.Date(0, 1, 1, 0, m, 0, 0, time.UTC).Format("15:04") }
	return text(n.from), text(n.to), n.known
}

// Dark reports whether nobody goes in at t because it is night, or may be.
func (n Night) Dark(t time.Time) bool { return !n.known || n.in(t) }

// Quiet reports whether what wakes people without need waits at t for first light. It
// never holds back what lives hang on: that is for whoever asks.
func (n Night) Quiet(t time.Time) bool { return n.known && n.in(t) }

// in reports whether the clock stands between its hours at t.
func (n Night) in(t time.Time) bool {
	t = t.In(n.zone)
	m := 60*t.Hour() + t.Minute()
	if n.from < n.to {
		return m >= n.from && m < n.to
	}
	return m >= n.from || m < n.to
}

// Light returns the next first light after t. A time of day that a change of the
// clocks leaves out counts as the one that the clock shows instead.
func (n Night) Light(t time.Time) time.Time {
	light := n.clock(t, 0, n.to)
	if !light.After(t) {
		light = n.clock(t, 1, n.to)
	}
	return light
}

// Day returns the hours to work by on the date of t: from first light until it is dark.
// Where a night does not span midnight, they are those after it, within the shipped day.
func (n Night) Day(t time.Time) (light, dark time.Time) {
	from, to := n.from, n.to
	if from < to {
		usual, _ := minutes(NightTo)
		from, _ = minutes(NightFrom)
		to = max(to, usual)
	}
	return n.clock(t, 0, to), n.clock(t, 0, from)
}

// clock is when the clock shows a minute of the day, so many days after the date of t.
func (n Night) clock(t time.Time, days, minute int) time.Time {
	y, m, d := t.In(n.zone).Date()
	return time.Date(y, m, d+days, minute/60, minute%60, 0, 0, n.zone)
}
