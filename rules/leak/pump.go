package leak

import "math"

// A pump that stops need not empty the cells: the gas in the lines may stand, and all
// of them read on what they read then. When it runs again they fall at once to where
// the gas is by now. Neither is a leak.

// held is all lines standing still.
type held struct {
	Onset float64 // hours
	Level doubles // ln ppm at which they stand, by line
	Away  float64 // how far they lie from it by the newest bins, in standard deviations
	By    float64 // and in ln C: the sum that Away is
	Digit bool    `json:",omitempty"` // to the digit
	Low   int     `json:",omitempty"` // bins in a row in which every line that was read lay far below
	Moved float64 `json:",omitempty"` // bins in which a line moved, less part of those in which none did
}

// flat is the newest bin by which all lines seemed to stand still.
type flat struct {
	At, Onset float64 // hours
	Up, Z     float64 // ln of the level over what was expected of it, and how sure that is
}

// What standing still must show.
const (
	standZ      = 4.5  // of the stack's level above what is expected: to say so
	flatZ       = 2.5  // to say so when the level then falls at once
	leastFall   = 0.03 // ln C that was expected meanwhile
	standShare  = 0.25 // of that: how far the level may have moved and still stand
	fellShare   = 0.1  // of what was expected: how far the level must have fallen before it stood; before half of 110 stopped pumps of hard stacks it fell less than half of it, before a quarter not at all
	standLn     = 0.005
	atOnceZ     = 5.5  // of a rise at once: more than standing still shows before it is said, for a step follows a slope to 0.94 at best (their correlation, from 1/3 of the time on)
	awaySD      = 7.0  // sum over the newest bins at which lines no longer stand
	awayBins    = 6.0  // e-folding count of those bins
	awayLn      = 0.02 // ln C by which they then lie away at least: the level at which they stand is known no better
	movedBins   = 6.0  // in which some line moved, on the whole, show that the pump runs, if not for all
	stoodBins   = 4.0  // in which none moved take one of them back
	resumeHours = 2.5  // from the last bin that stood still to the fall at once
	resumeZ     = 3.5  // of that fall
	maybeZ      = 2.0  // of one from an onset that is near it
	bothZ       = 5.5  // of both together
)

// still looks for a stopped pump: for a stack whose lines all stand still though they should
// fall; or whose lines stood still until they fell, at once, by what they should have fallen
// meanwhile.
func (s *State) still() []Event {
	if s.resumed() {
		e := standsFrom(s.Flat.Onset, s.At)
		s.anew()
		over := e
		over.Cleared = true
		return []Event{e, over}
	}
	if s.At < s.Hold {
		return nil
	}
	at, z, up, due := -1, flatZ, 0.0, 0.0
	for k, onset := range s.Bank.Onset {
		age := s.At - onset
		if age < youngest {
			break
		}
		over, rate, sd := s.Bank.common(k, aRise)
		above, moved := -rate*age, s.moved(k)
		fall := above - (s.level() - s.Bank.Level[k])
		if -over > z && fall > leastFall && moved < min(2*sd*age+standLn, standShare*above) && s.roseAtOnce(k) < min(-over, atOnceZ) {
			at, z, up, due = k, -over, above, fall/age
		}
	}
	if at < 0 || !s.fellBefore(at, due) {
		return nil
	}
	onset := s.Bank.Onset[at]
	if s.Flat = (flat{s.At, onset, up, z}); z < standZ {
		return nil
	}
	return []Event{s.stopped(onset, false)}
}

// moved is how far the level lies from the farthest one since the k-th onset: gas that rose
// at once and falls again, as when a pump runs again whose cells used up what stood in
// them, comes back to where it was and stood still at no time.
func (s *State) moved(k int) (by float64) {
	for _, level := range s.Bank.Level[k:] {
		by = max(by, math.Abs(s.level()-level))
	}
	return by
}

// roseAtOnce is the z of the surest rise at once of the stack's level since the k-th onset:
// lines that draw again do so, and stand still no longer.
func (s *State) roseAtOnce(k int) (z float64) {
	for ; k < len(s.Bank.Onset); k++ {
		step, _, _ := s.Bank.common(k, aStep)
		z = max(z, -step)
	}
	return z
}

// stopped notes that all lines stand still since an hour, to the digit or but for noise.
func (s *State) stopped(onset float64, digit bool) Event {
	s.Held = &held{Onset: onset, Level: make(doubles, len(s.Lines)), Digit: digit}
	for i := range s.Lines {
		mean, _ := s.Filter.see(i)
		s.Held.Level[i] = s.Lines[i].Ref + mean
	}
	return standsFrom(onset, s.At)
}

