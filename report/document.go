package report

import (
	"fmt"
	"io"

	"undersheet/logbook"
	"undersheet/logbook/words"
	"undersheet/report/paper"
)

// Document puts the report into words of a language. The same report gives the same
// document.
func (r *Report) Document(lang string) *paper.Document {
	p := &page{r: r, voice: r.voice(lang)}
	for _, part := range []func(){p.lead, p.short, p.treated, p.dosed, p.curves, p.phases, p.instruments, p.endLevels, p.losses, p.days,
		p.criteria, p.published, p.forecasts, p.leaks, p.alarms, p.airing, p.gate, p.exposure, p.exposed, p.hands, p.residues,
		p.checks, p.acts, p.findings, p.followUps, p.photos, p.people, p.index, p.endorsement, p.origin} {
		part()
	}
	return &paper.Document{Title: p.text("title", "{treatment}", r.Course.Name), Subject: r.Statement(lang), Lang: lang, Author: r.Place.Site, Made: r.Made,
		Foot: p.text("foot", "{site}", r.Place.Site, "{treatment}", r.Course.Name, "{hash}", p.recorded(short(r.Head))), Blocks: p.blocks}
}

// WriteHTML writes the report as one self-contained page that prints on A4.
func (r *Report) WriteHTML(w io.Writer, lang string) error { return r.Document(lang).WriteHTML(w) }

// WritePDF writes the report as a PDF of A4 pages.
func (r *Report) WritePDF(w io.Writer, lang string) error { return r.Document(lang).WritePDF(w) }

// short is the beginning of a hash, enough to tell papers apart.
func short(hash string) string { return hash[:min(len(hash), 16)] }

// page is a document while it is made.
type page struct {
	voice
	r      *Report
	blocks []paper.Block
}

func (p *page) put(b ...paper.Block)            { p.blocks = append(p.blocks, b...) }
func (p *page) head(key string)                 { p.put(paper.Heading{Level: 1, Text: p.text("head/" + key)}) }
func (p *page) sub(text string)                 { p.put(paper.Heading{Level: 2, Text: text}) }
func (p *page) say(key string, pairs ...string) { p.put(paper.Paragraph{Text: p.text(key, pairs...)}) }
func (p *page) note(key string, pairs ...string) {
	p.put(paper.Paragraph{Text: p.text(key, pairs...), Style: paper.Small})
}

// table puts a table, or a sentence where it has no rows.
func (p *page) table(none string, columns []paper.Column, rows [][]paper.Cell) {
	if len(rows) == 0 {
		p.say(none)
		return
	}
	p.put(paper.Table{Columns: columns, Rows: rows})
}

// lead says what this is of, how it ended, and the cautions.
func (p *page) lead() {
	r := p.r
	p.say("where", "{site}", r.Place.Site, "{store}", r.Place.Store, "{stack}", r.Place.Stack, "{zone}", r.Place.Timezone)
	p.put(paper.Paragraph{Text: p.text("verdict", "{phase}", p.code("phase", r.Stack.Phase), "{verdict}", words.Verdict(p.lang, r.Stack.Verdict, len(r.Lines))), Style: paper.Strong})
	if r.Stack.Phase != logbook.PhaseClosed {
		running := "running/" + r.Stack.Phase
		if r.ended {
			running = "running/owed"
		}
		p.put(paper.Paragraph{Text: p.text(running) + " " + p.text("as-of", "{time}", p.time(r.Made))})
	}
	p.put(paper.Caution{Text: p.text("caution")})
}

// short is what an auditor asks first.
func (p *page) short() {
	r := p.r
	met, not := 0, 0
	for _, c := range r.Success.Criteria {
		switch c.State {
		case logbook.ShownMet:
			met++
		case logbook.ShownNotMet:
			not++
		}
	}
	inside, judged := 0, 0
	for _, f := range r.Forecasts {
		if f.Within != nil {
			judged++
			if *f.Within {
				inside++
			}
		}
	}
	p.head("short")
	terms := paper.Terms{
		{Name: p.text("term/exposure"), Value: p.lasted()},
		{Name: p.text("term/end-level"), Value: p.lowestEnd()},
		{Name: p.text("term/lowest-ctp"), Value: p.lowestCTP()},
		{Name: p.text("term/criteria"), Value: p.text("criteria-count", "{met}", fmt.Sprint(met), "{not}", fmt.Sprint(not), "{open}", fmt.Sprint(len(r.Success.Criteria)-met-not))},
		{Name: p.text("term/leaks"), Value: fmt.Sprint(len(r.Leaks))},
		{Name: p.text("term/forecasts"), Value: p.text("forecast-count", "{inside}", fmt.Sprint(inside), "{judged}", fmt.Sprint(judged))},
		{Name: p.text("term/cleared"), Value: p.when(r.Course.Cleared, "not-yet")},
		{Name: p.text("term/followups"), Value: p.owed()},
	}
	p.put(terms)
}

// owed says how many follow-ups are done and owed.
func (p *page) owed() string {
	open := 0
	for _, f := range p.r.FollowUps {
		if f.State == logbook.FollowOpen {
			open++
		}
	}
	return p.text("followup-count", "{owed}", fmt.Sprint(open), "{all}", fmt.Sprint(len(p.r.FollowUps)))
}

