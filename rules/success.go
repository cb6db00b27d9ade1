package rules

import (
	"math"
	"time"

	"undersheet/logbook"
	"undersheet/rules/efficacy"
	"undersheet/rules/treatment"
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

// byTemperature lengthens a protocol that asks for it to the shortest exposure that is
// published for the colder of the grain's temperatures, as entered and as measured; it
// never shortens one.
func (s *State) byTemperature(p logbook.Protocol, k *Stack, e *logbook.TreatmentStarted) logbook.Protocol {
	temp := e.GrainTempC
	if k.TempC != nil {
		temp = math.Min(temp, *k.TempC)
	}
	if h := efficacy.GrainHours(temp); p.ByTemperature && h > p.Hours {
		p.Hours = h
		s.find(logbook.Finding{Code: "exposure-by-temperature", Store: k.Store, Stack: e.Stack, Value: logbook.Number(h), Limit: logbook.Number(temp)})
	}
	return p
}

// markAway notes every hour which lines did not draw the stack's gas in it.
func (s *State) markAway(name string, k *Stack, t *treatment.Treatment) {
	for i := range t.Lines {
		if s.lineAway(logbook.Alarm{Store: k.Store, Stack: name, Line: t.Lines[i].Name}) {
			t.Lines[i].CTP.MarkAway(s.At.Add(-time.Hour), s.At)
		}
	}
}

// putCriteria records how a treatment stands against the criteria for success.
func (s *State) putCriteria(k *Stack) {
	if e := s.efficacy(k); e != nil {
		s.put(&logbook.Criteria{Stack: k.Treatment.Stack, Treatment: k.Treatment.Name, Criteria: e.Criteria()}, logbook.KindCriteria)
	}
}
