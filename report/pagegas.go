package report

import (
	"fmt"
	"slices"
	"strings"

	"undersheet/logbook"
	"undersheet/logbook/words"
	"undersheet/report/paper"
	"undersheet/rules/efficacy"
)

// phases are the treatment's phases and verdicts as they were recorded.
func (p *page) phases() {
	p.head("phases")
	var rows [][]paper.Cell
	for _, x := range p.r.Phases {
		rows = append(rows, paper.Row(p.time(x.Time), p.code("phase", x.Phase), words.Verdict(p.lang, x.Verdict, len(p.r.Lines))))
	}
	p.table("none-recorded", p.columns("when", "phase", "verdict"), rows)
}

// instruments are what read the gas, and what shows that they read true.
func (p *page) instruments() {
	p.head("instruments")
	var rows, checks [][]paper.Cell
	for _, x := range p.r.Instruments {
		proof := p.text("not-recorded")
		if x.Proved != 0 {
			proof = p.time(x.Proved) + ", " + p.text(map[bool]string{true: "proof-held", false: "proof-failed"}[x.ProofHeld])
		}
		rows = append(rows, paper.Row(x.Place, x.Channel, p.given(x.Range), p.given(x.Resolution), p.given(x.DetectionLimit), p.percent(x.Accuracy), x.Unit, proof))
		if len(x.Checks) == 0 {
			checks = append(checks, []paper.Cell{{Text: x.Place}, {Text: p.text("no-checks"), Span: 4}})
			continue
		}
		for _, s := range x.States {
			checks = append(checks, paper.Row(x.Place, p.code("check", s.What), p.checked(x.Checks, s), p.code("worth", s.AtStart), p.code("worth", s.AtEnd)))
		}
		for _, c := range x.Checks {
			if c.What == Swapped {
				checks = append(checks, []paper.Cell{{Text: x.Place}, {Text: p.code("check", c.What)}, {Text: p.text("swapped-in", "{time}", p.time(c.At), "{serial}", c.Serial, "{by}", p.recorded(c.By)), Span: 3}})
			}
		}
	}
	p.table("none-recorded", p.columns("place+", "channel", ">range", ">resolution", ">detection", ">accuracy", "unit", "proof+"), rows)
	p.put(paper.Table{Caption: p.text("checks-caption"), Columns: p.columns("place", "check", "newest++", "at-start", "at-end"), Rows: checks})
	p.note("checks-note")
}

// checked says how the newest check of a sort went.
func (p *page) checked(checks []Check, s CheckState) string {
	var parts []string
	for _, c := range checks {
		if c.What != s.What {
			continue
		}
		parts = append(parts, p.text("check-was", "{time}", p.time(c.At), "{by}", p.recorded(c.By), "{applied}", p.given(c.Applied), "{read}", p.given(c.Read), "{unit}", c.Unit,
			"{passed}", p.text(map[bool]string{true: "passed", false: "not-passed"}[c.Passed]), "{due}", p.lastDay(c.Due, "not-said")))
	}
	if len(parts) == 0 {
		return p.text("not-recorded")
	}
	return strings.Join(parts, "\n")
}

// endLevels are the end level at both moments and the product of every line.
func (p *page) endLevels() {
	p.head("end-level")
	var rows [][]paper.Cell
	for i := range p.r.Lines {
		l := &p.r.Lines[i]
		ctp := []string{p.num(l.CTP.PPMh), p.num(l.CTP.GhM3), p.num(l.AboveHours), p.num(l.CTP.GapHours)}
		for k, e := range l.EndLevels {
			shown, ppm := p.code("shown", e.Shown), p.num(float64(e.PPM))
			if e.ByHand {
				shown += " " + p.text("by-hand")
			}
			if e.Shown == logbook.NotShown {
				ppm = "—"
			}
			row := paper.Row(l.Name, p.code("moment", e.Moment), shown, ppm)
			row[2].Strong = e.Shown != logbook.ShownMet
			if k == 0 {
				row = append(row, paper.Row(ctp...)...)
			} else {
				row = append(row, paper.Cell{Span: len(ctp)})
			}
			rows = append(rows, row)
		}
		if len(l.EndLevels) == 0 {
			rows = append(rows, append(paper.Row(l.Name, p.text("not-judged"), "—", "—"), paper.Row(ctp...)...))
		}
		for _, g := range l.CTP.Gaps {
			rows = append(rows, []paper.Cell{{Text: l.Name}, {Text: p.text("gap", "{from}", p.time(g.From), "{to}", p.time(g.To), "{hours}", p.num(g.To.Hours(g.From))), Span: 7}})
		}
	}
	p.table("no-lines", p.columns("line", "end-at", "shown", ">median", ">ctp-ppm", ">ctp-g", ">above", ">gaps"), rows)
	source := "temp-of-entry"
	if p.r.Aired.Measured {
		source = "temp-of-sheet"
	}
	p.note("ctp-note", "{temp}", p.num(p.r.Aired.TempC), "{source}", p.text(source))
}

