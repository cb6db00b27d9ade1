package report

import (
	"undersheet/logbook/words"
	"undersheet/rules/efficacy"
)

// success holds what the stack held against what is published.
func (d *draft) success(held *efficacy.Exposure) Success {
	if held == nil {
		return Success{}
	}
	s := Success{Held: held, Criteria: d.criteria, Shortest: efficacy.ShortestAt(held.TempC), Published: held.Published()}
	if s.Criteria == nil {
		s.Criteria = held.Criteria()
	}
	return s
}

// LowestLine names the line with the least product; "" without lines.
func (r *Report) LowestLine() string {
	name, least := "", 0.0
	for i, l := range r.Lines {
		if i == 0 || l.CTP.PPMh < least {
			name, least = l.Name, l.CTP.PPMh
		}
	}
	return name
}

// csv writes what the stack held against what is published.
func (s *Success) csv(t *table, stack string) {
	for _, c := range s.Criteria {
		asks, stands := words.Criterion(t.lang, c)
		t.value("criterion", 0, stack, c.Code+" "+c.State, float64(c.Value), "", asks+" "+stands)
	}
	for _, x := range s.Shortest {
		if x.Days == 0 {
			t.say("published", 0, x.Purpose, "phosphine is not effective", t.source(x.Source, x.Grade))
			continue
		}
		t.value("published", 0, x.Purpose, "shortest exposure", x.Days, "d", t.source(x.Source, x.Grade))
	}
	for _, a := range s.Published {
		t.value("published", 0, a.Line, a.Result, a.Held, "h", t.insect(a.Row)+": "+t.asks(a.Row)+"; "+t.source(a.Source, a.Grade))
	}
}
