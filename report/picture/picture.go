// Package picture draws one treatment of one stack: what its lines read with fit,
// forecast and end level, how far the readings lie from the fit, and the leak test's
// statistic against its threshold. Pages, files and reports show the same charts.
//
// Fill in a [Stack]; [Stack.All], [Stack.Line], [Stack.Residuals] and
// [Stack.Statistic] are its charts, [Stack.Sheet] puts them under one title with the
// sentences that say the same. Hours are counted from t = 0, concentrations are ppm.
package picture

import (
	"strconv"
	"strings"
	"time"

	"undersheet/logbook"
	"undersheet/logbook/words"
	"undersheet/report/chart"
	"undersheet/rules"
	"undersheet/rules/reading"
)

// Bounds of what is drawn.
const (
	SpansOfLine = 220 // spans of time from each of which the lowest and highest reading are drawn
	gapHours    = 1.0 // lines are not drawn across longer gaps, or three usual intervals
)

// Stack is one treatment of one stack, to be drawn. Its time 0 is View.Started.
type Stack struct {
	View     rules.StackView
	Now      logbook.Time
	Readings [][]chart.Point // of each line, in order of time
	Log      bool            // logarithmic axis of concentrations
	Lang     string
	Zone     *time.Location
}

// text is the sentence of a key in the language of the drawing.
func (s *Stack) text(key string, pairs ...string) string {
	return words.Text(s.Lang, "chart/"+key, pairs...)
}

// figure writes a figure with up to so many digits that count.
func (s *Stack) figure(v float64, digits int) string {
	return words.Figure(s.Lang, strconv.FormatFloat(v, 'g', digits, 64))
}

// Key is the letter of a stack's line, from 0.
func Key(i int) string {
	if i < 26 {
		return string(rune('A' + i))
	}
	return strconv.Itoa(i + 1)
}

// usualGap is the gap, in hours, beyond which a line's readings are not joined.
func usualGap(points []chart.Point) float64 {
	if len(points) < 2 {
		return gapHours
	}
	mean := (points[len(points)-1].X - points[0].X) / float64(len(points)-1)
	return max(gapHours, 3*mean)
}

// base is a chart with what all charts of concentrations have.
func (s *Stack) base(id string) *chart.Chart {
	v := &s.View
	c := &chart.Chart{ID: id, Lang: s.Lang, XLabel: s.text("hours"), YLabel: "ppm", Log: s.Log, Floor: 1, XMax: s.last(),
		Levels: []chart.Level{{Name: s.text("end-level", "{level}", s.figure(v.EndLevelPPM, 4)), Y: v.EndLevelPPM}}}
	for _, points := range s.Readings {
		for _, p := range points {
			c.YMax = max(c.YMax, p.Y)
		}
	}
	for i, e := range v.Events {
		if x := e.At.Hours(v.Started); x >= 0 && x <= c.XMax {
			c.Marks = append(c.Marks, chart.Mark{Label: strconv.Itoa(i + 1), X: x})
		}
	}
	return c
}

// last is the last hour that is drawn: the planned end, or the last reading.
func (s *Stack) last() float64 {
	last := s.View.PlannedEnd.Hours(s.View.Started)
	for _, points := range s.Readings {
		if n := len(points); n > 0 {
			last = max(last, points[n-1].X)
		}
	}
	return last
}

// All draws what every line read.
func (s *Stack) All() *chart.Chart {
	c := s.base("all")
	c.Width, c.Height = 620, 340
	c.Title = s.text("all", "{stack}", s.View.Name)
	c.Summary = s.text("all-says", "{count}", strconv.Itoa(len(s.View.Lines)), "{level}", s.figure(s.View.EndLevelPPM, 4))
	for i, points := range s.Readings {
		c.Series = append(c.Series, chart.Series{Key: Key(i), Points: chart.Thin(points, SpansOfLine), Dash: i, Gap: usualGap(points)})
	}
	return c
}

// Legend names the lines by their letters.
func (s *Stack) Legend() string {
	var parts []string
	for i, l := range s.View.Lines {
		parts = append(parts, Key(i)+" "+l.Name)
	}
	return strings.Join(parts, ", ") + "."
}

