package web

import (
	"fmt"

	"undersheet/logbook/words"
	"undersheet/rules/efficacy"
	"undersheet/rules/treatment"
)

// successView is how even the gas of a stack was, and how long it stood.
type successView struct {
	Lines     []heldLine
	Criteria  []criterionRow
	Source    string // of the criteria
	Shortest  []fact // published, by purpose
	Published []publishedRow
	Reached   int // of them
}

// heldLine is what one line held.
type heldLine struct {
	Name, PPMh, GhM3, Above string
	Lowest                  bool // it has the least CTP
}

// criterionRow is one criterion for success.
type criterionRow struct{ Asks, State, Stands string }

// publishedRow is a published time at a concentration, and what the weakest line held.
type publishedRow struct{ About, Asks, Held, Result, Source string }

// success says how well the gas of a stack stood; nil before its t = 0.
func (f *frame) success(e *efficacy.Exposure) *successView {
	if e == nil {
		return nil
	}
	v := &successView{Source: efficacy.CriteriaSource}
	lowest, _ := e.Lowest()
	for _, l := range e.Lines {
		v.Lines = append(v.Lines, heldLine{Name: l.Name, PPMh: figure(l.PPMh), GhM3: figure(e.GhM3(l.PPMh)), Above: figure(l.Above), Lowest: l.Name == lowest.Name})
	}
	for _, c := range e.Criteria() {
		asks, stands := words.Criterion(f.Lang, c)
		v.Criteria = append(v.Criteria, criterionRow{asks, c.State, stands})
	}
	for _, s := range efficacy.ShortestAt(e.TempC) {
		days := figure(s.Days) + " d"
		if s.Days == 0 {
			days = "phosphine is not effective"
		}
		v.Shortest = append(v.Shortest, fact{sentence(s.Purpose), fmt.Sprintf("%s. %s (%s)", days, s.Source, grades[s.Grade])})
	}
	for _, a := range e.Published() {
		v.Published = append(v.Published, published(a, e.Over))
		if a.Result == efficacy.Reached {
			v.Reached++
		}
	}
	return v
}

// grades are how sure published figures are.
var grades = map[string]string{"V": "read in the source", "V2": "read in a secondary copy"}

func published(a efficacy.Against, over bool) publishedRow {
	r := publishedRow{About: a.Insect, Held: span(treatment.Hours(a.Held)), Source: fmt.Sprintf("%s (%s)", a.Source, grades[a.Grade])}
	if a.Stage != "" && a.Stage != "all" {
		r.About += ", " + a.Stage
	}
	if a.Mortality > 0 {
		r.About += fmt.Sprintf(", %g %% killed", a.Mortality)
	}
	r.Asks = fmt.Sprintf("%g %s for %s", a.Level, a.Unit, span(treatment.Hours(a.Hours)))
	if a.TempC != nil {
		r.Asks += fmt.Sprintf(" at %g °C", *a.TempC)
	}
	switch {
	case a.Result == efficacy.Reached:
		r.Result = "reached"
	case a.Result == efficacy.TooCold:
		r.Result = "the grain is colder"
	case over:
		r.Result = "not reached"
	default:
		r.Result = "not yet reached"
	}
	return r
}
