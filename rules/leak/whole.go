package leak

import "undersheet/rules/decay"

// The filter holds each hour against what was predicted a day before. The fit can hold the
// whole record with a rise of the loss rate against the record without: what is not known
// of the curve hides less of it, most of all on stacks out of the wind.

// whole is what the fit last said of rises of the loss rate of the whole stack.
type whole struct {
	At    float64 // hours of the newest reading that it speaks of
	Rises []decay.Rise
}

// wholeLater is the hours after the end of release (see releaseHours) from which on a rise by
// the whole record is believed: the curve that is held against it must be past what release
// in two stages does to it. Of 450 quiet hard stacks of the bench four were called leaking
// for it without, all but one by an onset in the first of these hours.
const wholeLater = 8.0

// ask takes what the fit says, where that is new.
func (w *whole) ask(e Expecter) {
	if e == nil {
		return
	}
	if at, rises := e.Rises(); at != w.At {
		*w = whole{at, rises}
	}
}

// likeliest is the rise, of those that began young hours before the newest reading or earlier,
// that is the surest; false where nothing rose.
func (w *whole) likeliest(young float64) (best decay.Rise, ok bool) {
	z := 0.0
	for _, r := range w.Rises {
		if r.Mean > z*r.SD && w.At-r.Hours >= young {
			best, z, ok = r, r.Mean/r.SD, true
		}
	}
	return best, ok
}

// since is the 95 % interval of the onset of a rise, as far as the ages tell that the fit
// looks at.
func (w *whole) since(of decay.Rise) (low, high float64) {
	low, high = of.Hours, of.Hours
	z := of.Mean / of.SD
	for _, r := range w.Rises {
		if own := r.Mean / r.SD; own > 0 && own*own >= z*z-2*onsetDrop {
			low, high = min(low, r.Hours), max(high, r.Hours)
		}
	}
	return low - onsetStep, high + onsetStep
}

// best is the likeliest rise of the loss rate beside a line, by the filter, or, -1, of all
// lines, by the filter or by the whole record.
func (s *State) best(line int) found {
	f := s.Bank.best(line, 1, s.At)
	if line >= 0 {
		return f
	}
	if g := s.risen(); g.z > f.z && g.rate*24 >= leastLeakDay {
		return g
	}
	return f
}

// risen is what the whole record says of a rise, at the nearest onset of the bank: whether
// there is one, by those that are older than a gust; when it began and how large it is, by all.
// It is nothing where the likeliest began before all onsets, or with the end of release.
func (s *State) risen() found {
	b, none := &s.Bank, found{line: -1, onset: -1}
	r, ok := s.Whole.likeliest(b.Young)
	if !ok || len(b.Onset) == 0 || r.Hours < max(b.Onset[0], b.From+wholeLater) {
		return none
	}
	z, _, _ := expectedOf(r)
	best, _ := s.Whole.likeliest(0)
	_, rate, sd := expectedOf(best)
	return found{line: -1, onset: b.nearest(best.Hours), z: z, rate: rate, sd: sd, whole: &best}
}

// expectedOf is the likelihood ratio of a rise, as the filter's.
func expectedOf(r decay.Rise) (z, rate, sd float64) {
	return expected(24*r.Mean/(r.SD*r.SD), 24*24/(r.SD*r.SD))
}

// began is when a change that was found began, and the 95 % interval of that.
func (s *State) began(f found) (onset, low, high float64) {
	if f.whole == nil {
		return s.Bank.since(f, s.At)
	}
	low, high = s.Whole.since(*f.whole)
	return f.whole.Hours, low, min(high, s.At)
}
