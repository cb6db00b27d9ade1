package report

import (
	"fmt"
	"slices"
	"strings"

	"undersheet/logbook"
	"undersheet/logbook/words"
	"undersheet/report/paper"
)

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
	before := ""
	if b := a.before; b != nil {
		before = v.text("before", "{act}", v.code("kind", string(b.Head().Kind)), "{time}", v.time(b.Head().Time), "{by}", v.recorded(b.Who().By), "{what}", v.recorded(v.particulars(a.Before)))
	}
	for _, s := range []string{v.particulars(a.Entry), before, a.Note} {
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
	p.table("none-recorded", p.columns("check+", "result!", "when!", "by!", "second!"), rows)
}

// followUps are what is owed after the treatment.
func (p *page) followUps() {
	p.head("followups")
	var rows [][]paper.Cell
	for _, f := range p.r.FollowUps {
		how := p.code("follow", f.Result)
		if f.State == logbook.FollowOpen {
			how = f.Owner
		}
		row := paper.Row(p.code("follow", f.FollowUp), p.code("follow", f.State), p.when(f.Due, "waits"), p.time(f.At), f.By, how)
		row[1].Strong = f.State == logbook.FollowOpen
		rows = append(rows, row)
	}
	p.table("no-followups", p.columns("what+", "state", "due", "done", "by", "result+"), rows)
	if len(rows) > 0 {
		p.note("followups-note")
	}
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
	who := r.inCharge()
	for key, known := range map[string]bool{"fumigator": r.Given.Fumigator != "", "licence": who.Licence != "" && !who.Expired, "per-volume": r.Dose.GPerVolume != nil, "airing": r.Course.AiringStarted != 0} {
		if !known {
			missing = append(missing, p.text("term/"+key))
		}
	}
	slices.Sort(missing)
	if len(missing) > 0 {
		p.say("no-endorsement", "{missing}", p.list(missing))
	} else {
		p.say("endorsement", "{dose}", p.perVolume(), "{days}", p.num(r.Course.ExposureHours/24), "{temp}", p.given(r.Given.GrainTempC),
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