// losses is the half-life of the concentration.
func (p *page) losses() {
	p.head("half-life")
	var rows [][]paper.Cell
	row := func(name string, l *Loss, why string) {
		if l == nil {
			rows = append(rows, []paper.Cell{{Text: name}, {Text: p.code("loss", why), Span: 6}})
			return
		}
		rows = append(rows, paper.Row(name, p.num(l.HalfLife), p.num(l.HalfLifeSE), p.num(l.PerDay), p.num(l.PerDaySE), p.num(l.Release), p.num(l.Until)))
	}
	row(p.text("whole-stack"), p.r.Loss, "not-fitted")
	for _, l := range p.r.Lines {
		row(l.Name, l.Loss, l.LossWhy)
	}
	p.table("no-lines", p.columns("line+", ">half-life", ">half-life-se", ">loss", ">loss-se", ">release", ">until"), rows)
	p.note("half-life-note")
}

// days are the daily figures of each line, and how even the gas was.
func (p *page) days() {
	p.head("days")
	var rows [][]paper.Cell
	for _, l := range p.r.Lines {
		for _, d := range l.Days {
			highest := p.num(d.Highest)
			if d.Over {
				highest = p.text("at-least", "{value}", highest)
			}
			rows = append(rows, paper.Row(l.Name, fmt.Sprint(d.Number), p.num(d.Lowest), p.num(d.Mean), highest, fmt.Sprint(d.Readings)))
		}
	}
	p.table("no-readings", p.columns("line+", ">day", ">lowest", ">mean", ">highest", ">readings"), rows)
	p.note("days-note")
	p.head("distribution")
	rows = nil
	for _, d := range p.r.Days {
		rows = append(rows, paper.Row(fmt.Sprint(d.Number), p.num(d.Lowest), p.num(d.Highest), p.num(d.Ratio)))
	}
	p.table("no-readings", p.columns(">day", ">lowest-line", ">highest-line", ">ratio"), rows)
}

// criteria are the published criteria for success, with their figures.
func (p *page) criteria() {
	if p.r.Success.Held == nil {
		return
	}
	p.head("criteria")
	var rows [][]paper.Cell
	for _, c := range p.r.Success.Criteria {
		asks, stands := words.Criterion(p.lang, c)
		row := paper.Row(asks, p.code("shown", c.State), stands)
		row[1].Strong = true
		rows = append(rows, row)
	}
	p.table("none-recorded", p.columns("asks++", "met", "stands++"), rows)
	p.note("criteria-note", "{source}", efficacy.CriteriaSource)
}

// published holds the exposure against published ones.
func (p *page) published() {
	s := &p.r.Success
	if s.Held == nil {
		return
	}
	p.head("published")
	var terms paper.Terms
	for _, x := range s.Shortest {
		value := p.text("not-effective")
		if x.Days > 0 {
			value = p.text("least-days", "{days}", p.given(x.Days))
		}
		terms = append(terms, paper.Term{Name: p.code("purpose", x.Purpose), Value: value + " " + p.text("at-temp", "{temp}", p.num(s.Held.TempC)) + " " + p.source(x.Source, x.Grade)})
	}
	p.put(terms)
	var rows [][]paper.Cell
	for _, a := range telling(s.Published) {
		rows = append(rows, paper.Row(p.insect(a.Row), p.asks(a.Row), p.num(a.Held), p.code("result", a.Result), p.source(a.Source, a.Grade)))
	}
	p.table("none-recorded", p.columns("insect", "published", ">held", "result!", "source"), rows)
	p.note("published-note")
}

// telling keeps one row for each insect and stage: of those that were reached the one
// that asks most hours, else of those that were not the one that asks least.
func telling(all []efficacy.Against) []efficacy.Against {
	var out []efficacy.Against
	better := func(a, b *efficacy.Against) bool {
		rank := map[string]int{efficacy.Reached: 2, efficacy.NotReached: 1}
		switch {
		case rank[a.Result] != rank[b.Result]:
			return rank[a.Result] > rank[b.Result]
		case a.Result == efficacy.Reached:
			return a.Hours > b.Hours
		}
		return a.Hours < b.Hours
	}
	for _, a := range all {
		i := slices.IndexFunc(out, func(b efficacy.Against) bool { return a.Insect == b.Insect && a.Stage == b.Stage })
		switch {
		case i < 0:
			out = append(out, a)
		case better(&a, &out[i]):
			out[i] = a
		}
	}
	return out
}

// insect names the insect, stage and mortality of a published row.
func (v voice) insect(r efficacy.Row) string {
	s := v.code("insect", r.Insect)
	if r.Stage != "all" {
		s += ", " + v.code("stage", r.Stage)
	}
	if r.Mortality > 0 {
		s += ", " + v.text("killed", "{percent}", v.given(r.Mortality))
	}
	return s
}

// asks says what a published row asks for.
func (v voice) asks(r efficacy.Row) string {
	s := v.text("held-for", "{level}", v.given(r.Level), "{unit}", r.Unit, "{days}", v.brief(r.Hours/24))
	if r.TempC != nil {
		s += " " + v.text("at-temp", "{temp}", v.given(*r.TempC))
	}
	return s
}

// source says where a published figure comes from, and how sure it is.
func (v voice) source(text, grade string) string {
	return words.Source(v.lang, text) + " (" + v.code("grade", grade) + ")"
}
