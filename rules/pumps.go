package rules

import (
	"undersheet/logbook"
	"undersheet/rules/reading"
)

// pump tells whether a pump runs, and since when. One whose own channel says
// nothing for too long, or nothing that is to be trusted, is not known to run; one
// that was off when it was last heard is off.
func (s *State) pump(p *logbook.Pump) (state string, since logbook.Time) {
	if p.Channel == "" {
		return PumpNotWatched, 0
	}
	sig := s.Signals[p.Channel]
	if sig == nil {
		return PumpNotKnown, 0
	}
	if !s.wires.Runs(p, sig.Value) {
		return PumpOff, sig.Since
	}
	c := s.channel(p.Channel)
	if _, silent := s.silent(c, s.Site.Channels[p.Channel]); silent || !c.Last.Counts {
		return PumpNotKnown, 0
	}
	return PumpRuns, sig.Since
}

// drawn tells whether the pump that draws the samples of a channel runs. A channel
// that no watched pump draws counts as drawn: nothing is known against it.
func (s *State) drawn(channel string) string {
	p := s.wires.Pump(channel)
	if p == nil {
		return PumpNotWatched
	}
	state, _ := s.pump(p)
	return state
}

// pumpViews shows the pumps.
func (s *State) pumpViews() []PumpView {
	var vs []PumpView
	for i := range s.Site.Pumps {
		p := &s.Site.Pumps[i]
		v := PumpView{Name: p.Name, Channel: p.Channel, Returns: p.Returns, Flow: p.Flow, Least: p.LeastFlow(), Draws: p.Draws}
		v.State, v.Since = s.pump(p)
		if v.Last.State = reading.None; p.Channel != "" {
			v.Last = s.sample(p.Channel)
		}
		vs = append(vs, v)
	}
	return vs
}
