package web

import (
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
		v.Lines = append(v.Lines, heldLine{Name: l.Name, PPMh: f.figure(l.PPMh), GhM3: f.figure(e.GhM3(l.PPMh)), Above: f.figure(l.Above), Lowest: l.Name == lowest.Name})
	}
	for _, c := range e.Criteria() {
		asks, stands := words.Criterion(f.Lang, c)
		v.Criteria = append(v.Criteria, criterionRow{asks, c.State, stands})
	}
	for _, s := range efficacy.ShortestAt(e.TempC) {
		days := f.text("page/days", "{days}", f.figure(s.Days))
		if s.Days == 0 {
			days = f.text("page/not-effective")
		}
		v.Shortest = append(v.Shortest, fact{sentence(f.code("purpose", s.Purpose)), days + ". " + f.cited(s.Source, s.Grade)})
	}
	for _, a := range e.Published() {
		v.Published = append(v.Published, f.published(a, e.Over))
		if a.Result == efficacy.Reached {
			v.Reached++
		}
	}
	return v
}

// cited names a source, and how sure its figure is.
func (f *frame) cited(source, grade string) string {
	return words.Source(f.Lang, source) + " (" + f.code("grade", grade) + ")"
}

func (f *frame) published(a efficacy.Against, over bool) publishedRow {
	r := publishedRow{About: f.insect(a.Insect), Held: f.span(treatment.Hours(a.Held)), Source: f.cited(a.Source, a.Grade)}
	if a.Stage != "" && a.Stage != "all" {
		r.About += ", " + f.code("stage", a.Stage)
	}
	if a.Mortality > 0 {
		r.About += ", " + f.text("page/killed", "{percent}", f.figure(a.Mortality))
	}
	asks := []string{"{level}", f.figure(a.Level), "{unit}", a.Unit, "{time}", f.span(treatment.Hours(a.Hours))}
	r.Asks = f.text("page/asks", asks...)
	if a.TempC != nil {
		r.Asks = f.text("page/asks-at", append(asks, "{temperature}", f.figure(*a.TempC))...)
	}
	switch {
	case a.Result == efficacy.Reached:
		r.Result = f.text("page/reached")
	case a.Result == efficacy.TooCold:
		r.Result = f.text("page/colder")
	case over:
		r.Result = f.text("page/not-reached")
	default:
		r.Result = f.text("page/not-yet")
	}
	return r
}
