package rules

import (
	"slices"

	"undersheet/logbook"
	"undersheet/rules/reading"
	"undersheet/rules/wiring"
)

// Signal is what the channel of a contact or a pump last showed, when it was to be
// trusted. What nobody reads any more stands as it was last read: silence is
// another matter, and the channel's history tells it.
type Signal struct {
	Value float64
	At    logbook.Time // of the newest reading
	Since logbook.Time // since when it has meant the same
}

// readSignal takes a judged reading of a contact, a pump or the wind; sound is that
// of an instrument that trusts itself. A contact may bounce within one second of its
// clock: of two values for the same moment the worse counts.
func (s *State) readSignal(f wiring.Feed, j reading.Judged, sound bool) {
	if f.Measured() {
		return // the channel's history holds it
	}
	worse := j.State == reading.SecondValue && sound && f.Worse(j.Value)
	if !worse && (!j.Counts || j.State == reading.Late) {
		return
	}
	j.At = min(j.At, s.At) // one that is dated ahead must not make those after it old
	sig := s.Signals[f.Channel]
	switch {
	case sig == nil:
		sig = &Signal{Since: j.At}
		s.Signals[f.Channel] = sig
	case j.At < sig.At:
		return
	case f.Means(j.Value) != f.Means(sig.Value):
		sig.Since = j.At
	}
	sig.Value, sig.At = j.Value, j.At
	s.passSignal(f)
}

// passSignal looks at once at what a signal may change.
func (s *State) passSignal(f wiring.Feed) {
	if f.Store != "" {
		s.passStore(f.Store)
		return
	}
	s.passCauses()
	if f.Signal != wiring.Pump {
		return
	}
	for _, st := range s.Site.Stores {
		if slices.ContainsFunc(st.Air, func(p logbook.AirPoint) bool {
			pump := s.wires.Pump(p.Channel)
			return p.Gate() && pump != nil && pump.Channel == f.Channel
		}) {
			s.passStore(st.Name)
		}
	}
}

// contact returns what a contact last showed; known is false while it was not read.
func (s *State) contact(c logbook.Contact) (on, known bool, since logbook.Time) {
	sig := s.Signals[c.Channel]
	if sig == nil {
		return false, false, 0
	}
	return c.On(sig.Value), true, sig.Since
}

// contactViews shows contacts.
func (s *State) contactViews(cs []logbook.Contact) []ContactView {
	var vs []ContactView
	for _, c := range cs {
		v := ContactView{Name: c.Name, Channel: c.Channel, Last: s.sample(c.Channel)}
		v.On, v.Known, v.Since = s.contact(c)
		vs = append(vs, v)
	}
	return vs
}

// windView shows the wind.
func (s *State) windView() *WindView {
	w := s.Site.Wind
	if w == nil {
		return nil
	}
	v := &WindView{Speed: Sample{State: reading.None}, Direction: Sample{State: reading.None}}
	if w.Speed != "" {
		v.Speed = s.sample(w.Speed)
	}
	if w.Direction != "" {
		v.Direction = s.sample(w.Direction)
	}
	return v
}
