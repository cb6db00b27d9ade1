package rules

import (
	"undersheet/logbook"
	"undersheet/rules/efficacy"
)

// efficacy gathers what the lines of a stack held in its current or last treatment;
// nil before its t = 0.
func (s *State) efficacy(k *Stack) *efficacy.Exposure {
	if k.Treatment == nil || k.Treatment.Started == 0 {
		return nil
	}
	full := 0.0
	if k.Gas != nil {
		full = k.Gas.FullPPM
	}
	return efficacy.Of(k.Treatment, s.At, full, s.temperature(k))
}

// putCriteria records how a treatment stands against the criteria for success.
func (s *State) putCriteria(k *Stack) {
	if e := s.efficacy(k); e != nil {
		s.put(&logbook.Criteria{Stack: k.Treatment.Stack, Treatment: k.Treatment.Name, Criteria: e.Criteria()}, logbook.KindCriteria)
	}
}
