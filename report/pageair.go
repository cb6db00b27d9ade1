package report

import (
	"fmt"
	"slices"
	"strings"

	"undersheet/logbook"
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
			came, within = p.num(*f.Came), p.yes(*f.Within)
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
		limits = append(limits, p.unit(l.PPM, "ppm")+", "+l.Of)
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
		p.put(paper.Paragraph{Text: s.Source + ".", Style: paper.Small})
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
		rows = append(rows, paper.Row(x.Name, where, p.time(x.In), p.time(x.Out), p.num(x.PPM), p.num(x.TWA8PPM), known))
	}
	p.table("no-masked", p.columns("name+", "place", "in", "out", ">highest", ">twa", "air"), rows)
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
		row := paper.Row(p.time(h.At), h.Place, h.By, method, p.maybe(h.DetectedPPM, ""), p.num(h.PPM))
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

// acts are what people did, numbered as in the picture. How most names are known is
// said once.
func (p *page) acts() {
	p.head("acts")
	usual := p.usualIdentity()
	var rows [][]paper.Cell
	for i := range p.r.Acts {
		a := &p.r.Acts[i]
		by := p.recorded(a.By)
		if a.Identity != usual {
			by += "\n" + p.identity(a.Identity)
		}
		rows = append(rows, paper.Row(fmt.Sprint(i+1), p.time(a.At), p.code("kind", string(a.Kind)), by, p.did(a)))
	}
	p.table("none-recorded", p.columns(">no", "when!", "act+", "by!", "particulars+"), rows)
	if usual != "" {
		p.note("identities", "{how}", p.code("identity", usual))
	}
}

// usualIdentity is how most of those who acted are known.
func (p *page) usualIdentity() string {
	counts, usual := map[string]int{}, ""
	for _, a := range p.r.Acts {
		if counts[a.Identity]++; counts[a.Identity] > counts[usual] {
			usual = a.Identity
		}
	}
	return usual
}

// identity says how somebody is known.
func (v voice) identity(how string) string {
	return v.text("identity", "{how}", v.code("identity", how))
}

// did says what an act carries beside person, time and place, and why it was refused.
func (v voice) did(a *Act) string {
	var parts []string
	if a.refusal != nil {
		parts = append(parts, v.text("refused", "{why}", v.why(*a.refusal)))
	}
	for _, s := range []string{v.particulars(a.Entry), a.Note} {
		if s != "" {
			parts = append(parts, s)
		}
	}
	return strings.Join(parts, "\n")
}

// why says why an act was refused; the record stays as it is.
func (v voice) why(r logbook.Refused) string {
	r.Reasons = slices.Clone(r.Reasons)
	words.Fill(v.lang, &r)
	return r.Why
}

// findings are what did not add up, and what was refused.
func (p *page) findings() {
	p.head("findings")
	var list paper.List
	for i := range p.r.Findings {
		f := p.r.Findings[i]
		words.Fill(p.lang, &f)
		list = append(list, p.pair(p.time(f.Time), f.Text))
	}
	for i := range p.r.Refused {
		x := &p.r.Refused[i]
		list = append(list, p.pair(p.time(x.Time), p.text("was-refused", "{act}", p.code("kind", string(x.Entry)), "{why}", p.why(*x))))
	}
	if len(list) == 0 {
		p.say("none-found")
		return
	}
	p.put(list)
}

// checks are the checks that were signed before dosing, one by one.
func (p *page) checks() {
	p.head("checks")
	var rows [][]paper.Cell
	for _, a := range p.r.Acts {
		e, ok := a.entry.(*logbook.ChecksSigned)
		if !ok {
			continue
		}
		for _, w := range e.Wanting {
			row := paper.Row(words.Plan(p.lang, w, "", 0), p.text("wanting"), p.time(a.At), a.By, p.recorded(e.Second))
			row[1].Strong = true
			rows = append(rows, row)
		}
		for _, c := range e.InOrder {
			rows = append(rows, paper.Row(words.Plan(p.lang, c, "", 0), p.text("in-order"), p.time(a.At), a.By, p.recorded(e.Second)))
		}
	}
	p.table("none-recorded", p.columns("check+", "result", "when!", "by", "second"), rows)
}

// photos are the pictures that the log holds, by their hashes.
func (p *page) photos() {
	p.head("photos")
	var rows [][]paper.Cell
	for _, x := range p.r.Photos {
		rows = append(rows, paper.Row(p.time(x.At), x.By, x.Name, fmt.Sprint(x.Bytes), x.SHA256))
	}
	p.table("no-photos", p.columns("when", "by", "name", ">bytes", "sha256+++"), rows)
}

// people are those who did or signed something, and the lines to sign on.
func (p *page) people() {
	p.head("people")
	var rows [][]paper.Cell
	for i := range p.r.People {
		x := &p.r.People[i]
		var did, as []string
		for _, k := range x.Acts {
			did = append(did, p.code("kind", string(k)))
		}
		for _, n := range x.Named {
			as = append(as, p.code("named", n))
		}
		rows = append(rows, paper.Row(x.Name, p.licence(x), p.contact(x), strings.Join(did, "\n"), strings.Join(as, ", ")))
	}
	p.table("none-recorded", p.columns("name!", "licence+", "contact+", "signed!", "named"), rows)
}

// endorsement is the line that certificates ask for, for the fumigator to sign; it is
// put together only when all of it was recorded.
func (p *page) endorsement() {
	r := p.r
	p.head("endorsement")
	var missing []string
	for key, known := range map[string]bool{"fumigator": r.Given.Fumigator != "", "per-volume": r.Dose.GPerVolume != nil, "airing": r.Course.AiringStarted != 0} {
		if !known {
			missing = append(missing, p.text("term/"+key))
		}
	}
	slices.Sort(missing)
	if len(missing) > 0 {
		p.say("no-endorsement", "{missing}", strings.Join(missing, ", "))
	} else {
		p.say("endorsement", "{dose}", p.maybe(r.Dose.GPerVolume, "g/m³"), "{days}", p.num(r.Course.ExposureHours/24), "{temp}", p.given(r.Given.GrainTempC),
			"{fumigator}", p.fumigator())
	}
	p.note("endorsement-note")
	p.put(paper.Signatures{p.text("sign/fumigator"), p.text("sign/second"), p.text("sign/supervisor")})
}

// origin says which log and program this comes from, and how that is proved.
func (p *page) origin() {
	r := p.r
	p.head("origin")
	terms := paper.Terms{{Name: p.text("term/log"), Value: p.text("from-file")}}
	if r.LogID != "" {
		terms = paper.Terms{
			{Name: p.text("term/log"), Value: r.LogID},
			{Name: p.text("term/entries"), Value: p.text("range", "{first}", fmt.Sprint(r.FirstSeq), "{last}", fmt.Sprint(r.LastSeq))},
			{Name: p.text("term/hash", "{seq}", fmt.Sprint(r.LastSeq)), Value: p.recorded(r.Head)},
		}
	}
	terms = append(terms, paper.Term{Name: p.text("term/written-by"), Value: r.Program}, paper.Term{Name: p.text("term/judged-by"), Value: p.recorded(strings.Join(r.Programs, ", "))},
		paper.Term{Name: p.text("term/as-of"), Value: r.Made.String()}, paper.Term{Name: p.text("term/statement"), Value: r.Statement(p.lang)})
	p.put(terms)
	p.note("origin-note")
}
