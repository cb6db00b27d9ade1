package rules

import (
	"slices"

	"undersheet/logbook"
	"undersheet/rules/reading"
)

// Sorts of signals: channels that measure no gas and no grain.
const (
	signalDoor      = "door"
	signalWater     = "water"
	signalMains     = "mains"
	signalPump      = "pump"
	signalWind      = "wind"
	signalDirection = "wind direction"
	signalGrain     = "grain temperature"
)

// Signal is what the channel of a contact or a pump last showed, when it was to be
// trusted. What nobody reads any more stands as it was last read: silence is
// another matter, and the channel's history tells it.
type Signal struct {
	Value float64
	At    logbook.Time // of the newest reading
	Since logbook.Time // since when it has meant the same
}

// indexSignals notes what the channels of contacts, pumps and the wind are of.
func (s *State) indexSignals() {
	add := func(channel, store, sort, name string) {
		if channel != "" {
			s.feed(feed{channel: channel, store: store, line: -1, point: name, signal: sort})
		}
	}
	for _, st := range s.Site.Stores {
		for _, d := range st.Doors {
			add(d.Channel, st.Name, signalDoor, d.Name)
		}
		for _, w := range st.Water {
			add(w.Channel, st.Name, signalWater, w.Name)
		}
	}
	for _, m := range s.Site.Mains {
		add(m.Channel, "", signalMains, m.Name)
	}
	for i := len(s.Site.Pumps) - 1; i >= 0; i-- {
		p := s.Site.Pumps[i]
		add(p.Channel, "", signalPump, p.Name)
		for _, c := range p.Draws {
			s.drawnBy[c] = i
		}
	}
	if w := s.Site.Wind; w != nil {
		add(w.Speed, "", signalWind, "")
		add(w.Direction, "", signalDirection, "")
	}
}

// readSignal takes a judged reading of a contact, a pump or the wind; sound is that
// of an instrument that trusts itself. A contact may bounce within one second of its
// clock: of two values for the same moment the worse counts.
func (s *State) readSignal(f feed, j reading.Judged, sound bool) {
	if f.signal == signalWind || f.signal == signalDirection {
		return // the channel's history holds it
	}
	worse := j.State == reading.SecondValue && sound && s.worse(f, j.Value)
	if !worse && (!j.Counts || j.State == reading.Late) {
		return
	}
	j.At = min(j.At, s.At) // one that is dated ahead must not make those after it old
	sig := s.Signals[f.channel]
	switch {
	case sig == nil:
		sig = &Signal{Since: j.At}
		s.Signals[f.channel] = sig
	case j.At < sig.At:
		return
	case s.means(f, j.Value) != s.means(f, sig.Value):
		sig.Since = j.At
	}
	sig.Value, sig.At = j.Value, j.At
	s.passSignal(f)
}

// passSignal looks at once at what a signal may change.
func (s *State) passSignal(f feed) {
	if f.store != "" {
		s.passStore(f.store)
		return
	}
	s.passCauses()
	if f.signal != signalPump {
		return
	}
	for _, st := range s.Site.Stores {
		if slices.ContainsFunc(st.Air, func(p logbook.AirPoint) bool {
			pump := s.pumpOf(p.Channel)
			return p.Gate() && pump != nil && pump.Channel == f.channel
		}) {
			s.passStore(st.Name)
		}
	}
}

// means returns what a value of a signal says: open, wet, power there, running.
func (s *State) means(f feed, value float64) bool {
	if f.signal == signalPump {
		for i := range s.Site.Pumps {
			if p := &s.Site.Pumps[i]; p.Channel == f.channel {
				return s.runs(p, value)
			}
		}
	}
	for _, c := range s.contacts(f) {
		if c.Channel == f.channel {
			return c.On(value)
		}
	}
	return value >= 0.5
}

// worse reports whether a value of a signal means what is the worse of two: open,
// wet, no power, off.
func (s *State) worse(f feed, value float64) bool {
	good := f.signal == signalMains || f.signal == signalPump
	return s.means(f, value) != good
}

// contacts lists the contacts among which that of a feed is.
func (s *State) contacts(f feed) []logbook.Contact {
	site, _ := s.siteStore(f.store)
	switch f.signal {
	case signalDoor:
		return site.Doors
	case signalWater:
		return site.Water
	}
	return s.Site.Mains
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
