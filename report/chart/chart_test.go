package chart

import (
	"bytes"
	"encoding/xml"
	"errors"
	"io"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// sample is an invented curve with everything on it.
func sample() *Chart {
	var points []Point
	var band Band
	for h := 0.0; h <= 120; h++ {
		y := 600 * math.Exp(-h/60) * (1 - math.Exp(-h/8))
		points = append(points, Point{h, y})
		band.Points = append(band.Points, BandPoint{h, y * 0.8, y * 1.2})
	}
	return &Chart{ID: "c", Title: "Stack <B> & co", Summary: "falls", XLabel: "hours", YLabel: "ppm", Bands: []Band{band},
		Series: []Series{{Points: points, Dots: true}, {Key: "a", Points: points, Dash: 1, Gap: 3}, {Key: "b", Points: points, Strong: true}},
		Levels: []Level{{"end level 150 ppm", 150}}, Marks: []Mark{{"1", 0}, {"2", 1}, {"3", 60}}}
}

// wellFormed reads an SVG as XML to its end and returns how many elements it saw by name.
func wellFormed(t *testing.T, svg []byte) map[string]int {
	t.Helper()
	seen := map[string]int{}
	d := xml.NewDecoder(bytes.NewReader(svg))
	for {
		tok, err := d.Token()
		if errors.Is(err, io.EOF) {
			return seen
		}
		require.NoError(t, err, "svg:\n%s", svg)
		if e, ok := tok.(xml.StartElement); ok {
			seen[e.Name.Local]++
			for _, a := range e.Attr {
				require.NotContains(t, a.Value, "NaN")
				require.NotContains(t, a.Value, "Inf")
				require.NotEqual(t, "style", a.Name.Local, "a strict content security policy forbids style attributes")
			}
		}
	}
}

func draw(t *testing.T, c *Chart) []byte {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, c.WriteSVG(&b))
	return b.Bytes()
}

func TestSVGIsWellFormedAndRepeats(t *testing.T) {
	for _, logarithmic := range []bool{false, true} {
		c := sample()
		c.Log = logarithmic
		first := draw(t, c)
		seen := wellFormed(t, first)
		require.Equal(t, 1, seen["title"])
		require.Equal(t, 1, seen["desc"])
		require.GreaterOrEqual(t, seen["path"], 6, "three series, an area and its two edges")
		require.Contains(t, string(first), "end level 150 ppm")
		require.Contains(t, string(first), "1–2", "labels of events that would touch are joined")
		require.Equal(t, first, draw(t, c))
	}
}

func TestHostileInput(t *testing.T) {
	hostile := []Point{{math.NaN(), 1}, {1, math.Inf(1)}, {2, -5}, {3, 0}, {4, 1e300}, {5, math.SmallestNonzeroFloat64}}
	charts := map[string]*Chart{
		"empty":       {},
		"one point":   {Series: []Series{{Key: "a", Points: []Point{{3, 3}}}}},
		"constant":    {Series: []Series{{Points: []Point{{0, 0}, {1, 0}}}}},
		"not finite":  {Series: []Series{{Points: hostile}, {Points: hostile, Dots: true}}, Marks: []Mark{{"1", math.NaN()}}, Levels: []Level{{"x", math.NaN()}}},
		"years":       {Series: []Series{{Points: []Point{{0, 1}, {1e6, 2}}}}},
		"odd names":   {Title: "</title><script>alert(1)</script>\x00\xff", ID: `"><script>`, Levels: []Level{{"<b>", 2}}, Marks: []Mark{{"<i>", 1}}},
		"dash wraps":  {Series: []Series{{Points: []Point{{0, 1}, {9, 2}}, Dash: 99}, {Points: []Point{{0, 1}, {9, 2}}, Dash: -3}}},
		"level above": {Levels: []Level{{"limit", 5000}}, Series: []Series{{Points: []Point{{0, 1}, {9, 2}}}}},
	}
	for name, c := range charts {
		for _, logarithmic := range []bool{false, true} {
			t.Run(name, func(t *testing.T) {
				c.Log = logarithmic
				svg := draw(t, c)
				seen := wellFormed(t, svg)
				require.Zero(t, seen["script"])
				require.Less(t, len(svg), 40_000)
			})
		}
	}
}

