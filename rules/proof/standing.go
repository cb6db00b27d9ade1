package proof

import "undersheet/logbook"

// Standing is what a logbook says of gas in the stores.
type Standing struct {
	phase    map[string]string // of stacks
	gate     map[string]string // of stores
	declared map[string]bool   // stores in which nothing is under gas by a signed word newer than any treatment
	storeOf  map[string]string // of stacks
}

// NewStanding knows nothing yet: give it all entries, from the first.
func NewStanding(site *logbook.Site) *Standing {
	s := &Standing{phase: map[string]string{}, gate: map[string]string{}, declared: map[string]bool{}, storeOf: map[string]string{}}
	for _, st := range site.Stores {
		for _, k := range st.Stacks {
			s.storeOf[k.Name] = st.Name
		}
	}
	return s
}

// Take takes in one entry. People's acts count at once, as a daemon may be behind.
func (s *Standing) Take(e logbook.Entry) {
	under := func(stack, phase string) {
		s.phase[stack] = phase
		s.declared[s.storeOf[stack]] = false
	}
	switch e := e.(type) {
	case *logbook.DosingStarted:
		under(e.Stack, logbook.PhaseDosing)
	case *logbook.TreatmentStarted:
		under(e.Stack, logbook.PhaseExposure)
	case *logbook.DosePlaced:
		s.laid(e.Stack)
	case *logbook.DoseAdded:
		s.laid(e.Stack)
	case *logbook.AiringStarted:
		under(e.Stack, logbook.PhaseAiring)
	case *logbook.Phase:
		under(e.Stack, e.Phase)
	case *logbook.Gate:
		s.gate[e.Store] = e.State
	case *logbook.Accepted:
		if e.Entry == logbook.KindNoGasDeclared {
			s.declared[e.Store] = true
		}
	}
}

// laid notes that phosphide was laid at a stack, in whatever phase it is.
func (s *Standing) laid(stack string) {
	s.declared[s.storeOf[stack]] = false
	if !gassed(s.phase[stack]) {
		s.phase[stack] = logbook.PhaseDosing
	}
}

// gassed reports whether a stack is under gas in a phase.
func gassed(phase string) bool {
	return phase == logbook.PhaseDosing || phase == logbook.PhaseExposure || phase == logbook.PhaseAiring
}

// UnderGas returns the first stack of a store that is under gas, and its phase.
func (s *Standing) UnderGas(st *logbook.Store) (stack, phase string, under bool) {
	for _, k := range st.Stacks {
		if phase := s.phase[k.Name]; gassed(phase) {
			return k.Name, phase, true
		}
	}
	return "", "", false
}

// Gate returns the state of a store's gate; empty = not decided yet.
func (s *Standing) Gate(store string) string { return s.gate[store] }

// Allows reports whether people may hold the ends of lines in a store: no stack in it is
// under gas, and that is signed for, or its gate is cleared and a daemon watches over it.
func (s *Standing) Allows(st *logbook.Store, watched bool) bool {
	_, _, under := s.UnderGas(st)
	return !under && (s.declared[st.Name] || watched && s.gate[st.Name] == logbook.GateCleared)
}
