package report

import (
	"bytes"
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"time"

	"undersheet/logbook"
	"undersheet/logbook/words"
	"undersheet/report/chart"
	"undersheet/rules/dose"
)

//go:embed report.html
var page string

// WriteHTML writes the report as one self-contained page that prints on A4.
func (r *Report) WriteHTML(w io.Writer) error {
	zone, err := time.LoadLocation(r.Site.Timezone)
	if err != nil {
		zone = time.UTC
	}
	t, err := template.New("report").Funcs(template.FuncMap{
		"time": func(t logbook.Time) string {
			if t == 0 {
				return "—"
			}
			return t.Std().In(zone).Format("2006-01-02 15:04")
		},
		"utc": func(t logbook.Time) string { return t.String() },
		"ppm": func(v any) string { return plain(number(v)) },
		"pct": func(v any) string { return fmt.Sprintf("%.0f %%", 100*number(v)) },
		"hours": func(a, b logbook.Time) string {
			if a == 0 || b == 0 {
				return "—"
			}
			return fmt.Sprintf("%.1f", a.Hours(b))
		},
		"alarm":  func(a logbook.Alarm) string { h, _ := words.Alarm("en", &a); return h },
		"reason": func(x logbook.Reason) string { return words.Reason("en", x) },
		"text":   fill,
		"next":   func(i int) int { return i + 1 },
		"div": func(a, b float64) string {
			if b == 0 {
				return "not known"
			}
			return plain(a / b)
		},
	}).Parse(page)
	if err != nil {
		return fmt.Errorf("read report page: %w", err)
	}
	curves, err := r.curves()
	if err != nil {
		return err
	}
	airing, err := r.airing()
	if err != nil {
		return err
	}
	density, listed := dose.KernelDensity(r.Given.Commodity)
	return t.Execute(w, map[string]any{"R": r, "Zone": zone.String(), "Curves": template.HTML(curves), "Airing": template.HTML(airing),
		"GasSpace": dose.GasSpace(r.Given.GasSpaceM3, r.Given.VolumeM3, r.Given.Tonnes, r.Given.Commodity), "Density": density, "Listed": listed})
}

func number(v any) float64 {
	switch v := v.(type) {
	case float64:
		return v
	case logbook.Number:
		return float64(v)
	case *logbook.Number:
		return float64(*v)
	}
	return 0
}

// plain prints a figure as people read it: no more digits than it is worth.
func plain(v float64) string {
	switch {
	case v >= 100:
		return fmt.Sprintf("%.0f", v)
	case v >= 10:
		return fmt.Sprintf("%.1f", v)
	}
	return fmt.Sprintf("%.2f", v)
}

// fill returns the sentence of a finding or a refusal.
func fill(rec any) string {
	switch rec := rec.(type) {
	case logbook.Finding:
		words.Fill("en", &rec)
		return rec.Text
	case logbook.Refused:
		words.Fill("en", &rec)
		return rec.Why
	}
	return ""
}

// letters name the lines in the charts.
const letters = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"

// curves draws the readings of every line, the fit and its fan, and the end level.
func (r *Report) curves() (string, error) {
	c := chart.Chart{ID: "curves", Title: "Concentration under the sheet", XLabel: "hours since t = 0", YLabel: "ppm", Width: 720, Height: 340,
		Summary: fmt.Sprintf("Hourly means of %d lines of stack %s, the fit, and the end level of %s ppm.", len(r.Lines), r.Stack.Name, plain(r.Stack.EndLevelPPM)),
		Levels:  []chart.Level{{Name: "end level", Y: r.Stack.EndLevelPPM}}}
	const after = 12 // hours of airing that the picture still shows
	c.XMax = r.Stack.PlannedEnd.Hours(r.Stack.Started)
	if r.AiringFirst != 0 {
		c.XMax = max(c.XMax, r.AiringFirst.Hours(r.Stack.Started)+after)
	}
	for i, l := range r.Lines {
		var points []chart.Point
		for _, h := range l.Hours {
			if h.At.Hours(r.Stack.Started)+0.5 > c.XMax {
				break
			}
			points = append(points, chart.Point{X: h.At.Hours(r.Stack.Started) + 0.5, Y: h.Mean})
		}
		c.Series = append(c.Series, chart.Series{Key: letters[i%len(letters) : i%len(letters)+1], Points: points, Dash: i, Gap: 3})
	}
	if len(r.Lines) > 0 {
		var band chart.Band
		for _, p := range r.Lines[0].View.Curve {
			band.Points = append(band.Points, chart.BandPoint{X: p.Hours, Lower: p.P05, Upper: p.P95})
		}
		c.Bands = append(c.Bands, band)
	}
	for i, a := range r.Acts {
		if x := a.At.Hours(r.Stack.Started); a.Hand == nil && x > 0 && x <= c.XMax {
			c.Marks = append(c.Marks, chart.Mark{Label: fmt.Sprint(i + 1), X: x})
		}
	}
	return draw(&c)
}

// airing draws the store's air from the first airing to clearance.
func (r *Report) airing() (string, error) {
	c := chart.Chart{ID: "airing", Title: "Air while airing", XLabel: "hours since airing started", YLabel: "ppm", Width: 720, Height: 260, Log: true, Floor: 0.01,
		Summary: "Readings of the air points from the start of airing to clearance, and the re-entry limit.", Levels: []chart.Level{{Name: "re-entry limit", Y: r.Limit.PPM}}}
	any := false
	for i, p := range r.Air {
		var points []chart.Point
		for _, x := range p.Airing {
			points = append(points, chart.Point{X: x.At.Hours(r.AiringFirst), Y: x.PPM})
		}
		any = any || len(points) > 0
		c.Series = append(c.Series, chart.Series{Key: letters[i%len(letters) : i%len(letters)+1], Points: chart.Thin(points, 300), Dash: i, Gap: 1})
	}
	if !any {
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
