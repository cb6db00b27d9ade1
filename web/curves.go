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
	"undersheet/report/picture"
	"undersheet/rules"
	"undersheet/rules/dose"
)

// Bounds of the curves.
const (
	curveAge = 2 * time.Minute // depot time for which a drawn curve is shown again
	pastEnd  = 48 * time.Hour  // how long after the planned end readings are still drawn
)

// drawn are the curves of one stack.
type drawn struct {
	overview             *drawing
	lines                []drawing
	residuals, statistic []drawing       // none before there is one
	dots                 [][]chart.Point // readings of each line
	of                   curveKey
	at                   logbook.Time
}

// curveKey tells one drawing from another.
type curveKey struct {
	stack, treatment string
	lang             string
	log              bool
	end              logbook.Time
	events           int
}

// curveCache keeps the last drawing of each stack, axis and language, so that open pages do
// not read the logbook again and again. One drawing is made at a time.
type curveCache struct {
	mu   sync.Mutex
	kept map[string]drawn
}

// of returns the curves of k. An error means that readings are missing from them.
func (c *curveCache) of(ctx context.Context, src Record, f *frame, k rules.StackView, log bool) (drawn, error) {
	v := f.view
	key := curveKey{k.Name, k.Treatment, f.Lang, log, k.PlannedEnd, len(k.Events)}
	place := f.Lang + "\x00" + k.Name + "\x00" + strconv.FormatBool(log)
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
	pic := picture.Stack{View: k, Now: v.Now, Readings: lines, Log: log, Lang: f.Lang, Zone: f.zone}
	draw := func(c *chart.Chart, caption, name string) drawing {
		made, err := drawingOf(c, caption)
		errs, made.Draw = append(errs, err), name
		return made
	}
	overview := draw(pic.All(), f.text("page/chart-readings", "{legend}", pic.Legend()), "all")
	d.overview = &overview
	for i := range k.Lines {
		d.lines = append(d.lines, draw(pic.Line(i), picture.Key(i)+" "+k.Lines[i].Name, strconv.Itoa(i)))
	}
	if r := pic.Residuals(); len(r.Series) > 0 {
		d.residuals = []drawing{draw(r, pic.ResidualsCaption(), "")}
	}
	if len(k.Leak.Trail) > 0 {
		d.statistic = []drawing{draw(pic.Statistic(), pic.StatisticCaption(), "")}
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

func drawingOf(c *chart.Chart, caption string) (drawing, error) {
	var b bytes.Buffer
	if err := c.WriteSVG(&b); err != nil {
		return drawing{}, fmt.Errorf("draw chart: %w", err)
	}
	return drawing{SVG: template.HTML(b.String()), Caption: caption}, nil // chart escapes every name
}
