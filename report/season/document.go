package season

import (
	"math"
	"strconv"
	"strings"
	"time"

	"undersheet/logbook"
	"undersheet/logbook/words"
	"undersheet/report/paper"
)

// Document is the summary for a page or for paper, in a language.
func (s *Season) Document(lang string) *paper.Document {
	v := voice{s, lang}
	first, last := v.day(s.From), v.day(s.To-1)
	d := &paper.Document{Title: v.say("title", "{site}", s.Site), Subject: s.Statement(lang), Lang: lang, Author: s.Site, Made: s.Made,
		Foot: v.say("foot", "{site}", s.Site, "{from}", first, "{to}", last)}
	if s.Head != "" {
		d.Foot += " · " + s.Head[:min(12, len(s.Head))]
	}
	d.Blocks = []paper.Block{
		paper.Paragraph{Text: v.say("period", "{from}", first, "{to}", last, "{zone}", s.Zone.String(), "{days}", v.figure(s.Days()))},
		paper.Caution{Text: v.say("caution")},
	}
	for _, part := range []func() []paper.Block{v.treatments, v.sheets, v.leaks, v.stock, v.lost, v.forecasts, v.alarms, v.sources} {
		d.Blocks = append(d.Blocks, part()...)
	}
	d.Blocks = append(d.Blocks, paper.Signatures{v.say("sign-licensed"), v.say("sign-in-depot")})
	return d
}

// voice says a season in a language.
type voice struct {
	*Season
	lang string
}

func (v voice) say(key string, pairs ...string) string {
	return words.Text(v.lang, "season/"+key, pairs...)
}

// columns are columns with titles by their keys; those that begin with a dash hold words,
// the others figures.
func (v voice) columns(keys ...string) []paper.Column {
	var cs []paper.Column
	for _, key := range keys {
		name, said := strings.CutPrefix(key, "-")
		cs = append(cs, paper.Column{Title: v.say(name), Right: !said})
	}
	return cs
}

// part is a heading with what stands under it.
func (v voice) part(key string, blocks ...paper.Block) []paper.Block {
	return append([]paper.Block{paper.Heading{Level: 1, Text: v.say(key)}}, blocks...)
}

func (v voice) small(key string, pairs ...string) paper.Paragraph {
	return paper.Paragraph{Text: v.say(key, pairs...), Style: paper.Small}
}

// figure writes a quantity; one that is not known as a dash.
func (v voice) figure(x float64) string { return words.Quantity(v.lang, x) }

// per writes a share of something that may not be known.
func (v voice) per(x, of float64) string {
	if !(of > 0) {
		return "—"
	}
	return v.figure(x / of)
}

// tenth writes days with one decimal.
func (v voice) tenth(x float64) string {
	return words.Figure(v.lang, strconv.FormatFloat(x, 'f', 1, 64))
}

// percent writes a share in whole per cent.
func (v voice) percent(p float64) string {
	return strconv.FormatFloat(math.Round(100*p), 'f', 0, 64) + "\u00a0%"
}

// interval writes the bounds of a proportion.
func (v voice) interval(p Proportion) string {
	if p.N == 0 {
		return "—"
	}
	low, high := p.Interval()
	return v.say("interval", "{low}", v.percent(low), "{high}", v.percent(high))
}

func (v voice) of(p Proportion) string {
	return v.say("of", "{part}", strconv.Itoa(p.Of), "{all}", strconv.Itoa(p.N))
}

// day writes the day of a moment, time its minute too, by the depot's clock.
func (v voice) day(t logbook.Time) string { return v.at(t, time.DateOnly) }

func (v voice) time(t logbook.Time) string { return v.at(t, "2006-01-02\u00a015:04") }

func (v voice) at(t logbook.Time, layout string) string {
	if t == 0 {
		return "—"
	}
	return t.Std().In(v.Zone).Format(layout)
}

// name is a treatment's name, or a dash: one that never started has none.
func (t *Treatment) name() string {
	if t.Name == "" {
		return "—"
	}
	return t.Name
}

// exposure is how many days a sheet was shut; false where it is not over.
func (t *Treatment) exposure() (days float64, over bool) {
	return t.Aired.Hours(t.Begun) / 24, t.Aired != 0
}

func (v voice) treatments() []paper.Block {
	if len(v.Treatments) == 0 {
		return v.part("treatments", paper.Paragraph{Text: v.say("none")})
	}
	t := paper.Table{Columns: v.columns("-treatment", "-place", "-begun", "exposure", "tonnes", "phosphine", "per-tonne", "per-m3", "loss", "-verdict")}
	var tonnes, grams, volume, onTonnes, inVolume float64 // g on grain, and in a volume, that are known
	for i := range v.Treatments {
		x := &v.Treatments[i]
		exposure, loss := "—", "—"
		if days, over := x.exposure(); over {
			exposure = v.tenth(days)
		}
		if x.LossPerDay > 0 {
			loss = v.figure(x.LossPerDay)
		}
		tonnes, grams, volume = tonnes+x.Tonnes, grams+x.Grams, volume+x.VolumeM3
		if x.Tonnes > 0 {
			onTonnes += x.Grams
		}
		if x.VolumeM3 > 0 {
			inVolume += x.Grams
		}
		t.Rows = append(t.Rows, paper.Row(x.name(), x.Store+", "+x.Stack, v.time(x.Begun), exposure, v.figure(x.Tonnes), v.figure(x.Grams), v.per(x.Grams, x.Tonnes), v.per(x.Grams, x.VolumeM3), loss,
			words.Verdict(v.lang, x.Verdict, x.Lines)))
	}
	all := paper.Row(v.say("all"), "", "", "", v.figure(tonnes), v.figure(grams), v.per(onTonnes, tonnes), v.per(inVolume, volume), "", "")
	t.Rows = append(t.Rows, strong(all))
	held := v.Held()
	terms := paper.Terms{{Name: v.say("held"), Value: v.of(held)}}
	if held.N > 0 {
		terms = append(terms, paper.Term{Name: v.say("share"), Value: v.percent(held.Share())}, paper.Term{Name: v.say("share-interval"), Value: v.interval(held)})
	}
	if open := len(v.Treatments) - held.N; open > 0 {
		terms = append(terms, paper.Term{Name: v.say("not-judged"), Value: strconv.Itoa(open)})
	}
	return v.part("treatments", terms, t, v.small("treatments-note"))
}