// fellBefore reports whether the stack fell before the at-th onset, as far back as is remembered,
// by more than a part of what it should have at perHour. If it did not, too much was expected of
// it all along, and it has not stopped falling at that onset.
func (s *State) fellBefore(at int, perHour float64) bool {
	hours := s.Bank.Onset[at] - s.Bank.Onset[0]
	return s.Bank.Level[0]-s.Bank.Level[at] > fellShare*perHour*hours
}

// standsFrom is the beginning of a stopped pump.
func standsFrom(onset, now float64) Event {
	return Event{Kind: PumpStop, Line: -1, Onset: onset, OnsetLow: max(onset-onsetStep, 0), OnsetHigh: min(onset+onsetStep, now)}
}

// resumed reports whether the level fell at once, just after it seemed to stand
// still, by about as much as it had come to lie too high.
func (s *State) resumed() bool {
	f := s.Flat
	if f.Up == 0 || s.At-f.At >= resumeHours || !s.mayHaveFallen() {
		return false
	}
	d := s.stepOf(-1, -1)
	if s.unlike(d) {
		return false
	}
	return s.At-d.at < resumeHours+onsetStep && d.lead > 0 && d.z > resumeZ && math.Hypot(d.z, f.Z) > bothZ && d.by > 0.4*f.Up && d.by < 2*f.Up+0.02
}

// unlike reports whether mostly one line fell at once, or some lines far and others not. When a
// pump runs again the readings of all lines fall alike.
func (s *State) unlike(d step) bool {
	far, known := 0, 0
	for i := range s.Lines {
		l := &s.Lines[i]
		if len(s.Lines) > 1 && s.stepOf(-1, i).by < d.by/2 {
			return true
		}
		if l.Known && l.Cause.Kind == "" {
			known++
			far += int(bit(l.Far.Down > 0 || l.Drop > 0))
		}
	}
	return far > 0 && far < known
}

// mayHaveFallen reports whether a fall at once of the stack in the newest hours is worth a
// closer look.
func (s *State) mayHaveFallen() bool {
	for k, onset := range s.Bank.Onset {
		if z, _, _ := s.Bank.common(k, aStep); z > maybeZ && s.At-onset < resumeHours {
			return true
		}
	}
	return false
}

// standing ends a stopped pump when the lines no longer read what they stood at.
func (s *State) standing(obs []Obs) []Event {
	sum, weight, read, low, fit, moved := 0.0, 0.0, 0, 0, 0, 0
	for _, r := range s.readings(obs) {
		l := &s.Lines[r.line]
		if l.Cause.Kind != "" || !l.Known {
			continue
		}
		if read++; r.y < s.Held.Level[r.line]-farLn {
			low++
		}
		if !r.fit {
			continue
		}
		fit++
		if l.still(r, s.At); l.Still.Count == 0 {
			moved++
		}
		v := l.Hush.of(r.noise)
		most := 4 * math.Sqrt(v)
		sum, weight = sum+min(max(r.y-s.Held.Level[r.line], -most), most)/v, weight+1/v
	}
	h := s.Held
	if h.Digit && h.runs(fit, moved) {
		return s.goOn()
	}
	switch {
	case read > 0 && low == read:
		h.Low++
	case read > 0:
		h.Low = 0
	}
	if h.Low >= jumpRuns { // what is left may be too little to be used
		return s.goOn()
	}
	if weight == 0 {
		return nil
	}
	h.Away += sum/math.Sqrt(weight) - h.Away/awayBins
	h.By += sum/weight - h.By/awayBins
	if math.Abs(h.Away) < awaySD || math.Abs(h.By) < awayBins*awayLn || h.Digit {
		return nil
	}
	return s.goOn()
}

// runs reports whether so many lines moved, of those whose readings are fit to tell, that the pump
// runs: most of them at once, or some of them time and again, as where the rest came off or are
// blocked. One that moves for once does not tell it.
func (h *held) runs(fit, moved int) bool {
	if moved > 0 {
		h.Moved++
	} else if fit > 0 {
		h.Moved = max(h.Moved-1/stoodBins, 0)
	}
	return 2*moved > fit || h.Moved >= movedBins
}

// goOn ends a stopped pump: the levels are found anew.
func (s *State) goOn() []Event {
	e := standsFrom(s.Held.Onset, s.At)
	e.Cleared = true
	s.Held = nil
	s.anew()
	for i := range s.Lines {
		s.Lines[i].Still = still{Step: s.Lines[i].Still.Step}
	}
	return []Event{e}
}
