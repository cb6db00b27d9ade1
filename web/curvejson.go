package web

import (
	"encoding/json"
	"math"
	"net/http"

	"undersheet/logbook"
	"undersheet/logbook/words"
	"undersheet/report/chart"
	"undersheet/report/picture"
	"undersheet/rules"
	"undersheet/rules/gas"
)

// Curves is what /stack/{name}/curve.json answers: what the script draws. Times
// are hours since t = 0, concentrations ppm.
type Curves struct {
	Stack      string       `json:"stack"`
	Treatment  string       `json:"treatment"`
	Start      string       `json:"start"`       // t = 0, RFC 3339
	Now        float64      `json:"now"`         // hours
	PlannedEnd float64      `json:"planned_end"` // hours
	EndLevel   float64      `json:"end_level"`   // ppm
	Exposure   bool         `json:"exposure"`    // the fit ahead of now is a forecast
	Lines      []CurveLine  `json:"lines"`
	Events     []CurveEvent `json:"events"`
	Leak       *CurveLeak   `json:"leak,omitempty"`
	Trouble    string       `json:"trouble,omitempty"` // why readings are missing
}

// CurveLine is one line: its readings, thinned to the lowest and highest of each
// stretch of time, and its fit with the 90 % fan.
type CurveLine struct {
	Key  string    `json:"key"`
	Name string    `json:"name"`
	X    []float64 `json:"x"`
	Y    []float64 `json:"y"`
	Fit  CurveFit  `json:"fit"`
}

// CurveFit is the fitted median and its fan at the same hours.
type CurveFit struct {
	X   []float64 `json:"x"`
	P05 []float64 `json:"p05"`
	P50 []float64 `json:"p50"`
	P95 []float64 `json:"p95"`
}

// CurveEvent is something that happened, with its number in the list.
type CurveEvent struct {
	Number int     `json:"n"`
	X      float64 `json:"x"`
	Text   string  `json:"text"`
}

// CurveLeak is the leak test's statistic now against its threshold.
type CurveLeak struct {
	Statistic float64 `json:"statistic"`
	Threshold float64 `json:"threshold"`
	Live      bool    `json:"live"`
}

// curve answers with what the script draws.
func (p *site) curve(w http.ResponseWriter, r *http.Request) {
	v := p.source.View()
	_, k := v.Stack(r.PathValue("name"))
	if k == nil || k.Started == 0 {
		http.NotFound(w, r)
		return
	}
	c := p.curvesOf(r, v, *k)
	text, err := json.Marshal(c)
	if err != nil {
		p.opts.Logger.Error("write curves", "stack", k.Name, "error", err)
		unmade(w, r)
		return
	}
	w.Header().Set("Content-Type", "application/json")
	_, _ = w.Write(text) // the reader has gone: nothing to do about it
}

func (p *site) curvesOf(r *http.Request, v *rules.View, k rules.StackView) Curves {
	f := p.frame(r, v, "page/stack", "{stack}", k.Name)
	d, err := p.curves.of(r.Context(), p.opts.Record, &f, k, false)
	c := Curves{Stack: printable(k.Name), Treatment: printable(k.Treatment), Start: k.Started.String(), Now: v.Now.Hours(k.Started),
		PlannedEnd: k.PlannedEnd.Hours(k.Started), EndLevel: finite(k.EndLevelPPM), Exposure: k.Phase == logbook.PhaseExposure, Lines: []CurveLine{}, Events: []CurveEvent{}}
	if err != nil {
		c.Trouble = f.text("page/readings-missing")
	}
	for i, l := range k.Lines {
		line := CurveLine{Key: picture.Key(i), Name: printable(l.Name), X: []float64{}, Y: []float64{}}
		if i < len(d.dots) {
			for _, pt := range chart.Thin(d.dots[i], picture.SpansOfLine) {
				line.X, line.Y = append(line.X, pt.X), append(line.Y, pt.Y)
			}
		}
		line.Fit = fitOf(l.Curve)
		c.Lines = append(c.Lines, line)
	}
	for i, e := range k.Events {
		c.Events = append(c.Events, CurveEvent{Number: i + 1, X: e.At.Hours(k.Started), Text: printable(sentence(words.Event(f.Lang, e.Kind, e.Text)))})
	}
	if k.Leak.Threshold > 0 {
		c.Leak = &CurveLeak{Statistic: finite(k.Leak.Statistic), Threshold: finite(k.Leak.Threshold), Live: k.Leak.Live}
	}
	return c
}

// fitOf takes the hours at which the fan is known.
func fitOf(curve []gas.CurvePoint) CurveFit {
	f := CurveFit{X: []float64{}, P05: []float64{}, P50: []float64{}, P95: []float64{}}
	for _, q := range curve {
		if math.IsNaN(q.P05+q.P50+q.P95) || math.IsInf(q.P05+q.P50+q.P95, 0) {
			continue
		}
		f.X, f.P05, f.P50, f.P95 = append(f.X, q.Hours), append(f.P05, q.P05), append(f.P50, q.P50), append(f.P95, q.P95)
	}
	return f
}

// finite returns v, or 0 when it is none that JSON can hold.
func finite(v float64) float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return 0
	}
	return v
}
