package season

import (
	"strconv"

	"undersheet/logbook/words"
	"undersheet/report/paper"
)

func (v voice) stock() []paper.Block {
	if len(v.Stock) == 0 {
		return v.part("stock", paper.Paragraph{Text: v.say("none")})
	}
	t := paper.Table{Columns: v.columns("-form", "opening", "received", "total", "used", "counted-off", "closing", "taken", "disposed")}
	for _, x := range v.Stock {
		t.Rows = append(t.Rows, paper.Row(words.Word(v.lang, "product", x.Form), strconv.Itoa(x.Opening), strconv.Itoa(x.Received), strconv.Itoa(x.Opening+x.Received), strconv.Itoa(x.Used), signed(x.Off), strconv.Itoa(x.Closing), strconv.Itoa(x.Taken), strconv.Itoa(x.Disposed)))
	}
	blocks := v.part("stock", t, v.small("stock-note"))
	if len(v.Moves) == 0 {
		return blocks
	}
	r := paper.Table{Columns: v.columns("-date", "-form", "opening", "received", "total", "used", "counted-off", "closing", "-about", "-by")}
	for _, m := range v.Moves {
		off := ""
		if m.Counted {
			off = signed(m.Off)
		}
		r.Rows = append(r.Rows, paper.Row(v.day(m.At), words.Word(v.lang, "product", m.Form), strconv.Itoa(m.Opening), some(m.In), strconv.Itoa(m.Opening+m.In), some(m.Used), off, strconv.Itoa(m.Left), m.About, m.By))
	}
	return append(blocks, paper.Heading{Level: 2, Text: v.say("register")}, r)
}

// some writes a number of pieces, nothing as nothing.
func some(n int) string {
	if n == 0 {
		return ""
	}
	return strconv.Itoa(n)
}

// signed writes a difference with its sign.
func signed(n int) string {
	if n > 0 {
		return "+" + strconv.Itoa(n)
	}
	return strconv.Itoa(n)
}

func (v voice) alarms() []paper.Block {
	a := v.Alarms
	terms := paper.Terms{{Name: v.say("raised"), Value: strconv.Itoa(a.Raised)}}
	if days := v.Days(); days > 0 {
		terms = append(terms, paper.Term{Name: v.say("per-day"), Value: v.figure(float64(a.Raised) / days)})
	}
	if a.Raised == 0 {
		return v.part("alarms", terms, v.small("alarms-note"))
	}
	terms = append(terms, paper.Term{Name: v.say("busiest"), Value: v.say("busiest-is", "{day}", a.Busiest, "{count}", strconv.Itoa(a.OnBusiest))})
	t := paper.Table{Columns: v.columns("-alarm", "raised", "acknowledged", "share")}
	row := func(name string, raised, acknowledged int) []paper.Cell {
		return paper.Row(name, strconv.Itoa(raised), strconv.Itoa(acknowledged), v.percent(Proportion{acknowledged, raised}.Share()))
	}
	for _, k := range a.Kinds {
		t.Rows = append(t.Rows, row(words.Word(v.lang, "alarm", k.Name), k.Raised, k.Acknowledged))
	}
	t.Rows = append(t.Rows, strong(row(v.say("all"), a.Raised, a.Acknowledged)))
	return v.part("alarms", terms, t, v.small("alarms-note"))
}

func (v voice) sources() []paper.Block {
	log := v.say("log-file", "{entries}", strconv.Itoa(v.Entries))
	last := strconv.FormatUint(v.LastSeq, 10)
	if v.LogID != "" {
		log = v.say("log-is", "{id}", v.LogID, "{last}", last)
	}
	terms := paper.Terms{{Name: v.say("log"), Value: log}}
	if v.Head != "" {
		terms = append(terms, paper.Term{Name: v.say("hash", "{last}", last), Value: v.Head})
	}
	terms = append(terms, paper.Term{Name: v.say("written-by"), Value: v.Program}, paper.Term{Name: v.say("as-of"), Value: v.time(v.Made)},
		paper.Term{Name: v.say("statement"), Value: v.Statement(v.lang)})
	return v.part("sources", terms, v.small("sources-note"))
}
