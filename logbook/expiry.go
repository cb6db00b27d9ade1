package logbook

import (
	"fmt"
	"time"
)

// Expiry is until when a thing may be used or a check holds: a date, as it is printed on the
// thing or its certificate, "2006-01-02", which counts to its end by the depot's clock. Earlier versions asked for a
// moment, in RFC 3339: it is not used from then on.
type Expiry string

// Read returns the last day, at 00:00 UTC, or the moment; the other is zero.
func (x Expiry) Read() (lastDay time.Time, moment Time, err error) {
	if lastDay, err = time.Parse(time.DateOnly, string(x)); err == nil {
		if y := lastDay.Year(); y < 1970 || y > 9998 {
			return time.Time{}, 0, fmt.Errorf("read expiry %q: the year is outside 1970 to 9998", string(x))
		}
		return lastDay, 0, nil
	}
	if moment, err = ParseTime(string(x)); err == nil {
		return time.Time{}, moment, nil
	}
	return time.Time{}, 0, fmt.Errorf("read expiry %q: want the last day of use, for example 2026-09-30", string(x))
}
