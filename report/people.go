package report

import (
	"slices"
	"strings"

	"undersheet/logbook"
	"undersheet/rules/people"
)

// Exposed is what one person met in one masked entry, outside the mask.
type Exposed struct {
	Name    string       `json:"name"`
	In      logbook.Time `json:"in"`
	Out     logbook.Time `json:"out"`
	AtDoor  bool         `json:"at_door"` // stayed at the door
	PPM     float64      `json:"highest_ppm"`
	Known   bool         `json:"known"`      // every air point was read, and trusted
	TWA8PPM float64      `json:"twa_8h_ppm"` // of all entries of 24 hours, spread over 8
	Limit   float64      `json:"limit_ppm"`  // that it is held against, as in package rules: the lowest figure in force then
}

// Person is somebody who did or signed something, or is said to have been there.
type Person struct {
	Name         string         `json:"name"`
	Licence      string         `json:"licence,omitempty"`
	LicenceUntil string         `json:"licence_until,omitempty"` // last day, as the site file has it
	Expired      bool           `json:"licence_expired"`         // before the person's last act
	Phone        string         `json:"phone,omitempty"`
	Email        string         `json:"email,omitempty"`
	Acts         []logbook.Kind `json:"acts"`            // that the person signed, each once, in order
	Named        []string       `json:"named,omitempty"` // by others, as what: codes
	last         logbook.Time
}

// As what others name somebody.
const (
	namedFumigator = "fumigator"
	namedSecond    = "second"
	namedIn        = "in"
	namedAtDoor    = "at-door"
	namedLaid      = "laid"
)

// visits takes the masked entries that have just ended.
func (d *draft) visits(days []people.Day) {
	for _, p := range days {
		for i, v := range p.Visits {
			x := Exposed{Name: p.Name, In: v.In, Out: v.Out, AtDoor: v.AtDoor, PPM: v.PPM, Known: v.Known}
			if v.Store != d.store || slices.ContainsFunc(d.r.Exposed, func(e Exposed) bool { return e.Name == x.Name && e.In == x.In && e.Out == x.Out }) {
				continue
			}
			if x.TWA8PPM = p.TWA8; i != len(p.Visits)-1 {
				x.TWA8PPM = 0
			}
			d.r.Exposed = append(d.r.Exposed, x)
		}
	}
}

// people lists who did, signed or is named, in the order of their first time.
func (r *Report) people() []Person {
	var all []*Person
	find := func(name string, at logbook.Time) *Person {
		name = strings.TrimSpace(name)
		if name == "" {
			return &Person{}
		}
		i := slices.IndexFunc(all, func(p *Person) bool { return people.Same(p.Name, name) })
		if i < 0 {
			all = append(all, r.known(name))
			i = len(all) - 1
		}
		all[i].last = max(all[i].last, at)
		return all[i]
	}
	for _, a := range r.Acts {
		p := find(a.By, a.At)
		if a.Refused == "" && !slices.Contains(p.Acts, a.Kind) {
			p.Acts = append(p.Acts, a.Kind)
		}
		for _, n := range named(a.entry) {
			if q := find(n.name, a.At); !slices.Contains(q.Named, n.as) {
				q.Named = append(q.Named, n.as)
			}
		}
	}
	out := make([]Person, len(all))
	for i, p := range all {
		p.Expired = people.LicenceOver(p.LicenceUntil, p.last)
		out[i] = *p
	}
	return out
}

// known is a person with what the site file says.
func (r *Report) known(name string) *Person {
	for _, p := range r.Site.People {
		if people.Same(p.Name, name) {
			return &Person{Name: p.Name, Licence: p.Licence, LicenceUntil: p.LicenceUntil, Phone: p.Phone, Email: p.Email}
		}
	}
	return &Person{Name: name}
}

// naming is somebody whom an act names, and as what.
type naming struct{ name, as string }

// named lists whom an act names beside who signs it.
func named(e logbook.Acting) []naming {
	switch e := e.(type) {
	case *logbook.TreatmentStarted:
		return []naming{{e.Fumigator, namedFumigator}, {e.Second, namedSecond}}
	case *logbook.ChecksSigned:
		return []naming{{e.Second, namedSecond}}
	case *logbook.MaskedEntry:
		return []naming{{e.In, namedIn}, {e.AtDoor, namedAtDoor}}
	case *logbook.DosePlaced:
		var out []naming
		for _, p := range e.People {
			out = append(out, naming{p, namedLaid})
		}
		return out
	}
	return nil
}
