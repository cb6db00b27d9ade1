package rules

import (
	"maps"
	"slices"
	"strings"
	"time"

	"undersheet/logbook"
	"undersheet/rules/exposure"
	"undersheet/rules/reading"
)

// Visit is a masked entry that is over, with the gas in the air outside the mask: the highest
// that the fixed points read while it lasted, as if that had stood all the time. How much the
// mask kept out is not reckoned; and where phosphide lies open there can be more gas than any
// point reads.
type Visit struct {
	Store   string
	In, Out logbook.Time
	PPM     float64 // highest upper value meanwhile
	Known   bool    // every point was read, and trusted
	AtDoor  bool    // stayed at the door
}

// exposureDay is the stretch whose exposure counts as that of one working day (HSE,
// EH40: all exposure in 24 hours is treated as a uniform exposure of 8).
const (
	exposureDay  = 24 * time.Hour
	exposureOver = 8.0 // hours
	keepVisits   = 24  // of a person
)

// air is what the fixed points of a store read at most while somebody is inside.
type air struct {
	PPM   float64
	Doubt bool
}

// take lets a reading count for those who are inside, or at the door.
func (m *Masked) take(where string, j *reading.Judged) {
	a := &m.Inside
	if where == logbook.WhereDoor {
		a = &m.Door
	}
	a.PPM = max(a.PPM, j.Upper)
	a.Doubt = a.Doubt || j.State != reading.OK && j.State != reading.BelowDetection
}

// breathed takes a reading in air for all who are inside the store now.
func (s *State) breathed(st *Store, where string, j *reading.Judged) {
	if where != logbook.WhereInside && where != logbook.WhereDoor {
		return
	}
	switch j.State {
	case reading.Late, reading.Duplicate, reading.Retained: // they say nothing of the air now
		return
	}
	for i := range st.Inside {
		if j.At >= st.Inside[i].Since {
			st.Inside[i].take(where, j)
		}
	}
}

// visited keeps a masked entry that ended at out as a visit of the person who was inside, and
// as one of whoever stood at the door.
func (s *State) visited(store string, m *Masked, out logbook.Time) {
	s.worn(m.Name, m.Since, out)
	known := s.protection(store).Known
	s.visit(m.Name, Visit{store, m.Since, out, max(m.Inside.PPM, m.Air, m.Door.PPM), known && m.Known && !m.Inside.Doubt && !m.Door.Doubt, false})
	if m.AtDoor != "" {
		s.visit(m.AtDoor, Visit{store, m.Since, out, max(m.Door.PPM, m.AirAtDoor), known && m.Known && !m.Door.Doubt, true})
	}
}

// SamePerson reports whether two names are one person's: they are typed, so letters may be large
// or small, and spaces may stand around them.
func SamePerson(a, b string) bool {
	return strings.EqualFold(strings.TrimSpace(a), strings.TrimSpace(b))
}

// alone reports whether people are one person at most: some names may be empty, or the same.
func alone(people ...string) bool {
	first := ""
	for _, p := range people {
		switch p = strings.TrimSpace(p); {
		case p == "" || SamePerson(p, first):
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
		if SamePerson(name, person) {
			return name, true
		}
	}
	return strings.TrimSpace(person), false
}

// visit keeps a stay, and notes when the day's exposure is above the limit or not known.
func (s *State) visit(name string, v Visit) {
	if s.People == nil {
		s.People = map[string][]Visit{}
	}
	name, _ = called(s.People, name)
	vs := append(s.People[name], v)
	if len(vs) > keepVisits {
		vs = slices.Delete(vs, 0, len(vs)-keepVisits)
	}
	s.People[name] = vs
	limit, _ := exposure.Limit(s.limitSets(), s.At)
	ppm, known := exposedTo(vs, v.Out)
	switch {
	case ppm >= limit:
		s.find(logbook.Finding{Code: "person-exposed", Store: v.Store, About: name, Value: logbook.Number(ppm), Limit: logbook.Number(limit)})
	case !known:
		s.find(logbook.Finding{Code: "person-exposure-unknown", Store: v.Store, About: name, Value: logbook.Number(v.Out.Sub(v.In).Minutes())})
	}
}

// exposedTo is the exposure of the visits in the 24 hours before at, as a mean over 8 hours,
// ppm. known is false if the air was not known during one of them.
func exposedTo(vs []Visit, at logbook.Time) (ppm float64, known bool) {
	known = true
	for _, v := range vs {
		if v.Out > at.Add(-exposureDay) {
			ppm += v.PPM * v.Out.Hours(max(v.In, at.Add(-exposureDay))) / exposureOver
			known = known && v.Known
		}
	}
	return ppm, known
}

// PersonView is what somebody met in the last 24 hours.
type PersonView struct {
	Name   string
	Visits []Visit // of the last 24 hours
	TWA8   float64 // ppm, outside the mask
	Known  bool
}

// PeopleIn shows who was in a store by masked entry in the last 24 hours.
func (s *State) PeopleIn(store string) []PersonView {
	var out []PersonView
	for _, name := range slices.Sorted(maps.Keys(s.People)) {
		p := PersonView{Name: name}
		here := false
		for _, v := range s.People[name] {
			if v.Out > s.At.Add(-exposureDay) {
				p.Visits = append(p.Visits, v)
				here = here || v.Store == store
			}
		}
		if here {
			p.TWA8, p.Known = exposedTo(p.Visits, s.At)
			out = append(out, p)
		}
	}
	return out
}