// Line draws the readings of one line with its fit and forecast.
func (s *Stack) Line(i int) *chart.Chart {
	l := &s.View.Lines[i]
	c := s.base("line-" + strconv.Itoa(i))
	c.Title = s.text("line", "{line}", l.Name, "{stack}", s.View.Name)
	c.Summary = s.text("last", "{value}", s.figure(l.Last.PPM, 4))
	if f := l.Forecast; f != nil && s.View.Phase == logbook.PhaseExposure {
		c.Summary += " " + s.text("at-end", "{p50}", s.figure(float64(f.PPM.P50), 3), "{p05}", s.figure(float64(f.PPM.P05), 3), "{p95}", s.figure(float64(f.PPM.P95), 3))
	}
	if l.Last.State == reading.None {
		c.Summary = s.text("nothing-read")
	}
	c.Series = []chart.Series{{Points: chart.Thin(s.Readings[i], SpansOfLine), Dots: true}}
	s.fitted(c, i)
	return c
}

// fitted adds the fit of a line and its fan; from now on it is a forecast, dashed.
func (s *Stack) fitted(c *chart.Chart, i int) {
	now := s.Now.Hours(s.View.Started)
	var fit, ahead []chart.Point
	var band chart.Band
	for _, p := range s.View.Lines[i].Curve {
		band.Points = append(band.Points, chart.BandPoint{X: p.Hours, Lower: p.P05, Upper: p.P95})
		at := chart.Point{X: p.Hours, Y: p.P50}
		if p.Hours <= now || s.View.Phase != logbook.PhaseExposure {
			fit = append(fit, at)
			continue
		}
		if len(ahead) == 0 && len(fit) > 0 {
			ahead = append(ahead, fit[len(fit)-1])
		}
		ahead = append(ahead, at)
	}
	c.Bands = append(c.Bands, band)
	c.Series = append(c.Series, chart.Series{Points: fit, Strong: true}, chart.Series{Points: ahead, Strong: true, Dash: 1})
}

// lowest is the line that is forecast to end lowest; the first where none is.
func (s *Stack) lowest() int {
	at := 0
	for i, l := range s.View.Lines {
		if low := s.View.Lines[at].Forecast; l.Forecast != nil && low != nil && l.Forecast.PPM.P50 < low.PPM.P50 {
			at = i
		}
	}
	return at
}

// Sheet puts the charts under one title, with the sentences that say the same.
func (s *Stack) Sheet(alarms []rules.AlarmView) *chart.Sheet {
	v := &s.View
	sheet := &chart.Sheet{ID: "stack", Title: s.text("sheet", "{stack}", v.Name, "{treatment}", v.Treatment)}
	say := func(text string) {
		if text != "" {
			sheet.Words = append(sheet.Words, text)
		}
	}
	say(s.text("drawn", "{start}", words.Moment(s.Lang, v.Started, s.Zone), "{now}", words.Moment(s.Lang, s.Now, s.Zone), "{zone}", s.Zone.String()))
	if v.Lowest != nil && v.Phase == logbook.PhaseExposure {
		say(words.Forecast(s.Lang, v.Lowest, v.EndLevelPPM, s.Zone))
	}
	for i := range alarms {
		if a := &alarms[i].Alarm; a.Stack == v.Name {
			say(words.Grounds(s.Lang, a, s.Zone))
		}
	}
	for _, text := range words.Outlook(s.Lang, v.Outlook, s.Zone) {
		say(text)
	}
	all := s.All()
	all.Height = 340
	caption := s.Legend()
	if len(v.Lines) > 0 && len(v.Lines[s.lowest()].Curve) > 0 {
		low := s.lowest()
		s.fitted(all, low)
		caption += " " + s.text("thick", "{line}", Key(low))
	}
	if n := len(all.Marks); n > 0 {
		caption += " " + s.text("numbers", "{events}", s.events(all))
	}
	sheet.Panels = []chart.Panel{{Chart: *all, Caption: caption}}
	if r := s.Residuals(); len(r.Series) > 0 {
		r.Height = 200
		sheet.Panels = append(sheet.Panels, chart.Panel{Chart: *r, Caption: s.ResidualsCaption()})
	}
	if len(v.Leak.Trail) > 0 {
		sheet.Panels = append(sheet.Panels, chart.Panel{Chart: *s.Statistic(), Caption: s.StatisticCaption()})
	}
	return sheet
}

// events says what the numbers on a chart stand for.
func (s *Stack) events(c *chart.Chart) string {
	var parts []string
	for i, e := range s.View.Events {
		if x := e.At.Hours(s.View.Started); x >= 0 && x <= c.XMax {
			parts = append(parts, strconv.Itoa(i+1)+" "+words.Event(s.Lang, e.Kind, e.Text))
		}
	}
	return strings.Join(parts, ", ") + "."
}
