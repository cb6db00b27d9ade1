package picture

import (
	"bytes"
	"encoding/xml"
	"errors"
	"io"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/logbook"
	"undersheet/report/chart"
	"undersheet/rules"
	"undersheet/rules/gas"
)

var start = logbook.At(time.Date(2026, 4, 6, 8, 0, 0, 0, time.UTC))

func after(h float64) logbook.Time { return start.Add(time.Duration(h * float64(time.Hour))) }

// drawn is an invented stack at hour 60: two lines that fall by 0.2 per day from 500
// ppm, the second 10 % under its fit from hour 50 on, and a leak that was told then.
func drawn() *Stack {
	fit := func(h float64) float64 { return 500 * math.Exp(-0.2*h/24) }
	v := rules.StackView{Name: "B & <co>", Treatment: "B-7", Phase: logbook.PhaseExposure, Started: start, PlannedEnd: after(120), EndLevelPPM: 150}
	s := &Stack{Now: after(60), Lang: "en", Zone: time.UTC}
	for i, name := range []string{"top", "low"} {
		l := rules.LineView{Name: name, Forecast: &logbook.Forecast{PPM: logbook.Quantiles{P50: logbook.Number(184 - i)}}}
		for h := 0.0; h <= 120; h += 1.25 {
			l.Curve = append(l.Curve, gas.CurvePoint{Hours: h, P05: 0.9 * fit(h), P50: fit(h), P95: 1.1 * fit(h)})
		}
		v.Lines = append(v.Lines, l)
		var points []chart.Point
		for h := 0.0; h < 60; h += 0.25 {
			y := fit(h)
			if i == 1 && h >= 50 {
				y *= 0.9
			}
			points = append(points, chart.Point{X: h, Y: y})
		}
		s.Readings = append(s.Readings, points)
	}
	v.Lowest = &logbook.Forecast{For: after(120), PPM: logbook.Quantiles{P05: 166, P50: 184, P95: 202}, ChanceMet: 0.97}
	v.Events = []rules.EventView{{At: after(0), Kind: "treatment-started", Text: "R. Amadi"}, {At: after(54), Kind: "leak", Text: "raised low"}}
	v.Leak = rules.LeakView{Threshold: 4.5, Live: true, Found: []gas.Found{{Line: "low", Raised: after(54), Onset: after(50),
		Grounds: logbook.Grounds{From: after(49), To: after(51), Statistic: 6, Threshold: 4.5}}}}
	for h := 0.0; h < 60; h += 0.5 {
		v.Leak.Trail = append(v.Leak.Trail, gas.Mark{Hours: h, All: 1, Apart: h / 9, Live: h >= 12 && h != 30})
	}
	s.View = v
	return s
}

func TestResidualsAreShares(t *testing.T) {
	c := drawn().Residuals()
	require.Len(t, c.Series, 2)
	require.True(t, c.Centred)
	for i, want := range []float64{0, -10} {
		for _, p := range c.Series[i].Points {
			if p.X < 50 {
				want = 0
			} else if i == 1 {
				want = -10
			}
			require.InDelta(t, want, p.Y, 0.2, "line %d, hour %v: the fit is bent between its points", i, p.X)
		}
		require.Len(t, c.Series[i].Points, 60, "one an hour")
	}
	require.Empty(t, residuals([]chart.Point{{X: 1, Y: 1}}, nil), "without a fit there are none")
	require.Empty(t, residuals([]chart.Point{{X: 1, Y: 5}}, []gas.CurvePoint{{Hours: 0}, {Hours: 2}}), "nor of a fit that is nothing")
}

func TestStatisticHasItsMarks(t *testing.T) {
	c := drawn().Statistic()
	require.Equal(t, []chart.Level{{Name: "threshold 4.5", Y: 4.5}}, c.Levels)
	require.Equal(t, []chart.Span{{Label: "onset", From: 49, To: 51}}, c.Spans)
	require.Equal(t, []chart.Mark{{Label: "leak", X: 54}}, c.Marks)
	require.Len(t, c.Series, 2)
	require.Len(t, c.Series[0].Points, 95, "not before hour 12, nor at hour 30")
	require.InDelta(t, 59.5/9, c.Series[1].Points[94].Y, 1e-9)
}

// TestSheet: one picture that stands alone, with what it is to say.
func TestSheet(t *testing.T) {
	s := drawn()
	alarm := logbook.Alarm{Alarm: "leak", Stack: "B & <co>", Line: "low", Onset: after(50), Limit: 0.2, Value: 0.8, Grounds: &s.View.Leak.Found[0].Grounds}
	var b bytes.Buffer
	require.NoError(t, s.Sheet([]rules.AlarmView{{Alarm: alarm}, {Alarm: logbook.Alarm{Alarm: "leak", Stack: "other", Grounds: alarm.Grounds, Line: "elsewhere"}}}).WriteSVG(&b))
	seen, text, ids := map[string]int{}, "", map[string]bool{}
	d := xml.NewDecoder(&b)
	for {
		tok, err := d.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		require.NoError(t, err)
		switch tok := tok.(type) {
		case xml.StartElement:
			seen[tok.Name.Local]++
			for _, a := range tok.Attr {
				require.NotContains(t, a.Value, "NaN")
				require.NotContains(t, strings.ToLower(a.Name.Local), "href", "it loads nothing")
				if a.Name.Local == "id" {
					require.False(t, ids[a.Value], "id %q is unique", a.Value)
					ids[a.Value] = true
				}
			}
		case xml.CharData:
			text += string(tok) + " "
		}
	}
	require.Equal(t, 4, seen["svg"], "the sheet and its three charts")
	text = strings.Join(strings.Fields(text), " ")
	for _, want := range []string{"Stack B & <co>, treatment B-7", "the lowest line is expected at 184 ppm (90 %: 166–202)", "line low has lost gas 4.0 times as fast as before",
		"hours since t = 0", "ppm", "% of the fit", "end level 150 ppm", "threshold 4.5", "onset", "A top, B low.", "fitted median of B", "1 Treatment started: R. Amadi, 2 leak: raised low."} {
		require.Contains(t, text, want)
	}
	require.NotContains(t, text, "elsewhere")
}

// Every word on the sheet is the reader's, but for the names that people gave.
func TestSheetInFrench(t *testing.T) {
	s := drawn()
	s.Lang = "fr"
	var b bytes.Buffer
	require.NoError(t, s.Sheet(nil).WriteSVG(&b))
	for _, want := range []string{"heures depuis t = 0", "150 ppm", "4,5"} {
		require.Contains(t, strings.ReplaceAll(b.String(), "\u00a0", " "), want)
	}
	for _, english := range []string{"hours since", "end level", "threshold", "Readings", "Leak", "fitted"} {
		require.NotContains(t, b.String(), english)
	}
}
