package web

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"html/template"
	"strconv"
	"sync"
	"time"

	"undersheet/logbook"
	"undersheet/report/chart"
	"undersheet/rules"
	"undersheet/rules/dose"
	"undersheet/rules/reading"
)

// Bounds of the curves.
const (
	curveAge   = 2 * time.Minute // depot time for which a drawn curve is shown again
	dotsOfLine = 220             // spans of time from each of which the lowest and highest reading are drawn
	gapHours   = 1.0             // the overview's lines are not drawn across longer gaps
	pastEnd    = 48 * time.Hour  // how long after the planned end readings are still drawn
)

// drawn are the curves of one stack.
type drawn struct {
	overview *picture
	lines    []picture
	dots     [][]chart.Point // readings of each line
	of       curveKey
	at       logbook.Time
}

// curveKey tells one drawing from another.
type curveKey struct {
	stack, treatment string
	log              bool
	end              logbook.Time
	events           int
}

// curveCache keeps the last drawing of each stack and axis, so that open pages do
// not read the logbook again and again. One drawing is made at a time.
type curveCache struct {
	mu   sync.Mutex
	kept map[string]drawn
}

// of returns the curves of k. An error means that readings are missing from them.
func (c *curveCache) of(ctx context.Context, src Record, v *rules.View, k rules.StackView, log bool) (drawn, error) {
	key := curveKey{k.Name, k.Treatment, log, k.PlannedEnd, len(k.Events)}
	place := k.Name + "\x00" + strconv.FormatBool(log)
	c.mu.Lock()
	defer c.mu.Unlock()
	if d, ok := c.kept[place]; ok && d.of == key && v.Now >= d.at && v.Now.Sub(d.at) < curveAge {
		return d, nil
	}
	lines := make([][]chart.Point, len(k.Lines))
	var errs []error
	for i, l := range k.Lines {
		points, err := readings(ctx, src, v, k, l)
		lines[i] = points
		errs = append(errs, err)
	}
	d := drawn{of: key, at: v.Now, dots: lines}
	b := board{v: v, k: k, log: log, dots: lines}
	overview, err := picturize(b.overview(), b.legend())
	errs = append(errs, err)
	overview.Draw, d.overview = "all", &overview
	for i := range k.Lines {
		pic, err := picturize(b.line(i), keyOf(i)+" "+k.Lines[i].Name)
		errs, pic.Draw = append(errs, err), strconv.Itoa(i)
		d.lines = append(d.lines, pic)
	}
	if err := errors.Join(errs...); err != nil {
		return d, err
	}
	if c.kept == nil {
		c.kept = map[string]drawn{}
	}
	c.kept[place] = d
	return d, nil
}

// readings returns what a line read from t = 0 on, in ppm and hours since then.
// Values that the instrument did not vouch for are left out.
func readings(ctx context.Context, src Record, v *rules.View, k rules.StackView, l rules.LineView) ([]chart.Point, error) {
	if src == nil {
		return nil, nil
	}
	to := min(v.Now.Add(time.Second), k.PlannedEnd.Add(pastEnd))
	var points []chart.Point
	for r, err := range src.Readings(ctx, l.Channel, k.Started, to) {
		if err != nil {
			return points, err
		}
		ppm, err := dose.PPM(r.Value, r.Unit, dose.StandardC, dose.StandardKPa)
		if err != nil || r.Fault != "" || r.Retained {
			continue
		}
		x := r.Time.Hours(k.Started)
		if n := len(points); n > 0 && points[n-1].X == x {
			continue // a second value for the same moment: the first is used
		}
		points = append(points, chart.Point{X: x, Y: max(ppm, 0)})
	}
	return points, nil
}

func picturize(c *chart.Chart, caption string) (picture, error) {
	var b bytes.Buffer
	if err := c.WriteSVG(&b); err != nil {
		return picture{}, fmt.Errorf("draw chart: %w", err)
	}
	return picture{SVG: template.HTML(b.String()), Caption: caption}, nil // chart escapes every name
}

