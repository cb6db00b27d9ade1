package rules

import (
	"cmp"
	"math"
	"strconv"
	"strings"

	"undersheet/logbook"
	"undersheet/rules/exposure"
	"undersheet/rules/people"
	"undersheet/rules/reading"
)

// protection tells what breathing protection the air of a store asks for now. The inside or
// door point with the highest upper value decides. If one of them is silent, faulty, over its
// range, or its pump is not known to run, the air counts as unknown; likewise in a store
// without a point inside.
func (s *State) protection(name string) ProtectionView {
	site, _ := s.siteStore(name)
	v := ProtectionView{}
	n := 0
	for _, p := range site.Air {
		if !p.Gate() {
			continue
		}
		if p.Where != logbook.WhereDoor {
			n++
		}
		c, known := s.Channels[p.Channel], false
		if c != nil {
			_, silent := c.SilentFor(s.Site.Channels[p.Channel], s.At)
			good := c.Last.State == reading.OK || c.Last.State == reading.BelowDetection
			known = good && !silent && s.trusted(p.Channel, c.Last.At)
		}
		if !known {
			return ProtectionView{Step: exposure.Protection(0, false), Point: p.Name}
		}
		if upper := max(0, c.Last.Upper); v.Point == "" || upper > v.UpperPPM {
			v.UpperPPM, v.Point, v.At = upper, p.Name, c.Last.At
		}
	}
	if v.Known = n > 0; !v.Known {
		v.Point = "" // no point is to blame: there is none inside
	}
	v.Step = exposure.Protection(v.UpperPPM, v.Known)
	return v
}

// maskedEntry notes who goes in. That nobody else stands at the door is a finding, and so is
// protection with a stated factor below what the air asks for. Protection that is described
// without a factor is not judged.
func (s *State) maskedEntry(e *logbook.MaskedEntry) {
	st := s.store(e.Store)
	now := s.protection(e.Store)
	st.Inside = append(st.Inside, people.Masked{Name: e.In, AtDoor: e.AtDoor, Since: min(e.Time, s.At), Air: now.UpperPPM, AirAtDoor: s.airAtDoor(e.Store), Known: now.Known})
	if people.Alone(e.In, e.AtDoor) {
		s.find(logbook.Finding{Code: "masked-entry-alone", Store: e.Store, About: e.In})
	}
	if apf, ok := statedAPF(e.Protection); ok && apf < now.Step.APF {
		s.find(logbook.Finding{Code: "protection-below-air", Store: e.Store, About: e.In, Value: logbook.Number(apf), Limit: logbook.Number(now.Step.APF)})
	}
}

// maskedExit notes that the person whom it names has come out; where it names nobody, the one
// who went in first. The name of somebody who is not inside is a finding, and so is an exit
// from before the entry: it ended an earlier visit, and whoever is in is still in.
func (s *State) maskedExit(e *logbook.MaskedExit) {
	st, at := s.store(e.Store), min(e.Time, s.At)
	m, inside, out := st.Inside.Leave(e.Out, at)
	switch {
	case !inside:
		s.find(logbook.Finding{Code: "nobody-inside", Store: e.Store, About: cmp.Or(e.Out, e.By)})
	case !out:
		s.find(logbook.Finding{Code: "exit-before-entry", Store: e.Store, About: m.Name, Value: logbook.Number(math.Ceil(m.Since.Sub(at).Minutes()))})
	default:
		s.visited(e.Store, &m, at)
		s.worked(e.Store, at)
	}
}

// visited keeps a masked entry that ended at out as a visit of the person who was inside, and
// as one of whoever stood at the door.
func (s *State) visited(store string, m *people.Masked, out logbook.Time) {
	s.Canisters.Wear(m.Name, m.Since, out)
	inside, door := m.Visits(store, out, s.protection(store).Known)
	s.visit(m.Name, inside)
	if m.AtDoor != "" {
		s.visit(m.AtDoor, door)
	}
}

// visit keeps a stay, and notes when the day's exposure is above the limit or not known.
func (s *State) visit(name string, v people.Visit) {
	name, ppm, known := s.People.Add(name, v)
	limit, _ := exposure.Limit(s.limitSets(), s.At)
	switch {
	case ppm >= limit:
		s.find(logbook.Finding{Code: "person-exposed", Store: v.Store, About: name, Value: logbook.Number(ppm), Limit: logbook.Number(limit)})
	case !known:
		s.find(logbook.Finding{Code: "person-exposure-unknown", Store: v.Store, About: name, Value: logbook.Number(v.Out.Sub(v.In).Minutes())})
	}
}

// PeopleIn shows who was in a store by masked entry in the last 24 hours.
func (s *State) PeopleIn(store string) []people.Day { return s.People.Today(store, s.At) }

// airAtDoor is the highest upper value at the doors of a store, ppm.
func (s *State) airAtDoor(name string) float64 {
	site, _ := s.siteStore(name)
	ppm := 0.0
	for _, p := range site.Air {
		if c := s.Channels[p.Channel]; p.Where == logbook.WhereDoor && c != nil {
			ppm = max(ppm, c.Last.Upper)
		}
	}
	return ppm
}

// statedAPF returns the assigned protection factor that a text names, as in "full
// mask, APF 50"; false where it names none.
func statedAPF(text string) (int, bool) {
	_, after, found := strings.Cut(strings.ToUpper(text), "APF")
	if !found {
		return 0, false
	}
	after = strings.TrimLeft(after, " \t:=")
	end := 0
	for end < len(after) && (after[end] >= '0' && after[end] <= '9' || after[end] == ',' && end > 0) {
		end++
	}
	n, err := strconv.Atoi(strings.ReplaceAll(after[:end], ",", ""))
	return n, err == nil
}
