package report

import (
	"fmt"
	"strings"

	"undersheet/logbook/words"
	"undersheet/report/paper"
)

// forecasts are those made on each day, beside what came.
func (p *page) forecasts() {
	p.head("forecasts")
	var rows [][]paper.Cell
	for _, f := range p.r.Forecasts {
		came, within := p.text("not-known"), "—"
		if f.Came != nil {
			came = p.num(*f.Came)
		}
		if f.Within != nil {
			within = p.yes(*f.Within)
		} else if f.Added {
			within = p.text("added-since")
		}
		rows = append(rows, paper.Row(p.time(f.At), p.time(f.For), p.num(f.P50), p.text("between", "{low}", p.num(f.P05), "{high}", p.num(f.P95)), words.Chance(p.lang, f.Chance), came, within))
	}
	p.table("none-recorded", p.columns("made", "for", ">expected", ">interval", ">chance", ">came", "within"), rows)
	p.note("forecasts-note")
}

// leaks are the leaks that were told, and what was done then.
func (p *page) leaks() {
	p.head("leaks")
	var rows [][]paper.Cell
	for _, l := range p.r.Leaks {
		where := l.Line
		if where == "" {
			where = p.text("whole-stack")
		}
		onset := p.time(l.Onset)
		if l.OnsetFrom != 0 {
			onset += "\n(" + p.text("from-to", "{from}", p.time(l.OnsetFrom), "{to}", p.time(l.OnsetTo)) + ")"
		}
		var done []string
		for _, n := range l.Acts {
			a := &p.r.Acts[n-1]
			done = append(done, fmt.Sprintf("%d %s %s, %s", n, p.time(a.At), p.code("kind", string(a.Kind)), a.By))
		}
		if len(done) == 0 {
			done = []string{p.text("nothing-recorded")}
		}
		rows = append(rows, paper.Row(where, p.time(l.Raised), onset, p.num(l.Before), p.num(l.After), p.when(l.Cleared, "stood")),
			[]paper.Cell{{Text: p.pair(p.text("done"), "\n"+strings.Join(done, "\n")), Span: 6}})
	}
	p.table("no-leaks", p.columns("line", "told", "onset++", ">before", ">after", "over"), rows)
	if len(rows) > 0 {
		p.note("leaks-note")
	}
}

// alarms are all alarms of the stack and its store.
func (p *page) alarms() {
	p.head("alarms")
	var rows [][]paper.Cell
	for i := range p.r.Alarms {
		a := &p.r.Alarms[i]
		headline, _ := words.Alarm(p.lang, a)
		rows = append(rows, paper.Row(p.time(a.Time), p.time(a.Onset), p.code("state", a.State), p.code("priority", a.Priority), headline))
	}
	p.table("no-alarms", p.columns("when", "since", "state", "priority", "what+++"), rows)
}

// gate is the history of the store's gate.
func (p *page) gate() {
	r := p.r
	p.put(paper.Heading{Level: 1, Text: p.text("head/gate", "{store}", r.Place.Store)})
	var rows [][]paper.Cell
	for _, g := range r.GateRuns() {
		var reasons []string
		for _, x := range g.Reasons {
			s := words.Reason(p.lang, x.Reason)
			if x.Times > 1 {
				s += " " + p.text("times", "{count}", fmt.Sprint(x.Times))
			}
			reasons = append(reasons, s)
		}
		rows = append(rows, paper.Row(p.time(g.From), p.code("gate", g.State), p.num(g.LimitPPM), strings.Join(reasons, "\n")))
	}
	p.table("none-recorded", p.columns("from", "state", ">limit", "reasons+++"), rows)
	var limits []string
	for _, l := range r.Limits() {
		limits = append(limits, p.unit(l.PPM, "ppm")+", "+words.Source(p.lang, l.Of))
	}
	if len(limits) > 0 {
		p.note("gate-note", "{limits}", p.list(limits))
	}
}

