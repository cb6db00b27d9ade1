package rules

import (
	"undersheet/logbook"
	"undersheet/rules/reading"
	"undersheet/rules/wiring"
)

// While the machine's clock stands before the newest entry, now stands still. What a channel reads
// then is dated before what it read last, or, by a clock of the source's own that is right, ahead of
// now, and so shows nothing of how things stand. But where lives hang on it, it counts as read now: it
// can raise an alarm and close a gate, at once, and can neither end the one nor open the other.

// standsStill reports whether the machine is known to stamp what comes before now.
func (s *State) standsStill() bool { return s.Behind.At != 0 && s.Behind.At == s.At }

// cameNow returns a reading as of the newest of its channel if it came while now stood still and is
// dated before that or ahead of now. At any other time such a one comes late, or is dated wrongly.
func (s *State) cameNow(ch logbook.Channel, c *Channel, e *logbook.Reading, j *reading.Judged) (n reading.Judged, ok bool) {
	if !s.standsStill() || e.Retained || j.At >= c.Newest && j.State != reading.Future {
		return n, false
	}
	n = reading.Alone(ch, e)
	n.At = c.Newest
	return n, n.Fits
}

// readNow looks what a reading that came while now stood still asks of people.
func (s *State) readNow(ch logbook.Channel, c *Channel, f wiring.Feed, n reading.Judged) {
	switch {
	case f.Signal != "":
		s.readSignal(f, n, true)
	case !reading.IsGas(ch):
	case f.Line >= 0:
		k := s.stack(f.Stack)
		if t := k.Treatment; t != nil && t.Phase == logbook.PhaseExposure {
			if line, ok := t.LineOf(f.Channel); ok {
				s.fireRisk(k, t, line, n, true)
			}
		}
	case f.Name != "":
		c.Unturned = max(c.Unturned, n.Value)
		if t := s.store(f.Store).Tracks[f.Name]; t != nil {
			t.Worse(n.Value, n.Upper)
		}
		s.passStore(f.Store)
	}
}