func TestAxisPlacesValues(t *testing.T) {
	lin := axis{min: 0, max: 100, from: 200, to: 0}
	require.InDelta(t, 100, lin.at(50), 1e-9)
	require.InDelta(t, 0, lin.at(1000), 1e-9, "outside values lie on the edge")
	lg := axis{min: 1, max: 100, from: 200, to: 0, log: true}
	require.InDelta(t, 100, lg.at(10), 1e-9)
	require.InDelta(t, 200, lg.at(0), 1e-9, "what a logarithmic axis cannot show lies on its floor")
}

func TestThinKeepsExtremes(t *testing.T) {
	var points []Point
	for i := 0; i < 10_000; i++ {
		points = append(points, Point{float64(i), 100})
	}
	points[5003].Y, points[7001].Y = 900, 2
	got := Thin(points, 200)
	require.LessOrEqual(t, len(got), 402)
	require.Contains(t, got, Point{5003, 900})
	require.Contains(t, got, Point{7001, 2})
	for i := 1; i < len(got); i++ {
		require.Greater(t, got[i].X, got[i-1].X)
	}
	require.Equal(t, points[:10], Thin(points[:10], 200))
	require.Len(t, Thin([]Point{{1, 1}, {1, 2}, {1, 3}}, 1), 3, "no span, nothing to thin by")
}

// Three spans of 8 h each, from 2 h on: of each the lowest and the highest, in order of time,
// the first where several are alike.
func TestThinByHand(t *testing.T) {
	points := []Point{{2, 5}, {4, 9}, {6, 5}, {9.9, 7}, {10, 3}, {11, 8}, {12, 8}, {17, 3}, {18, 4}, {20, 4}, {26, 4}}
	require.Equal(t, []Point{{2, 5}, {4, 9}, {10, 3}, {11, 8}, {18, 4}, {26, 4}}, Thin(points, 3))
	require.Len(t, Thin(points, 6), len(points), "few enough")
	require.Len(t, Thin(points, 0), len(points))
}

func TestGapBreaksLine(t *testing.T) {
	c := &Chart{Series: []Series{{Points: []Point{{0, 1}, {1, 1}, {9, 1}}, Gap: 2}}}
	svg := string(draw(t, c))
	i := strings.Index(svg, `<path d="`)
	require.Equal(t, 2, strings.Count(svg[i:strings.Index(svg[i:], "/>")+i], "M"), "a gap is never bridged by a line")
}

// A centred axis shows as much below 0 as above, and a span lies where its hours are.
func TestCentredAxisAndSpan(t *testing.T) {
	c := &Chart{Width: 480, Height: 320, XMax: 100, Centred: true, YMax: 20, Series: []Series{{Key: "a", Points: []Point{{0, -20}, {50, 900}}}},
		Spans: []Span{{"onset", 25, 50}, {"not", math.NaN(), 3}, {"past", 101, 102}}}
	d := newDrawing(c)
	require.InDelta(t, (d.top+d.bottom)/2, d.y.at(0), 1e-9)
	require.InDelta(t, d.top, d.y.at(900), 1e-9, "what lies beyond is drawn on the edge")
	require.Equal(t, []float64{-20, -10, 0, 10, 20}, valueTicks(d.y, 5))
	svg := string(draw(t, c))
	width := (d.right - d.left) / 4
	require.Contains(t, svg, `<rect x="`+num(d.left+width)+`" y="`+num(d.top)+`" width="`+num(width)+`"`)
	require.Contains(t, svg, ">onset<")
	require.NotContains(t, svg, "past")
}

func TestWrapped(t *testing.T) {
	for _, line := range wrapped(strings.Repeat("gas under the sheet ", 20), 300) {
		require.LessOrEqual(t, float64(len(line))*letter, 300.0)
	}
	require.Equal(t, []string{"a", strings.Repeat("x", 99), "b"}, wrapped("a "+strings.Repeat("x", 99)+" b", 300), "a long word has a line of its own")
	require.Empty(t, wrapped(" ", 300))
}