func strong(row []paper.Cell) []paper.Cell {
	for i := range row {
		row[i].Strong = true
	}
	return row
}

func (v voice) sheets() []paper.Block {
	sheets := v.Sheets()
	if len(sheets) == 0 {
		return nil
	}
	t := paper.Table{Columns: v.columns("-store", "-stack", "fitted", "mean-loss", "half-life", "worst-loss", "-worst-at", "leaks-told")}
	for _, x := range sheets {
		row := []string{x.Store, x.Stack, strconv.Itoa(x.Treatments), "—", "—", "—", "—", strconv.Itoa(x.Leaks)}
		if x.Treatments > 0 {
			row[3], row[4], row[5], row[6] = v.figure(x.Mean), v.figure(math.Ln2/x.Mean), v.figure(x.Worst), v.day(x.WorstAt)
		}
		t.Rows = append(t.Rows, paper.Row(row...))
	}
	return v.part("sheets", t, v.small("sheets-note"))
}

func (v voice) leaks() []paper.Block {
	if len(v.Leaks) == 0 {
		return v.part("leaks", paper.Paragraph{Text: v.say("none")})
	}
	t := paper.Table{Columns: v.columns("-store", "-stack", "-line", "times", "-onsets")}
	repeat := 0
	for _, p := range v.Leaks {
		line := p.Line
		if line == "" {
			line = v.say("every-line")
		}
		var onsets []string
		for _, at := range p.Times {
			onsets = append(onsets, v.time(at))
		}
		row := paper.Row(p.Store, p.Stack, line, strconv.Itoa(len(p.Times)), strings.Join(onsets, "; "))
		if len(p.Times) > 1 {
			repeat++
			row = strong(row)
		}
		t.Rows = append(t.Rows, row)
	}
	return v.part("leaks", paper.Paragraph{Text: v.say("leaks-repeat", "{places}", strconv.Itoa(repeat), "{all}", strconv.Itoa(len(v.Leaks)))}, t, v.small("leaks-note"))
}

func (v voice) lost() []paper.Block {
	t := paper.Table{Columns: v.columns("-treatment", "-place", "-planned-end", "-aired", "over", "-cleared", "slow", "together")}
	var over, slow, failed float64
	for i := range v.Treatments {
		x := &v.Treatments[i]
		if x.Aired == 0 {
			continue
		}
		over, slow = over+x.Over(), slow+x.Slow()
		if x.Verdict == logbook.VerdictFailed || x.Verdict == logbook.VerdictAbandoned {
			days, _ := x.exposure()
			failed += max(days, 0)
		}
		t.Rows = append(t.Rows, paper.Row(x.name(), x.Store+", "+x.Stack, v.time(x.PlannedEnd), v.time(x.Aired), v.tenth(x.Over()), v.time(x.Cleared), v.tenth(x.Slow()), v.tenth(x.Over()+x.Slow())))
	}
	if len(t.Rows) == 0 {
		return nil
	}
	t.Rows = append(t.Rows, strong(paper.Row(v.say("all"), "", "", "", v.tenth(over), "", v.tenth(slow), v.tenth(over+slow))))
	return v.part("lost", t, paper.Terms{{Name: v.say("failed-exposure"), Value: v.tenth(failed)}}, v.small("lost-note"))
}

func (v voice) forecasts() []paper.Block {
	leads, unmatched := v.Forecasts()
	t := paper.Table{Columns: v.columns("-lead", "made", "rms", "bias", "inside", "share", "share-interval")}
	for _, l := range leads {
		days := strconv.Itoa(l.Days)
		if l.Days == MostLead {
			days = v.say("lead-more", "{days}", days)
		}
		t.Rows = append(t.Rows, paper.Row(days, strconv.Itoa(l.Inside.N), v.figure(l.RMS), v.figure(l.Bias), v.of(l.Inside), v.percent(l.Inside.Share()), v.interval(l.Inside)))
	}
	note := v.small("forecasts-note", "{floor}", strconv.Itoa(floorPPM), "{unmatched}", strconv.Itoa(unmatched))
	if len(leads) == 0 {
		return v.part("forecasts", paper.Paragraph{Text: v.say("none")}, note)
	}
	return v.part("forecasts", t, note)
}
