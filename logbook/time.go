package logbook

import (
	"fmt"
	"math"
	"time"
)

// Time is a moment in whole microseconds since 1970-01-01T00:00:00Z. The zero
// Time means "no time given". It prints as RFC 3339 in UTC.
type Time int64

const timeLayout = "2006-01-02T15:04:05.999999Z07:00"

// At returns the Time of t, cut to microseconds. The zero time.Time gives 0.
func At(t time.Time) Time {
	if t.IsZero() {
		return 0
	}
	return Time(t.UnixMicro())
}

// ParseTime reads an RFC 3339 time.
func ParseTime(s string) (Time, error) {
	t, err := time.Parse(time.RFC3339Nano, s)
	if err != nil {
		return 0, fmt.Errorf("parse time %q: want RFC 3339, for example 2026-03-01T14:00:00Z", s)
	}
	if y := t.UTC().Year(); y < 1 || y > 9999 {
		return 0, fmt.Errorf("parse time %q: the year is outside 1 to 9999", s)
	}
	return At(t), nil
}

// Day is a day of 24 hours.
const Day = Time(24 * 3600 * 1e6)

// Std returns t as a time.Time in UTC; 0 gives the zero time.Time.
func (t Time) Std() time.Time {
	if t == 0 {
		return time.Time{}
	}
	return time.UnixMicro(int64(t)).UTC()
}

// IsZero reports whether t is unset.
func (t Time) IsZero() bool { return t == 0 }

// Add returns t + d.
func (t Time) Add(d time.Duration) Time { return t + Time(d.Microseconds()) }

// Sub returns the duration t − u; one too long for a time.Duration (292 years)
// gives the longest that there is, as time.Time.Sub does.
func (t Time) Sub(u Time) time.Duration {
	const longest = math.MaxInt64 / int64(time.Microsecond)
	switch d := int64(t - u); {
	case t > u && (d > longest || d < 0):
		return math.MaxInt64
	case t < u && (d < -longest || d > 0):
		return math.MinInt64
	default:
		return time.Duration(d) * time.Microsecond
	}
}

// Hours returns t − u in hours.
func (t Time) Hours(u Time) float64 { return float64(t-u) / 3.6e9 }

// String returns t in RFC 3339 with Z, or "" when unset.
func (t Time) String() string {
	if t == 0 {
		return ""
	}
	return t.Std().Format(timeLayout)
}

// MarshalText writes t as RFC 3339 with Z; an unset time is an empty text.
func (t Time) MarshalText() ([]byte, error) { return []byte(t.String()), nil }

// UnmarshalText reads RFC 3339; an empty text is an unset time.
func (t *Time) UnmarshalText(b []byte) (err error) {
	*t = 0
	if len(b) > 0 {
		*t, err = ParseTime(string(b))
	}
	return err
}

// Duration is a time.Duration that is written "90s", "10m", "2h" in site files
// and in JSON.
type Duration time.Duration

// Std returns d as a time.Duration.
func (d Duration) Std() time.Duration { return time.Duration(d) }

// MarshalText writes d as "1h30m0s".
func (d Duration) MarshalText() ([]byte, error) { return []byte(time.Duration(d).String()), nil }

// UnmarshalText reads "90s", "10m", "2h"; it refuses negative durations.
func (d *Duration) UnmarshalText(b []byte) error {
	v, err := time.ParseDuration(string(b))
	if err != nil || v < 0 {
		return fmt.Errorf("parse duration %q: want a number with its unit, for example 90s, 10m or 2h", b)
	}
	*d = Duration(v)
	return nil
}
