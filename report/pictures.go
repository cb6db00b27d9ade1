package report

import (
	"bytes"
	"fmt"

	"undersheet/logbook"
	"undersheet/report/chart"
)

// curves draws the readings of every line, the fit and its fan, and the end level.
func (r *Report) curves() (string, error) {
	c := chart.Chart{ID: "curves", Title: "Concentration under the sheet", XLabel: "hours since t = 0", YLabel: "ppm", Width: 720, Height: 340,
		Summary: fmt.Sprintf("Hourly means of %d lines of stack %s, the fit, and the end level of %s ppm.", len(r.Lines), r.Stack.Name, plain(r.Stack.EndLevelPPM)),
		Levels:  []chart.Level{{Name: "end level", Y: r.Stack.EndLevelPPM}}}
	const after = 12 // hours of airing that the picture still shows
	started := r.Stack.Started
	c.XMax = r.Stack.PlannedEnd.Hours(started)
	if r.Aired.First != 0 {
		c.XMax = max(c.XMax, r.Aired.First.Hours(started)+after)
	}
	for i, l := range r.Lines {
		var points []chart.Point
		for _, h := range l.Hours {
			if x := h.At.Hours(started) + 0.5; x <= c.XMax {
				points = append(points, chart.Point{X: max(x, 0), Y: h.Mean})
			}
		}
		c.Series = append(c.Series, chart.Series{Key: l.Key, Points: points, Dash: i, Gap: 1.5})
	}
	if len(r.Lines) > 0 && len(r.Lines[0].View.Curve) > 0 {
		var band chart.Band
		for _, p := range r.Lines[0].View.Curve {
			band.Points = append(band.Points, chart.BandPoint{X: p.Hours, Lower: p.P05, Upper: p.P95})
		}
		c.Bands = append(c.Bands, band)
	}
	for i, a := range r.Acts {
		if x := a.At.Hours(started); a.Hand == nil && x > 0 && x <= c.XMax {
			c.Marks = append(c.Marks, chart.Mark{Label: fmt.Sprint(i + 1), X: x})
		}
	}
	return draw(&c)
}

// airing draws the store's air from the first airing to clearance.
func (r *Report) airing() (string, error) {
	c := chart.Chart{ID: "airing", Title: "Air while airing", XLabel: "hours since airing started", YLabel: "ppm", Width: 720, Height: 260, Log: true, Floor: 0.01,
		Summary: "Readings of the air points from the start of airing to clearance, and the re-entry limit.", Levels: []chart.Level{{Name: "re-entry limit", Y: r.Limit.PPM}}}
	read := false
	for i, p := range r.Air {
		var points []chart.Point
		for _, x := range p.Airing {
			points = append(points, chart.Point{X: x.At.Hours(r.Aired.First), Y: x.PPM})
		}
		read = read || len(points) > 0
		c.Series = append(c.Series, chart.Series{Key: p.Key, Points: chart.Thin(points, 300), Dash: i, Gap: 1})
	}
	switch {
	case r.Aired.First == logbook.Time(0):
		return "<p>Airing has not started.</p>", nil
	case !read:
		return "<p>No air was read while airing.</p>", nil
	}
	return draw(&c)
}

func draw(c *chart.Chart) (string, error) {
	var b bytes.Buffer
	if err := c.WriteSVG(&b); err != nil {
		return "", fmt.Errorf("draw chart: %w", err)
	}
	return b.String(), nil
}
