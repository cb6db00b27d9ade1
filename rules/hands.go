package rules

import (
	"strings"

	"undersheet/logbook"
	"undersheet/rules/dose"
	"undersheet/rules/gas"
	"undersheet/rules/gate"
)

// handReading takes a hand reading in air or on a line.
func (s *State) handReading(e *logbook.HandReading) (code string) {
	ppm, err := dose.PPM(e.Value, e.Unit, dose.StandardC, dose.StandardKPa)
	if err != nil {
		return "unknown-unit"
	}
	at := min(e.Time, s.At)
	ppm = min(ppm, gas.MostPPM)
	switch {
	case e.Where == logbook.WhereBags:
		s.handInBags(e, at, ppm)
		return ""
	case e.Store != "" && e.Point != "":
		s.handInAir(e, at, ppm)
		return ""
	}
	k := s.stack(e.Stack)
	if k.Treatment == nil {
		s.find(logbook.Finding{Code: "no-exposure-running", Stack: e.Stack, About: string(e.Kind)})
		return ""
	}
	for i := range k.Treatment.Lines {
		l := &k.Treatment.Lines[i]
		if strings.EqualFold(l.Name, e.Line) {
			k.event(at, e.Kind, e.Line)
			if k.Gas != nil {
				s.leakEvents(k, k.Treatment, k.Gas.Hand(k.Treatment, i, at, s.At, ppm, e.Accuracy))
			}
			if moment := k.Treatment.HandRead(i, at, ppm); moment != "" {
				s.putEndLevels(k, moment, i)
				if moment == logbook.MomentAiring {
					s.putCriteria(k)
				}
				s.alive(k, k.Treatment)
			}
			return ""
		}
	}
	s.find(logbook.Finding{Code: "unknown-line", Stack: e.Stack, About: e.Line})
	return ""
}

// handInAir notes a hand reading in the store's air; an older one does not
// replace a newer.
func (s *State) handInAir(e *logbook.HandReading, at logbook.Time, ppm float64) {
	h := gate.Hand{Point: e.Point, At: at, PPM: ppm, Detection: detection(e)}
	for _, name := range s.stacksIn(e.Store) {
		if strings.EqualFold(strings.TrimSpace(e.Point), "beside "+name) {
			h.Beside = name
		}
	}
	st := s.store(e.Store)
	key := strings.ToLower(strings.TrimSpace(e.Point))
	if old, ok := st.Hands[key]; !ok || old.At <= at {
		st.Hands[key] = h
	}
	if h.Beside == "" {
		if site, _ := s.siteStore(e.Store); !hasPoint(site, e.Point) {
			s.find(logbook.Finding{Code: "unknown-point", Store: e.Store, About: e.Point})
		}
	}
}

// detection is the detection limit of a hand reading's method, ppm; negative = not stated.
func detection(e *logbook.HandReading) float64 {
	if e.DetectionLimit == nil {
		return -1
	}
	limit, _ := dose.PPM(*e.DetectionLimit, e.Unit, dose.StandardC, dose.StandardKPa)
	return max(0, min(limit, gas.MostPPM))
}

// hasPoint reports whether a store has an air point of that name.
func hasPoint(st logbook.Store, name string) bool {
	for _, p := range st.Air {
		if strings.EqualFold(p.Name, strings.TrimSpace(name)) {
			return true
		}
	}
	return false
}