// lowestEnd is the lowest line when it was last judged.
func (p *page) lowestEnd() string {
	var low *logbook.EndLevel
	var missing []string
	for i := range p.r.Lines {
		l := &p.r.Lines[i]
		n := len(l.EndLevels)
		switch {
		case n == 0 || l.EndLevels[n-1].Shown == logbook.NotShown:
			missing = append(missing, l.Name)
		case low == nil || l.EndLevels[n-1].PPM < low.PPM:
			low = &l.EndLevels[n-1]
		}
	}
	s := p.text("not-judged")
	if low != nil {
		s = p.text("lowest-end", "{ppm}", p.num(float64(low.PPM)), "{line}", low.Line, "{moment}", p.code("moment", low.Moment), "{end}", p.num(p.r.Course.EndLevelPPM))
	}
	if len(missing) > 0 {
		s += " " + p.text("lines-not-shown", "{lines}", p.list(missing))
	}
	return s
}

// lowestCTP is the line with the least product.
func (p *page) lowestCTP() string {
	name := p.r.LowestLine()
	for _, l := range p.r.Lines {
		if l.Name == name {
			return p.text("lowest-ctp", "{ppmh}", p.num(l.CTP.PPMh), "{gh}", p.num(l.CTP.GhM3), "{line}", name)
		}
	}
	return p.text("not-known")
}

// treated is what was treated, and where.
func (p *page) treated() {
	g, r := &p.r.Given, p.r
	p.head("treated")
	gas := p.text("gas-given", "{m3}", p.num(r.Dose.GasSpaceM3))
	if g.GasSpaceM3 == 0 {
		gas = p.text("gas-reckoned", "{m3}", p.num(r.Dose.GasSpaceM3), "{density}", p.kernels())
	}
	entered := func(v float64, unit string) string {
		if v == 0 {
			return p.text("not-recorded")
		}
		return p.given(v) + "\u00a0" + unit
	}
	bags := p.text("not-recorded")
	if g.Bags > 0 {
		bags = fmt.Sprint(g.Bags)
	}
	terms := paper.Terms{
		{Name: p.text("term/commodity"), Value: p.recorded(p.code("commodity", g.Commodity))},
		{Name: p.text("term/weight"), Value: entered(g.Tonnes, "t")},
		{Name: p.text("term/bags"), Value: bags},
		{Name: p.text("term/lot"), Value: p.recorded(g.Lot)},
		{Name: p.text("term/destination"), Value: p.recorded(g.Destination)},
		{Name: p.text("term/pests"), Value: p.recorded(g.Pests)},
		{Name: p.text("term/moisture"), Value: entered(g.GrainMoisturePct, "%")},
		{Name: p.text("term/temperature"), Value: p.temperature()},
		{Name: p.text("term/size"), Value: p.size()},
		{Name: p.text("term/volume"), Value: entered(g.VolumeM3, "m³")},
		{Name: p.text("term/gas-space"), Value: gas},
		{Name: p.text("term/sheet"), Value: p.recorded(g.Sheet)},
		{Name: p.text("term/protocol"), Value: p.text("protocol-is", "{protocol}", p.code("protocol", g.Protocol), "{end}", p.num(r.Course.EndLevelPPM), "{hours}", p.num(r.Course.ShortestHours))},
		{Name: p.text("term/dosing"), Value: p.when(r.Dosed, "not-recorded")},
		{Name: p.text("term/start"), Value: p.text("by-whom", "{time}", p.time(r.Course.Started), "{by}", p.recorded(g.By))},
		{Name: p.text("term/planned-end"), Value: p.time(r.Course.PlannedEnd)},
		{Name: p.text("term/airing"), Value: p.when(r.Course.AiringStarted, "not-yet")},
		{Name: p.text("term/cleared"), Value: p.when(r.Course.Cleared, "not-yet")},
	}
	if r.Course.SecondFrom != 0 {
		terms = append(terms, paper.Term{Name: p.text("term/second"), Value: p.text("from-to", "{from}", p.time(r.Course.SecondFrom), "{to}", p.time(r.Course.SecondUntil))})
	}
	p.put(terms)
}

func (p *page) temperature() string {
	s := p.text("temp-entered", "{temp}", p.given(p.r.Given.GrainTempC))
	if p.r.Aired.Measured {
		s = p.list([]string{s, p.text("temp-measured", "{temp}", p.num(p.r.Aired.TempC))})
	}
	return s
}

func (p *page) size() string {
	g := &p.r.Given
	if g.LengthM == 0 || g.WidthM == 0 || g.HeightM == 0 {
		return p.text("not-recorded")
	}
	return p.given(g.LengthM) + " × " + p.given(g.WidthM) + " × " + p.given(g.HeightM) + "\u00a0m"
}

// lasted says how long the exposure lasted.
func (p *page) lasted() string {
	c := &p.r.Course
	values := []string{"{hours}", p.tenths(c.ExposureHours), "{span}", p.span(c.Started, c.AiringStarted), "{skipped}", p.tenths(c.SkippedHours)}
	if c.SkippedHours > 0 {
		return p.text("exposure-skipped", values...)
	}
	return p.text("exposure-was", values...)
}
