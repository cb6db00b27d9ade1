package people

import (
	"maps"
	"slices"
	"time"

	"undersheet/logbook"
	"undersheet/rules/exposure"
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

// Visits are a masked entry that ended at out, of the person who was inside and of whoever
// stood at the door. known tells whether the air of the store is known on coming out.
func (m *Masked) Visits(store string, out logbook.Time, known bool) (inside, door Visit) {
	known = known && m.Known && !m.Door.Doubt
	return Visit{store, m.Since, out, max(m.Inside.PPM, m.Air, m.Door.PPM), known && !m.Inside.Doubt, false},
		Visit{store, m.Since, out, max(m.Door.PPM, m.AirAtDoor), known, true}
}

// exposureDay is the stretch whose exposure counts as that of one working day (HSE, EH40: all
// exposure in 24 hours is treated as a uniform exposure of 8).
const exposureDay = 24 * time.Hour

// keepVisits bounds the visits that are remembered of a person.
const keepVisits = 24

// Book holds the last visits of everybody, by name, oldest first.
type Book map[string][]Visit

// Add puts a visit into the book. It returns the name that the book has for the person, and
// the person's exposure on coming out, as Exposure does.
func (b *Book) Add(person string, v Visit) (name string, ppm float64, known bool) {
	if *b == nil {
		*b = Book{}
	}
	name, _ = called(*b, person)
	vs := append((*b)[name], v)
	if len(vs) > keepVisits {
		vs = slices.Delete(vs, 0, len(vs)-keepVisits)
	}
	(*b)[name] = vs
	ppm, known = Exposure(vs, v.Out)
	return name, ppm, known
}

// Exposure is that of the visits in the 24 hours before at, as a mean over 8 hours, ppm.
// known is false if the air was not known during one of them.
func Exposure(vs []Visit, at logbook.Time) (ppm float64, known bool) {
	from, known := at.Add(-exposureDay), true
	var spans []exposure.Span
	for _, v := range vs {
		if v.Out > from {
			spans = append(spans, exposure.Span{PPM: v.PPM, Hours: v.Out.Hours(max(v.In, from))})
			known = known && v.Known
		}
	}
	return exposure.TWA8(spans), known
}

// Day is what somebody met in the last 24 hours.
type Day struct {
	Name   string
	Visits []Visit // of the last 24 hours
	TWA8   float64 // ppm, outside the mask
	Known  bool
}

// Today shows who was in a store in the 24 hours before now, by name, with all that they met
// in that time.
func (b Book) Today(store string, now logbook.Time) []Day {
	var out []Day
	for _, name := range slices.Sorted(maps.Keys(b)) {
		d := Day{Name: name}
		here := false
		for _, v := range b[name] {
			if v.Out > now.Add(-exposureDay) {
				d.Visits = append(d.Visits, v)
				here = here || v.Store == store
			}
		}
		if here {
			d.TWA8, d.Known = Exposure(d.Visits, now)
			out = append(out, d)
		}
	}
	return out
}