// exposure holds the air against the dated limits.
func (p *page) exposure() {
	r := p.r
	p.head("exposure")
	var rows [][]paper.Cell
	for _, a := range r.Air {
		name := a.Key + " " + a.Name
		if a.Readings == 0 {
			rows = append(rows, []paper.Cell{{Text: name}, {Text: p.code("where", a.Where)}, {Text: p.text("not-read"), Span: 5}})
			continue
		}
		highest := p.num(a.Highest)
		if a.Over {
			highest = p.text("at-least", "{value}", highest)
		}
		rows = append(rows, paper.Row(name, p.code("where", a.Where), highest, p.time(a.HighestAt), p.num(a.HighestTWA8h), p.num(a.TWACovered), p.num(a.Highest15min)))
	}
	p.table("no-air", p.columns("point+", "place", ">highest", "at", ">twa", ">twa-read", ">short"), rows)
	p.note("exposure-note")
	for i, s := range r.LimitSets {
		if s.From == 0 {
			p.sub(p.text("limits-now"))
		} else {
			p.sub(p.text("limits-from", "{from}", p.time(s.From)))
		}
		p.put(paper.Paragraph{Text: words.Source(p.lang, s.Source) + ".", Style: paper.Small})
		rows = nil
		for _, a := range r.Air {
			for _, x := range a.Against {
				if x.Set == i {
					rows = append(rows, p.against(&a, x))
				}
			}
		}
		p.table("no-air", p.columns("point+", "place", "limit-of+", ">limit", ">highest", "at", "result"), rows)
	}
	for _, a := range r.Air {
		if a.OwnLimit > 0 {
			p.say("own-limit", "{point}", a.Name, "{limit}", p.num(a.OwnLimit), "{highest}", p.num(a.Highest))
		}
	}
}

func (p *page) against(a *AirPoint, x Against) []paper.Cell {
	found := "—"
	if x.State != LimitNotRead {
		found = p.num(x.Found)
	}
	row := paper.Row(a.Key+" "+a.Name, p.code("where", a.Where), p.code("level", x.Level), p.num(x.Limit), found, p.time(x.At), p.code("limit", x.State))
	row[6].Strong = x.State != LimitBelow
	return row
}

// exposed is what people met in masked entries.
func (p *page) exposed() {
	p.head("people-exposed")
	var rows [][]paper.Cell
	for _, x := range p.r.Exposed {
		where := p.text("inside")
		if x.AtDoor {
			where = p.text("at-door")
		}
		known := p.text("air-known")
		if !x.Known {
			known = p.text("air-not-known")
		}
		row := paper.Row(x.Name, where, p.time(x.In), p.time(x.Out), p.num(x.PPM), p.num(x.TWA8PPM), p.num(x.Limit), known)
		row[5].Strong, row[7].Strong = x.TWA8PPM >= x.Limit, !x.Known
		rows = append(rows, row)
	}
	p.table("no-masked", p.columns("name!", "place", "in!", "out!", ">highest", ">twa-person", ">limit", "air"), rows)
	if len(rows) > 0 {
		p.note("people-exposed-note")
	}
}

// hands are the hand readings beside the fixed instruments.
func (p *page) hands() {
	p.head("hands")
	var rows [][]paper.Cell
	for _, h := range p.r.Hands {
		method := h.Method
		if h.Serial != "" {
			method += ", " + h.Serial
		}
		place := h.Place
		if h.Bags {
			place += ", " + p.text("inside-bags")
		}
		row := paper.Row(p.time(h.At), place, h.By, method, p.maybe(h.DetectedPPM, ""), p.num(h.PPM))
		switch {
		case h.Fixed != nil:
			share := "—"
			if h.Fixed.PPM > 0 {
				share = p.percent(h.PPM / h.Fixed.PPM)
			}
			row = append(row, paper.Row(p.num(h.Fixed.PPM), p.text("minutes", "{count}", fmt.Sprintf("%.0f", apart(h.Fixed.At, h.At).Minutes())), share)...)
		case h.Instrument:
			row = append(row, paper.Cell{Text: p.text("no-fixed-reading"), Span: 3})
		default:
			row = append(row, paper.Cell{Text: p.text("no-fixed"), Span: 3})
		}
		rows = append(rows, row)
	}
	p.table("none-recorded", p.columns("when!", "place!", "by!", "method+", ">lod-ppm", ">by-hand", ">fixed", ">apart", ">share"), rows)
}