// keyOf is the letter of a stack's line.
func keyOf(i int) string {
	if i < 26 {
		return string(rune('A' + i))
	}
	return strconv.Itoa(i + 1)
}

// board draws one stack.
type board struct {
	v    *rules.View
	k    rules.StackView
	log  bool
	dots [][]chart.Point
}

func (b *board) base(id string) *chart.Chart {
	c := &chart.Chart{ID: id, XLabel: "hours since t = 0", YLabel: "ppm", Log: b.log, Floor: 1,
		Levels: []chart.Level{{Name: "end level " + figure(b.k.EndLevelPPM) + " ppm", Y: b.k.EndLevelPPM}}}
	c.XMax = b.k.PlannedEnd.Hours(b.k.Started)
	for _, dots := range b.dots {
		if n := len(dots); n > 0 {
			c.XMax = max(c.XMax, dots[n-1].X)
		}
		for _, p := range dots {
			c.YMax = max(c.YMax, p.Y)
		}
	}
	for i, e := range b.k.Events {
		if x := e.At.Hours(b.k.Started); x >= 0 && x <= c.XMax {
			c.Marks = append(c.Marks, chart.Mark{Label: strconv.Itoa(i + 1), X: x})
		}
	}
	return c
}

// overview draws what every line read.
func (b *board) overview() *chart.Chart {
	c := b.base("all")
	c.Width, c.Height = 620, 340
	c.Title = "What the lines of stack " + b.k.Name + " read"
	c.Summary = fmt.Sprintf("%d lines, against the end level of %s ppm.", len(b.k.Lines), figure(b.k.EndLevelPPM))
	for i, dots := range b.dots {
		usual := gapHours
		for _, ch := range b.v.Channels {
			if ch.Name == b.k.Lines[i].Channel {
				usual = max(usual, 3*ch.UsualSeconds/3600)
			}
		}
		c.Series = append(c.Series, chart.Series{Key: keyOf(i), Points: chart.Thin(dots, dotsOfLine), Dash: i, Gap: usual})
	}
	return c
}

func (b *board) legend() string {
	text := "Readings:"
	for i, l := range b.k.Lines {
		sep := ";"
		if i == 0 {
			sep = ""
		}
		text += sep + " " + keyOf(i) + " " + l.Name
	}
	return text + "."
}

// line draws the readings of one line with its fit and forecast.
func (b *board) line(i int) *chart.Chart {
	l := b.k.Lines[i]
	c := b.base("line-" + strconv.Itoa(i))
	c.Title = fmt.Sprintf("Line %s of stack %s", l.Name, b.k.Name)
	c.Summary = "Last " + last(l.Last) + " ppm."
	if f := forecastOf(b.k, l.Forecast); f != nil {
		c.Summary += fmt.Sprintf(" At the planned end %s ppm, with 90 %% between %s and %s.", figure(float64(f.PPM.P50)), figure(float64(f.PPM.P05)), figure(float64(f.PPM.P95)))
	}
	now := b.v.Now.Hours(b.k.Started)
	var fit, ahead []chart.Point
	var band chart.Band
	for _, p := range l.Curve {
		band.Points = append(band.Points, chart.BandPoint{X: p.Hours, Lower: p.P05, Upper: p.P95})
		at := chart.Point{X: p.Hours, Y: p.P50}
		if p.Hours <= now || b.k.Phase != logbook.PhaseExposure {
			fit = append(fit, at)
			continue
		}
		if len(ahead) == 0 && len(fit) > 0 {
			ahead = append(ahead, fit[len(fit)-1])
		}
		ahead = append(ahead, at)
	}
	c.Bands = []chart.Band{band}
	c.Series = []chart.Series{{Points: chart.Thin(b.dots[i], dotsOfLine), Dots: true}, {Points: fit, Strong: true}, {Points: ahead, Strong: true, Dash: 1}}
	if l.Last.State == reading.None {
		c.Summary = "Nothing was read yet."
	}
	return c
}
