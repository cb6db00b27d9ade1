package fault

import "undersheet/rules/leak"

// Figures of a line that does not draw the stack's gas: what it reads is held against the
// median of the others. From memory of practice: under a sheet gas reaches every place
// within hours, unevenly, but a line that lies beside the stack shows next to none of it.
const (
	drawnShare = 0.05  // of the others: a line that reads so much draws gas
	backShare  = 0.25  // of the others: a line that was said to draw none reads gas again
	gasThere   = 100.0 // ppm of the others, to hold anything against them
	drawnBy    = 8.0   // hours after dosing by which gas is everywhere
	freshHours = 2.0   // how long what another line read speaks for the present
	sureRuns   = 3     // readings in a row
)

// Draw is what is known of whether a line draws the stack's gas.
type Draw struct {
	At, PPM float64 // newest reading
	Vague   bool    // that reading was below the detection limit or over the range
	Shown   bool    // it has shown gas since dosing
	Off     bool    // it was told that it draws none
	Runs    int     // readings in a row that say that it draws none; once that was told, that say that it does
	Since   float64 // hours of the first of them; 0 = since dosing
}

// undrawn looks for lines that show nothing while others show gas: since dosing, as where a
// tube was never connected or its end lies beside the sheet, or later. The leak test tells
// a line that comes off sooner, where it is read often enough; what is read a few times a
// day it finds anew each morning.
func (s *State) undrawn(hours float64, obs []leak.Obs, test *leak.State) (events []leak.Event) {
	if !(hours >= 0 && hours < 1e6) {
		return nil
	}
	for _, o := range obs {
		if o.Line < 0 || o.Line >= s.Lines || !(o.PPM >= 0 && o.PPM < 1e6) {
			continue
		}
		d := &s.Draws[o.Line]
		d.At, d.PPM, d.Vague = hours, o.PPM, o.Censored
		if d.Shown && !d.Off && o.PPM >= drawnShare*s.most() {
			d.Runs = 0
			continue
		}
		rest, ok := s.rest(o.Line, test)
		if !ok {
			continue
		}
		enough, least := drawnShare*rest, leastPPM
		if d.Off {
			enough = backShare * rest
		} else if d.Shown {
			least = 0 // it has drawn little too
		}
		switch draws := o.PPM >= max(enough, least); {
		case draws != d.Off:
			d.Shown, d.Runs = d.Shown || draws, 0
			continue
		case d.Runs == 0 && d.Shown:
			d.Since = hours
		}
		d.Runs++
		events = append(events, s.drawing(o.Line, hours, test)...)
	}
	return events
}

// drawing tells that a line draws none of the gas, or draws it again, once that is sure.
func (s *State) drawing(line int, hours float64, test *leak.State) []leak.Event {
	d := &s.Draws[line]
	if d.Runs < sureRuns || !d.Shown && hours < drawnBy {
		return nil
	}
	_, leaking := test.LeakAt(line)
	e := leak.Event{Kind: leak.LineOff, Line: line, Onset: d.Since, OnsetLow: d.Since, OnsetHigh: d.Since}
	switch {
	case d.Off:
		*d = Draw{At: d.At, PPM: d.PPM, Vague: d.Vague, Shown: true}
		s.forget(line, len(s.Past))
		test.Anew(line)
		e.Cleared = true
		return []leak.Event{e}
	case test.Out(line) || leaking:
		return nil
	}
	d.Off, d.Runs, d.Shown = true, 0, false
	return append(test.Distrust(line), e)
}

// most is the highest newest reading of all lines, ppm.
func (s *State) most() float64 {
	most := 0.0
	for i := range s.Draws {
		most = max(most, s.Draws[i].PPM)
	}
	return most
}

// rest is the median of what the other lines that draw gas read lately; false where none
// did, or too little to tell. A line that has drawn gas is not held against instruments at the
// top of their range, which may have failed there.
func (s *State) rest(line int, test *leak.State) (ppm float64, ok bool) {
	var others []float32
	for j := range s.Draws {
		d := &s.Draws[j]
		if j != line && !d.Off && !(d.Vague && s.Draws[line].Shown) && test.Cause(j) == "" && d.At > 0 && s.Draws[line].At-d.At <= freshHours {
			others = append(others, float32(d.PPM))
		}
	}
	if len(others) == 0 {
		return 0, false
	}
	ppm = median(others)
	return ppm, ppm >= gasThere
}
