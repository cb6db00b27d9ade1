// Package people knows persons by their names, and keeps what phosphine asks of them:
// who is in a store by masked entry ([Inside]), what gas they met there in the last day
// ([Book]), and how much of the canisters of their masks is used ([Canisters]).
//
// Of gas it takes what the fixed points read outside the mask: how much a mask kept
// out is not reckoned, and where the air was not read the exposure is not known.
// Whether anybody may go in is no matter of this package.
package people

import (
	"maps"
	"slices"
	"strings"
	"time"

	"undersheet/logbook"
)

// Same reports whether two names are one person's: they are typed, so letters may be large
// or small, and spaces may stand around them.
func Same(a, b string) bool {
	return strings.EqualFold(strings.TrimSpace(a), strings.TrimSpace(b))
}

// Alone reports whether names are of one person at most: some may be empty, or the same.
func Alone(names ...string) bool {
	first := ""
	for _, p := range names {
		switch p = strings.TrimSpace(p); {
		case p == "" || Same(p, first):
		case first == "":
			first = p
		default:
			return false
		}
	}
	return true
}

// called returns the name under which m holds a person; else the name, without spaces around it.
func called[V any](m map[string]V, person string) (name string, known bool) {
	if _, known = m[person]; known {
		return person, true
	}
	for _, name := range slices.Sorted(maps.Keys(m)) {
		if Same(name, person) {
			return name, true
		}
	}
	return strings.TrimSpace(person), false
}

// anywhere is how long a day lasts somewhere on earth after it ended in UTC (UTC−12), and
// that day itself.
const anywhere = 36 * time.Hour

// LicenceOver reports whether a licence had run out at a time; until is its last day, as the
// site file has it, which counts to its end anywhere on earth. One without a day never
// runs out.
func LicenceOver(until string, at logbook.Time) bool {
	last, err := time.Parse(time.DateOnly, until)
	return err == nil && at.Std().After(last.Add(anywhere))
}
