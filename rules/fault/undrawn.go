package fault

import "undersheet/rules/leak"

// Figures of a line that never drew the stack's gas: what it reads is held against the
// median of the others. From memory of practice: under a sheet gas reaches every place
// within hours, unevenly, but a line that lies beside the stack shows next to none of it.
const (
	drawnShare = 0.05  // of the others: a line that ever read so much has drawn gas
	backShare  = 0.25  // of the others: one that was told reads gas again
	gasThere   = 100.0 // ppm of the others, to hold anything against them
	drawnBy    = 8.0   // hours after dosing by which gas is everywhere
	freshHours = 2.0   // how long what another line read speaks for the present
	sureRuns   = 3     // readings in a row
)

// Draw is what is known of whether a line draws the stack's gas since dosing.
type Draw struct {
	At, PPM float64 // newest reading
	Shown   bool    // it has shown gas
	Off     bool    // it was told that it never did
	Runs    int     // readings in a row that say so; once told, that say the contrary
}

// undrawn looks whether lines have shown nothing since dosing while others show gas, as
// where a tube was never connected or its end lies beside the sheet. The leak test finds
// lines that come off; one that was never on falls at no time.
func (s *State) undrawn(hours float64, obs []leak.Obs, test *leak.State) (events []leak.Event) {
	if !(hours >= 0 && hours < 1e6) {
		return nil
	}
	for _, o := range obs {
		if o.Line < 0 || o.Line >= s.Lines || !(o.PPM >= 0 && o.PPM < 1e6) {
			continue
		}
		d := &s.Draws[o.Line]
		d.At, d.PPM = hours, o.PPM
		if d.Shown {
			continue
		}
		rest, ok := s.rest(o.Line, test)
		if !ok {
			continue
		}
		enough := drawnShare
		if d.Off {
			enough = backShare
		}
		draws := o.PPM >= max(enough*rest, leastPPM)
		switch {
		case draws && !d.Off:
			d.Shown = true
		case draws == d.Off:
			d.Runs++
		default:
			d.Runs = 0
		}
		switch {
		case d.Shown || d.Runs < sureRuns || hours < drawnBy:
		case d.Off:
			*d = Draw{At: hours, PPM: o.PPM, Shown: true}
			s.forget(o.Line, len(s.Past))
			test.Anew(o.Line)
			events = append(events, leak.Event{Kind: leak.LineOff, Line: o.Line, Cleared: true})
		case test.Cause(o.Line) == "":
			d.Off, d.Runs = true, 0
			events = append(append(events, test.Distrust(o.Line)...), leak.Event{Kind: leak.LineOff, Line: o.Line})
		}
	}
	return events
}

// rest is the median of what the other lines that draw gas read lately; false where none
// did, or too little to tell.
func (s *State) rest(line int, test *leak.State) (ppm float64, ok bool) {
	var others []float32
	for j := range s.Draws {
		d := &s.Draws[j]
		if j != line && !d.Off && test.Cause(j) == "" && d.At > 0 && s.Draws[line].At-d.At <= freshHours {
			others = append(others, float32(d.PPM))
		}
	}
	if len(others) == 0 {
		return 0, false
	}
	ppm = median(others)
	return ppm, ppm >= gasThere
}
