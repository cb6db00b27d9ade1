package report

import (
	"fmt"

	"undersheet/logbook"
	"undersheet/logbook/words"
	"undersheet/report/chart"
	"undersheet/report/paper"
	"undersheet/rules/alarm"
)

// Room for the forecasts beside the planned end, in hours each, and for the airing
// that the picture still shows.
const (
	medianStroke = 1.6 // length of the stroke across a forecast at its median, as hours
	forecastStep = 2.5
	airingShown  = 12.0
)

// curves draws the readings of every line, the fit, the forecast of each day at the
// planned end, the end level, alarms and acts.
func (p *page) curves() {
	r := p.r
	p.head("curves")
	started := r.Stack.Started
	c := chart.Chart{ID: "curves", Lang: p.lang, Title: p.text("chart/title"), XLabel: p.text("chart/x"), YLabel: "ppm", Width: 720, Height: 380,
		Summary: p.text("chart/summary", "{lines}", fmt.Sprint(len(r.Lines)), "{stack}", r.Stack.Name, "{end}", p.num(r.Stack.EndLevelPPM)),
		Levels:  []chart.Level{{Name: p.text("chart/end-level"), Y: r.Stack.EndLevelPPM}}}
	planned := r.Stack.PlannedEnd.Hours(started)
	c.XMax = max(planned+forecastStep*float64(len(r.Forecasts)+1), r.end().Hours(started))
	if r.Aired.First != 0 {
		c.XMax = max(c.XMax, r.Aired.First.Hours(started)+airingShown)
	}
	names := p.drawLines(&c)
	if len(r.Lines) > 0 {
		var band chart.Band
		for _, x := range r.Lines[0].View.Curve {
			band.Points = append(band.Points, chart.BandPoint{X: x.Hours, Lower: x.P05, Upper: x.P95})
		}
		if len(band.Points) > 0 {
			c.Bands = append(c.Bands, band)
		}
	}
	for i, f := range r.Forecasts {
		x := f.For.Hours(started) + forecastStep*float64(i+1)
		if x > c.XMax || !f.ahead() {
			continue
		}
		c.Series = append(c.Series, chart.Series{Points: []chart.Point{{X: x, Y: f.P05}, {X: x, Y: f.P95}}, Strong: true},
			chart.Series{Points: []chart.Point{{X: x - medianStroke/2, Y: f.P50}, {X: x + medianStroke/2, Y: f.P50}}, Strong: true})
	}
	alarms := p.markAlarms(&c)
	for _, k := range r.Leaks {
		if k.OnsetFrom != 0 {
			c.Spans = append(c.Spans, chart.Span{Label: p.text("chart/onset"), From: k.OnsetFrom.Hours(started), To: k.OnsetTo.Hours(started)})
		}
	}
	for i, a := range r.Acts {
		if x := a.At.Hours(started); x > 0 && x <= c.XMax && drawn(a.Kind) {
			c.Marks = append(c.Marks, chart.Mark{Label: fmt.Sprint(i + 1), X: x})
		}
	}
	caption := p.text("chart/lines", "{lines}", p.list(names)) + " " + p.text("chart/forecasts")
	if len(alarms) > 0 {
		caption += " " + p.text("chart/alarms", "{alarms}", p.list(alarms))
	}
	p.put(paper.Picture{Chart: c, Caption: caption + " " + p.text("chart/acts")})
}

// drawLines draws the hourly means of every line, and returns the names of the lines.
func (p *page) drawLines(c *chart.Chart) (names []string) {
	started := p.r.Stack.Started
	for i, l := range p.r.Lines {
		var points []chart.Point
		for _, h := range l.Hours {
			if x := h.At.Hours(started) + 0.5; x <= c.XMax {
				points = append(points, chart.Point{X: max(x, 0), Y: h.Mean})
			}
		}
		c.Series = append(c.Series, chart.Series{Key: l.Key, Points: points, Dash: i, Gap: 1.5})
		names = append(names, l.Key+" "+l.Name)
	}
	return names
}

// markAlarms marks the alarms of the stack, each with a letter, and returns what the letters
// stand for.
func (p *page) markAlarms(c *chart.Chart) (letters []string) {
	letter := 'a'
	for i := range p.r.Alarms {
		a := &p.r.Alarms[i]
		x := a.Time.Hours(p.r.Stack.Started)
		if a.State != logbook.AlarmRaised || a.Stack != p.r.Stack.Name || a.Alarm == alarm.FollowUpDue || x < 0 || x > c.XMax || letter > 'z' {
			continue
		}
		c.Marks = append(c.Marks, chart.Mark{Label: string(letter), X: x})
		letters = append(letters, string(letter)+" "+p.code("alarm", a.Alarm))
		letter++
	}
	return letters
}

// drawn reports whether an act of a kind moves the gas, so that it stands in the
// picture.
func drawn(k logbook.Kind) bool {
	switch k {
	case logbook.KindDoseAdded, logbook.KindExposureExtended, logbook.KindMaskedEntry, logbook.KindAiringStarted, logbook.KindAiringPaused,
		logbook.KindAiringResumed, logbook.KindAbandoned:
		return true
	}
	return false
}

// airing draws the store's air from the first airing to clearance.
func (p *page) airing() {
	r := p.r
	p.head("airing")
	c := chart.Chart{ID: "airing", Lang: p.lang, Title: p.text("air/title"), XLabel: p.text("air/x"), YLabel: "ppm", Width: 720, Height: 260, Log: true, Floor: 0.01,
		Summary: p.text("air/summary"), Levels: []chart.Level{{Name: p.text("air/limit"), Y: r.Limit.PPM}}}
	read := false
	var names []string
	for i, a := range r.Air {
		var points []chart.Point
		for _, x := range a.Airing {
			points = append(points, chart.Point{X: x.At.Hours(r.Aired.First), Y: x.PPM})
		}
		read = read || len(points) > 0
		c.Series = append(c.Series, chart.Series{Key: a.Key, Points: chart.Thin(points, 300), Dash: i, Gap: 1})
		names = append(names, a.Key+" "+a.Name+" ("+p.code("where", a.Where)+")")
	}
	switch {
	case r.Aired.First == 0:
		p.say("air/not-started")
		return
	case !read:
		p.say("air/not-read")
		return
	}
	p.put(paper.Picture{Chart: c, Caption: p.text("air/points", "{points}", p.list(names), "{limit}", p.num(r.Limit.PPM), "{of}", words.Source(p.lang, r.Limit.Of))})
}
