package form

import (
	"errors"
	"math"
	"regexp"
	"strconv"
	"strings"
	"time"

	"undersheet/logbook"
	"undersheet/logbook/words"
)

// decimal is how a number is written: digits, and at most one point or comma.
var decimal = regexp.MustCompile(`^[-−]?([0-9]{1,12})([.,][0-9]{1,12})?$`)

// thousands is what can be read in two ways.
var thousands = regexp.MustCompile(`^[-−]?[1-9][0-9]{0,2},[0-9]{3}$`)

// ParseNumber reads a number with a decimal point or a decimal comma. It refuses
// exponents, spaces between digits, and "1,234", which is 1.234 to some and 1234
// to others. Errors are in the language.
func ParseNumber(lang, s string) (float64, error) {
	s = strings.TrimSpace(s)
	switch {
	case thousands.MatchString(s):
		return 0, errors.New(words.Text(lang, "form/two-ways", "{text}", s, "{whole}", strings.Replace(s, ",", "", 1), "{broken}", strings.Replace(s, ",", ".", 1)))
	case !decimal.MatchString(s):
		return 0, errors.New(words.Text(lang, "form/no-number", "{text}", short(s)))
	}
	s = strings.NewReplacer(",", ".", "−", "-").Replace(s)
	v, err := strconv.ParseFloat(s, 64)
	if err != nil || math.IsInf(v, 0) {
		return 0, errors.New(words.Text(lang, "form/no-kept-number", "{text}", short(s)))
	}
	return v + 0, nil // no negative zero
}

// short cuts what is quoted back.
func short(s string) string {
	const most = 40
	if r := []rune(s); len(r) > most {
		return string(r[:most]) + "…"
	}
	return s
}

// localLayout is what browsers send for a local moment.
const localLayout = "2006-01-02T15:04"

// local is how a local moment is written, two digits each; the parser would take fewer.
var local = regexp.MustCompile(`^\d{4}-\d\d-\d\dT\d\d:\d\d(:\d\d)?$`)

// ParseLocal reads a moment as a clock in zone shows it, "2006-01-02T15:04" with
// seconds if need be. A moment that the clocks skipped is an error. One that they
// showed twice is the later of the two, unless that lies after now. Errors are in the
// language.
func ParseLocal(lang, s string, zone *time.Location, now time.Time) (logbook.Time, error) {
	s = strings.TrimSpace(s)
	t, err := time.ParseInLocation(localLayout, s, zone)
	if err != nil {
		t, err = time.ParseInLocation(localLayout+":05", s, zone)
	}
	if err != nil || !local.MatchString(s) || t.Year() < 1970 || t.Year() > 9998 {
		return 0, errors.New(words.Text(lang, "form/no-time", "{text}", short(s)))
	}
	if got := t.Format(localLayout); got != s[:len(localLayout)] {
		return 0, errors.New(words.Text(lang, "form/skipped", "{zone}", zone.String(), "{text}", s))
	}
	var found time.Time
	for _, off := range []time.Duration{0, time.Hour, -time.Hour, 30 * time.Minute, -30 * time.Minute, 2 * time.Hour, -2 * time.Hour} { // by how much clocks are set back
		if u := t.Add(off); u.Format(localLayout) == t.Format(localLayout) && !u.After(now) && u.After(found) {
			found = u
		}
	}
	if found.IsZero() {
		return 0, errors.New(words.Text(lang, "form/ahead"))
	}
	return logbook.At(found), nil
}
