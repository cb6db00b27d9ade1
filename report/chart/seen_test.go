package chart

import (
	"bytes"
	"math"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// full is a chart with everything on it; every value lies on its axes.
func full(logarithmic bool) *Chart {
	c := &Chart{ID: "c", Title: "gas", XLabel: "hours", YLabel: "ppm", Log: logarithmic, Floor: 2, Width: 500, Height: 300}
	var band Band
	var curve, dots []Point
	for h := 4.0; h <= 100; h += 8 {
		y := 700 * math.Exp(-h/40)
		curve = append(curve, Point{h, y})
		dots = append(dots, Point{h, 1.1 * y})
		band.Points = append(band.Points, BandPoint{h, 0.7 * y, 1.4 * y})
	}
	c.Bands = []Band{band}
	c.Series = []Series{{Key: "A", Points: curve, Dash: 1, Strong: true}, {Points: dots, Dots: true}, {Key: "B", Points: dots[:9]}}
	c.Levels = []Level{{"end level", 150}}
	c.Marks = []Mark{{"2", 72}, {"1", 20}}
	c.Spans = []Span{{"onset", 40, 60}}
	return c
}

// TestPictureAgreesWithItsAxes: whatever is drawn stands where its value is printed.
func TestPictureAgreesWithItsAxes(t *testing.T) {
	for _, logarithmic := range []bool{false, true} {
		c := full(logarithmic)
		e := look(t, c)
		paths := only(e.all, func(s stroke) bool { return s.name == "path" })
		require.Len(t, paths, 6, "an area with two edges, and three series")

		area, closed := paths[0].points(t)
		require.True(t, closed)
		require.Equal(t, []string{fan, ""}, []string{paths[0].attr["fill"], paths[0].attr["stroke"]})
		b, n := c.Bands[0].Points, len(c.Bands[0].Points)
		require.Len(t, area[0], 2*n)
		for edge, i := 0, 0; i < n; edge, i = edge+1, i+1 {
			up, down := Point{b[i].X, b[i].Upper}, Point{b[i].X, b[i].Lower}
			e.shows(t, up, area[0][i])
			e.shows(t, down, area[0][2*n-1-i])
		}
		for k, edge := range paths[1:3] {
			runs, _ := edge.points(t)
			require.Equal(t, []string{"none", fanEdge}, []string{edge.attr["fill"], edge.attr["stroke"]})
			for i, at := range runs[0] {
				e.shows(t, Point{b[i].X, []float64{b[i].Upper, b[i].Lower}[k]}, at)
			}
		}
		for k, s := range c.Series {
			p := paths[3+k]
			runs, closed := p.points(t)
			require.False(t, closed)
			require.Equal(t, []string{"none", Ink}, []string{p.attr["fill"], p.attr["stroke"]})
			places := slices.Concat(runs...)
			require.Len(t, places, len(s.Points))
			for i, at := range places {
				e.shows(t, s.Points[i], at)
			}
			require.Equal(t, s.Dots, len(runs) == len(s.Points) && strings.Count(p.attr["d"], "h0") == len(s.Points) && p.attr["stroke-linecap"] == "round", "dots, not a line")
		}
		require.Greater(t, paths[3].at("stroke-width"), paths[5].at("stroke-width"), "strong is thicker")
		require.NotEqual(t, paths[3].attr["stroke-dasharray"], paths[5].attr["stroke-dasharray"], "series differ without colour")

		level := only(e.all, func(s stroke) bool { return s.name == "line" && s.attr["stroke"] == levelInk })
		require.Len(t, level, 1)
		e.near(t, e.y, 150, level[0].at("y1"))
		require.Equal(t, []float64{e.left, e.right, level[0].at("y1")}, []float64{level[0].at("x1"), level[0].at("x2"), level[0].at("y2")})
		require.NotEmpty(t, level[0].attr["stroke-dasharray"])

		events := only(e.all, func(s stroke) bool {
			return s.name == "line" && s.at("y1") == e.top && s.at("y2") == e.bottom && s.at("x1") > e.left
		})
		require.Len(t, events, 2)
		for i, hour := range []float64{20, 72} {
			e.near(t, e.x, hour, events[i].at("x1"))
			require.Equal(t, events[i].at("x1"), events[i].at("x2"))
			label := only(e.all, func(s stroke) bool { return s.name == "text" && s.text == strconv.Itoa(i+1) && s.at("y") < e.top })
			require.Len(t, label, 1, "over the plot")
			require.InDelta(t, events[i].at("x1"), label[0].at("x"), 0.1)
		}
		span := only(e.all, func(s stroke) bool { return s.name == "rect" && s.attr["fill"] == shade })
		require.Len(t, span, 1)
		e.near(t, e.x, 40, span[0].at("x"))
		e.near(t, e.x, 60, span[0].at("x")+span[0].at("width"))
		require.Equal(t, []float64{e.top, e.bottom - e.top}, []float64{span[0].at("y"), span[0].at("height")})
		require.NotEmpty(t, span[0].attr["stroke-dasharray"], "with an edge, for whoever sees no grey")
		word := only(e.all, func(s stroke) bool { return s.text == "onset" })
		e.near(t, e.x, 50, word[0].at("x"))
		unit := only(e.all, func(s stroke) bool { return s.text == "hours" })
		require.Equal(t, []any{"end", e.right}, []any{unit[0].attr["text-anchor"], unit[0].at("x")})
		require.Greater(t, unit[0].at("y"), e.bottom+20+0.7*TextSize, "under the figures")
	}
}

// TestAxisHoldsWhatIsDrawn: where the chart does not say how far its axes go, they go as far
// as the data and the levels, and no further than helps the reader.
func TestAxisHoldsWhatIsDrawn(t *testing.T) {
	for name, c := range map[string]*Chart{
		"series":      {Series: []Series{{Points: []Point{{30, 4}, {90, 60}}}}},
		"band":        {Bands: []Band{{Points: []BandPoint{{30, 3, 4}, {90, 20, 60}}}}},
		"level":       {Series: []Series{{Points: []Point{{30, 4}, {90, 6}}}}, Levels: []Level{{"limit", 60}, {"none", math.Inf(1)}}},
		"lower edge":  {Bands: []Band{{Points: []BandPoint{{30, 60, 4}, {90, 60, 5}}}}},
		"asked":       {XMin: 30, XMax: 90, Series: []Series{{Points: []Point{{20, 900}, {30, 4}, {90, 60}, {95, 900}}}}},
		"asked to":    {XMax: 90, Series: []Series{{Points: []Point{{-5, 900}, {0, 4}, {90, 60}, {95, 900}}}}},
		"logarithmic": {Log: true, Series: []Series{{Points: []Point{{30, 4}, {90, 60}}}}},
	} {
		t.Run(name, func(t *testing.T) {
			e := look(t, c)
			from := 30.0
			if name == "asked to" {
				from = 0
			}
			e.near(t, e.x, from, e.left)
			e.near(t, e.x, 90, e.right)
			top := e.y.value(e.top)
			require.Greater(t, top, 60.0)
			require.Less(t, top, 75.0)
			if !c.Log {
				e.near(t, e.y, 0, e.bottom)
			} else {
				e.near(t, e.y, 1, e.bottom)
			}
		})
	}
	e := look(t, &Chart{Log: true, Floor: 3, Series: []Series{{Points: []Point{{0, 4}, {48, 5}}}}})
	e.near(t, e.y, 3, e.bottom)
	e.near(t, e.y, 30, e.top) // a decade at least
	e = look(t, &Chart{Centred: true, Series: []Series{{Points: []Point{{0, -60}, {48, 5}}}}})
	require.InDelta(t, 63, e.y.value(e.top), 12)
	require.InDelta(t, -e.y.value(e.top), e.y.value(e.bottom), 0.5, "as far below 0 as above")
	e = look(t, &Chart{Series: []Series{{Points: []Point{{5, 1}, {5.2, 2}}}}})
	require.InDelta(t, 5, e.x.value(e.left), 0.01)
	require.InDelta(t, 6, e.x.value(e.right), 0.01, "an hour at least")
	e = look(t, &Chart{})
	require.Equal(t, []float64{0, 24}, []float64{e.x.value(e.left), e.x.value(e.right)}, "a day, where nothing is")
	require.Equal(t, []float64{480, 320}, []float64{e.width, e.height})
}

// TestWhatIsNotFiniteIsLeftOut: the rest stands where it stood.
func TestWhatIsNotFiniteIsLeftOut(t *testing.T) {
	nan := math.NaN()
	c := &Chart{Series: []Series{{Points: []Point{{0, 60}, {12, nan}, {nan, 3}, {24, 5}}}},
		Bands: []Band{{Points: []BandPoint{{0, 10, 60}, {6, nan, 50}, {12, 1, math.Inf(1)}, {24, 5, 9}}}, {Points: []BandPoint{{3, 1, 2}}}}}
	e := look(t, c)
	paths := only(e.all, func(s stroke) bool { return s.name == "path" })
	require.Len(t, paths, 4, "a band of one place is none")
	runs, _ := paths[0].points(t)
	for i, want := range []Point{{0, 60}, {24, 9}, {24, 5}, {0, 10}} {
		e.shows(t, want, runs[0][i])
	}
	require.Len(t, runs[0], 4)
	runs, _ = paths[3].points(t)
	require.Len(t, runs[0], 2)
	e.shows(t, Point{24, 5}, runs[0][1])
	require.InDelta(t, e.width, e.right, TextSize, "no room is kept for letters where there are none")
}

// TestKeysStandApart: the letters at the ends of series that end together can all be told.
func TestKeysStandApart(t *testing.T) {
	c := &Chart{YMax: 100, Series: []Series{{Key: "A", Points: []Point{{0, 50}, {48, 2}}}, {Key: "B", Points: []Point{{0, 40}, {48, 1}}},
		{Key: "C", Points: []Point{{0, 30}, {48, 0}}}, {Key: "D", Points: []Point{{0, 90}, {48, 90}}}, {Points: []Point{{0, 9}, {48, 9}}}}}
	e := look(t, c)
	keys := only(e.all, func(s stroke) bool { return s.name == "text" && s.attr["font-weight"] == "bold" })
	require.Len(t, keys, 4)
	place := map[string]float64{}
	for _, k := range keys {
		place[k.text] = k.at("y")
		require.Greater(t, k.at("x"), e.right, "beside the end")
		require.Less(t, k.at("x"), e.right+TextSize)
		require.LessOrEqual(t, k.at("y")-0.7*TextSize, e.bottom, "at the height of the plot")
		require.Equal(t, "#ffffff", k.attr["stroke"], "on a white rim")
	}
	require.Greater(t, place["C"]-place["B"], 0.8*TextSize)
	require.Greater(t, place["B"]-place["A"], 0.8*TextSize)
	require.Less(t, place["C"]-place["A"], 2*TextSize, "no further apart than must be")
	require.InDelta(t, place["A"]-place["D"], 88*(e.y.places[1]-e.y.places[0])/(e.y.values[1]-e.y.values[0])*-1, 2.1*TextSize, "the others at their ends")
	mid := e.bottom - 0.9*1/1.05*(e.bottom-e.top) // 90 of an axis that ends at 105
	require.InDelta(t, mid, place["D"]-0.35*TextSize, 2, "a letter's middle is at the end of its series")
}

// TestWordsOfALevelAreReadable: on a white ground above their line, or below it under the top.
func TestWordsOfALevelAreReadable(t *testing.T) {
	for name, y := range map[string]float64{"low": 20, "near the top": 9000} {
		e := look(t, &Chart{Log: true, YMax: 99, Series: []Series{{Points: []Point{{0, 1}, {48, 2}}}}, Levels: []Level{{"the limit", y}}})
		word := only(e.all, func(s stroke) bool { return s.text == "the limit" })
		ground := only(e.all, func(s stroke) bool { return s.name == "rect" && s.attr["fill"] == white })
		line := only(e.all, func(s stroke) bool { return s.name == "line" && s.attr["stroke"] == levelInk })
		require.Len(t, word, 1)
		require.Len(t, ground, 1)
		head, foot := word[0].at("y")-0.75*TextSize, word[0].at("y")
		require.GreaterOrEqual(t, head, e.top, name)
		require.True(t, foot < line[0].at("y1") || head > line[0].at("y1"), "%s: the line runs through the words", name)
		require.Less(t, math.Abs(word[0].at("y")-line[0].at("y1")), 1.3*TextSize, name)
		require.LessOrEqual(t, ground[0].at("y"), head)
		require.GreaterOrEqual(t, ground[0].at("y")+ground[0].at("height"), foot)
		require.InDelta(t, ground[0].at("x"), word[0].at("x"), 2)
		require.InDelta(t, 0.56*TextSize*9, ground[0].at("width"), 10, "nine letters")
		require.Equal(t, levelInk, word[0].attr["fill"])
		require.Greater(t, ground[0].at("fill-opacity"), 0.5)
		require.Less(t, ground[0].at("fill-opacity"), 1.0, "a curve is seen through it")
		require.Greater(t, word[0].at("x"), e.left)
	}
}

// TestEventsThatTouchAreJoined, and no label stands on the name of the axis or leaves the plot.
func TestEventsThatTouchAreJoined(t *testing.T) {
	c := &Chart{XMax: 100, YLabel: "ppm of gas", Series: []Series{{Points: []Point{{0, 1}, {100, 2}}}},
		Marks: []Mark{{"4", 99.5}, {"1", 0}, {"2", 50}, {"3", 51}, {"9", 101}, {"8", math.NaN()}}}
	e := look(t, c)
	labels := only(e.all, func(s stroke) bool { return s.name == "text" && s.attr["font-weight"] == "bold" })
	var words []string
	for _, l := range labels {
		words = append(words, l.text)
	}
	require.Equal(t, []string{"1", "2–3", "4"}, words)
	require.Greater(t, labels[0].at("x"), 0.5*TextSize*10, "beside the name of the axis")
	require.InDelta(t, e.left+0.5*(e.right-e.left), labels[1].at("x"), 15)
	require.LessOrEqual(t, labels[2].at("x"), e.right-0.25*TextSize)
	require.Len(t, only(e.all, func(s stroke) bool {
		return s.name == "line" && s.at("y1") == e.top && s.attr["stroke-dasharray"] != ""
	}), 4, "each has its line")
	name := only(e.all, func(s stroke) bool { return s.text == "ppm of gas" })
	require.Less(t, name[0].at("y"), e.top)
}

// TestSheetStandsInOrder: title, words, then chart after chart with title and caption, none over
// another, with their axes in line.
func TestSheetStandsInOrder(t *testing.T) {
	long := strings.TrimSpace(strings.Repeat("the lowest line of the stack ", 9))
	s := &Sheet{ID: "s", Title: "Stack Q", Words: []string{long}, Panels: []Panel{
		{Chart: Chart{ID: "p1", Title: "first", Height: 200, YMax: 9, Series: []Series{{Points: []Point{{0, 1}, {48, 2}}}}}, Caption: long},
		{Chart: Chart{ID: "p2", Title: "second", YMax: 90000, Series: []Series{{Points: []Point{{0, 1}, {48, 80000}}}}}, Caption: "dots: readings"}}}
	var b bytes.Buffer
	require.NoError(t, s.WriteSVG(&b))
	all := strokes(t, b.Bytes())
	require.Equal(t, []string{"760.0", "0 0 760.0 " + all[0].attr["height"]}, []string{all[0].attr["width"], all[0].attr["viewBox"]})
	foot := 0.0 // of what came before
	var axes []float64
	var said []string
	inside := false // a chart of the sheet, whose places are its own
	for _, x := range all[1:] {
		switch {
		case x.name == "svg":
			inside = true
			require.Equal(t, 16.0, x.at("x"))
			require.Equal(t, 760-2*16.0, x.at("width"))
			require.Equal(t, "0 0 "+x.attr["width"]+" "+x.attr["height"], x.attr["viewBox"], "nothing is stretched")
			require.GreaterOrEqual(t, x.at("y"), foot)
			require.Less(t, x.at("y"), foot+2*TextSize)
			foot = x.at("y") + x.at("height")
		case x.name == "text" && x.attr["text-anchor"] == "start" && x.at("x") == 16:
			inside = false
			size := max(x.at("font-size"), TextSize)
			require.Greater(t, x.at("y"), foot+0.5*size, x.text)
			require.Less(t, x.at("y"), foot+3*size, x.text)
			require.LessOrEqual(t, 0.56*TextSize*float64(len(x.text)), 760.0-2*16)
			require.Equal(t, x.text == "Stack Q", x.at("font-size") > TextSize, "the title alone is large")
			foot = x.at("y")
			said = append(said, x.text)
		case inside && x.name == "line" && x.attr["stroke-width"] == "1.5" && x.at("x1") == x.at("x2"):
			axes = append(axes, x.at("x1"))
		}
	}
	require.Greater(t, all[0].at("height"), foot)
	require.Less(t, all[0].at("height"), foot+3*TextSize)
	require.Len(t, axes, 2)
	require.Equal(t, axes[0], axes[1], "the axes of all charts stand in line")
	require.Equal(t, "Stack Q "+long+" first "+long+" second dots: readings", strings.Join(said, " "))
	heights := only(all[1:], func(x stroke) bool { return x.name == "svg" })
	require.Equal(t, []float64{200, 260}, []float64{heights[0].at("height"), heights[1].at("height")})
	s.Width = 400
	b.Reset()
	require.NoError(t, s.WriteSVG(&b))
	require.Equal(t, 400.0, strokes(t, b.Bytes())[0].at("width"))
}
