package report

import (
	"fmt"

	"undersheet/logbook"
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
		if i == 0 || l.Product.PPMh < least {
			name, least = l.Name, l.Product.PPMh
		}
	}
	return name
}

// about names the insect, stage and mortality of a published row.
func about(r efficacy.Row) string {
	s := r.Insect
	if r.Stage != "all" {
		s += ", " + r.Stage
	}
	if r.Mortality > 0 {
		s += fmt.Sprintf(", %g %% killed", r.Mortality)
	}
	return s
}

// asks says what a published row asks for.
func asks(r efficacy.Row) string {
	s := fmt.Sprintf("%g %s for %.4g d", r.Level, r.Unit, r.Hours/24)
	if r.TempC != nil {
		s += fmt.Sprintf(" at %g °C", *r.TempC)
	}
	return s
}

// results are the words for how the exposure stands against a published row.
var results = map[string]string{efficacy.Reached: "reached", efficacy.NotReached: "not reached", efficacy.TooCold: "the grain is colder"}

// grades are how sure published figures are.
var grades = map[string]string{"V": "read in the source", "V2": "read in a secondary copy"}

// criterion puts a criterion for success into words.
func criterion(c logbook.Criterion) string {
	asks, stands := words.Criterion("en", c)
	return asks + " " + stands
}

// source says where a published figure comes from, and how sure it is.
func source(text, grade string) string { return text + " (" + grades[grade] + ")" }

// csv writes what the stack held against what is published.
func (s *Success) csv(t *table, stack string) {
	for _, c := range s.Criteria {
		t.value("criterion", 0, stack, c.Code+" "+c.State, float64(c.Value), "", criterion(c))
	}
	if s.Held != nil {
		for _, l := range s.Held.Lines {
			t.value("line", 0, l.Name, "at or above the end level", l.Above, "h", "")
		}
	}
	for _, x := range s.Shortest {
		if x.Days == 0 {
			t.say("published", 0, x.Purpose, "phosphine is not effective", source(x.Source, x.Grade))
			continue
		}
		t.value("published", 0, x.Purpose, "shortest exposure", x.Days, "d", source(x.Source, x.Grade))
	}
	for _, a := range s.Published {
		t.value("published", 0, a.Line, results[a.Result], a.Held, "h", about(a.Row)+": "+asks(a.Row)+"; "+source(a.Source, a.Grade))
	}
}
