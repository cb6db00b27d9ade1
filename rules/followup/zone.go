package followup

import (
	"time"

	"undersheet/logbook"
)

// Zone is the clock of a depot: how far it is ahead of UTC, oldest first. An empty one
// is UTC.
type Zone []logbook.Offset

// at is how far the clock is ahead of UTC.
func (z Zone) at(t logbook.Time) time.Duration {
	ahead := 0
	for i, o := range z {
		if i == 0 || o.From <= t {
			ahead = o.Seconds
		}
	}
	return time.Duration(ahead) * time.Second
}

// Next is the first moment from t on at which the clock shows a time of day. On a day on which
// the clock is put forward past that time it may be an hour or so off.
func (z Zone) Next(t logbook.Time, day time.Duration) logbook.Time {
	ahead := z.at(t)
	local := t.Add(ahead)
	next := (local - local%logbook.Day).Add(day)
	for range 3 {
		if at := next.Add(-z.at(next.Add(-ahead))); at >= t {
			return at
		}
		next += logbook.Day
	}
	return next.Add(-ahead)
}

// End is when a day is over by the depot's clock; day is its date at 00:00 UTC.
func (z Zone) End(day time.Time) logbook.Time {
	at := logbook.At(day) + logbook.Day
	return at.Add(-z.at(at.Add(-z.at(at))))
}
