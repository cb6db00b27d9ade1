package plan

import (
	"time"

	"undersheet/logbook"
)

// signedFor is how long a signed check stands: a day, common practice.
const signedFor = 24 * time.Hour

// Signature is what somebody signed of one check before dosing.
type Signature struct {
	At      logbook.Time
	InOrder bool
}

// Signed are the checks of a store that were signed, by code.
type Signed map[string]Signature

// Sign takes what was signed of checks; the newest counts. It returns those that there are
// none of.
func (s *Signed) Sign(codes []string, of Signature) (unknown []string) {
	for _, c := range codes {
		if !IsCheck(c) {
			unknown = append(unknown, c)
			continue
		}
		if *s == nil {
			*s = Signed{}
		}
		if old, ok := (*s)[c]; !ok || old.At <= of.At {
			(*s)[c] = of
		}
	}
	return unknown
}

// Before lists the checks that were not signed in the day before dosing began, and those
// that were found wanting.
func (s Signed) Before(dosing logbook.Time, outdoors bool) (owed, wanting []string) {
	for _, c := range Checks(outdoors) {
		signed, ok := s[c]
		switch {
		case !ok || signed.At < dosing.Add(-signedFor):
			owed = append(owed, c)
		case !signed.InOrder:
			wanting = append(wanting, c)
		}
	}
	return owed, wanting
}
