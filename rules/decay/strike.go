package decay

import "slices"

// Strike takes back what a line (all lines: −1) read between two hours after t = 0: it
// was found not to be the gas at its place. Of what was thinned since, whole bins go,
// by the middle of what they hold. The next Update takes it in.
func (s *State) Strike(line int, from, until float64) {
	struck := func(b bin) bool {
		hours := float64(b.at) * tickHours
		return hours >= from-tickHours && hours <= until
	}
	for i := range s.Bins {
		if line >= 0 && i != line {
			continue
		}
		n := len(s.Bins[i])
		s.Bins[i] = slices.DeleteFunc(s.Bins[i], struck)
		s.Late = s.Late || len(s.Bins[i]) < n
	}
}
