package picture

import (
	"math"
	"strconv"

	"undersheet/logbook"
	"undersheet/report/chart"
	"undersheet/rules/gas"
)

// ResidualsCaption says what the letters and lines of Residuals mean.
func (s *Stack) ResidualsCaption() string { return s.text("residuals-caption") }

// StatisticCaption says what the letters and lines of Statistic mean.
func (s *Stack) StatisticCaption() string { return s.text("statistic-caption") }

// Bounds of the residuals.
const (
	leastShare  = 0.05 // of a line's highest fit: below it a per cent of the fit says nothing
	leastBound  = 10.0 // % that the axis shows at least
	mostBound   = 60.0 // % beyond which residuals are drawn on the edge
	residualGap = 1.5  // hours
)

// Residuals draws how far the readings of each line lie from its fit.
func (s *Stack) Residuals() *chart.Chart {
	c := &chart.Chart{ID: "residuals", Lang: s.Lang, Title: s.text("residuals"), XLabel: s.text("hours"), YLabel: s.text("of-fit"), XMax: s.last(), Centred: true, YMax: leastBound, Width: 480, Height: 230,
		Levels: []chart.Level{{}}}
	for i, l := range s.View.Lines {
		points := residuals(s.Readings[i], l.Curve)
		if len(points) == 0 {
			continue
		}
		for _, p := range points {
			c.YMax = min(max(c.YMax, math.Abs(p.Y)), mostBound)
		}
		c.Series = append(c.Series, chart.Series{Key: Key(i), Points: points, Dash: i, Gap: max(residualGap, usualGap(s.Readings[i]))})
	}
	c.Summary = s.text("residuals-says", "{count}", strconv.Itoa(len(c.Series)), "{most}", s.figure(c.YMax, 3))
	return c
}

// residuals are the hourly means of readings less a fit, in per cent of it.
func residuals(points []chart.Point, fit []gas.CurvePoint) []chart.Point {
	top := 0.0
	for _, p := range fit {
		top = max(top, p.P50)
	}
	var out []chart.Point
	hour, sum, n := math.Inf(-1), 0.0, 0.0
	flush := func() {
		if n > 0 {
			out = append(out, chart.Point{X: hour + 0.5, Y: sum / n})
		}
		sum, n = 0, 0
	}
	k := 0
	for _, p := range points {
		for k < len(fit) && fit[k].Hours < p.X {
			k++
		}
		if k == 0 || k == len(fit) {
			continue
		}
		a, b := fit[k-1], fit[k]
		c := a.P50 + (b.P50-a.P50)*(p.X-a.Hours)/(b.Hours-a.Hours)
		if !(c >= leastShare*top) || !(c > 0) {
			continue
		}
		if h := math.Floor(p.X); h != hour {
			flush()
			hour = h
		}
		sum, n = sum+100*(p.Y/c-1), n+1
	}
	flush()
	return out
}

// Statistic draws where the leak test stood against its threshold, the interval of
// each onset, and when the leak was told.
func (s *Stack) Statistic() *chart.Chart {
	l := &s.View.Leak
	c := &chart.Chart{ID: "statistic", Lang: s.Lang, Title: s.text("statistic"), XLabel: s.text("hours"), YLabel: "z", XMax: s.last(), Width: 480, Height: 260,
		Levels: []chart.Level{{Name: s.text("threshold", "{threshold}", s.figure(l.Threshold, 2)), Y: l.Threshold}}}
	all, apart := chart.Series{Key: "S", Gap: 0.75}, chart.Series{Key: "L", Dash: 1, Gap: 0.75}
	for _, m := range l.Trail {
		if m.Live {
			all.Points, apart.Points = append(all.Points, chart.Point{X: m.Hours, Y: m.All}), append(apart.Points, chart.Point{X: m.Hours, Y: m.Apart})
		}
	}
	c.Series = []chart.Series{all}
	if len(s.View.Lines) > 1 {
		c.Series = append(c.Series, apart)
	}
	hour := func(t logbook.Time) float64 { return t.Hours(s.View.Started) }
	for _, f := range l.Found {
		c.Spans = append(c.Spans, chart.Span{Label: s.text("onset"), From: hour(f.Grounds.From), To: hour(f.Grounds.To)})
		c.Marks = append(c.Marks, chart.Mark{Label: s.text("leak"), X: hour(f.Raised)})
		if f.Cleared != 0 {
			c.Marks = append(c.Marks, chart.Mark{Label: s.text("over"), X: hour(f.Cleared)})
		}
	}
	c.Summary = s.text("statistic-says", "{value}", s.figure(l.Statistic, 3), "{threshold}", s.figure(l.Threshold, 3), "{count}", strconv.Itoa(len(l.Found)))
	return c
}
