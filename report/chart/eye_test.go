package chart

import (
	"bytes"
	"encoding/xml"
	"errors"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// These tests look at a picture as its reader does: they know only what the SVG says (SVG 1.1,
// W3C 2011) and what is printed beside its axes, and ask of every stroke what it means there.

// stroke is an element of a picture.
type stroke struct {
	name, text string
	attr       map[string]string
}

// at is an attribute that holds a figure; 0 where it is missing.
func (s stroke) at(name string) float64 {
	v, _ := strconv.ParseFloat(s.attr[name], 64)
	return v
}

// figure is the words of a text as a figure.
func (s stroke) figure() (float64, bool) {
	v, err := strconv.ParseFloat(s.text, 64)
	return v, err == nil
}

// points reads the corners of a path; closed tells whether its last run is closed.
func (s stroke) points(t *testing.T) (runs [][]Point, closed bool) {
	t.Helper()
	d := strings.NewReplacer("M", " M ", "L", " L ", "Z", " Z ", "h0", " h0 ").Replace(s.attr["d"])
	f := strings.Fields(d)
	for i := 0; i < len(f); i++ {
		switch f[i] {
		case "M":
			runs = append(runs, nil)
		case "L", "h0":
		case "Z":
			closed = true
		default:
			x, errX := strconv.ParseFloat(f[i], 64)
			y, errY := strconv.ParseFloat(f[i+1], 64)
			require.NoError(t, errors.Join(errX, errY), s.attr["d"])
			i++
			runs[len(runs)-1] = append(runs[len(runs)-1], Point{x, y})
		}
	}
	return runs, closed
}

// strokes reads an SVG.
func strokes(t *testing.T, svg []byte) (all []stroke) {
	t.Helper()
	d := xml.NewDecoder(bytes.NewReader(svg))
	for {
		tok, err := d.Token()
		if errors.Is(err, io.EOF) {
			return all
		}
		require.NoError(t, err)
		switch e := tok.(type) {
		case xml.StartElement:
			s := stroke{name: e.Name.Local, attr: map[string]string{}}
			for _, a := range e.Attr {
				s.attr[a.Name.Local] = a.Value
			}
			all = append(all, s)
		case xml.CharData:
			if len(all) > 0 && strings.TrimSpace(string(e)) != "" {
				all[len(all)-1].text += string(e)
			}
		}
	}
}

func only(all []stroke, keep func(stroke) bool) []stroke {
	return slices.DeleteFunc(slices.Clone(all), func(s stroke) bool { return !keep(s) })
}

// ruler is what is printed beside one axis: figures and their places.
type ruler struct {
	values, places []float64
	log            bool
}

// value is what a place means, between and beyond the printed figures.
func (r ruler) value(place float64) float64 {
	n := len(r.values) - 1
	first, last := r.values[0], r.values[n]
	share := (place - r.places[0]) / (r.places[n] - r.places[0])
	if r.log {
		return first * math.Pow(last/first, share)
	}
	return first + share*(last-first)
}

// eye is a chart as it is seen.
type eye struct {
	all                      []stroke
	x, y                     ruler
	left, right, top, bottom float64 // of the plot, by the lines of the axes
	width, height            float64
}

// look reads a chart and holds it against itself: figures stand beside their ticks, ticks are
// spaced as the axis is, and no words leave the picture.
func look(t *testing.T, c *Chart) eye {
	t.Helper()
	e := eye{all: strokes(t, draw(t, c))}
	box := strings.Fields(e.all[0].attr["viewBox"])
	e.width, _ = strconv.ParseFloat(box[2], 64)
	e.height, _ = strconv.ParseFloat(box[3], 64)
	axes := only(e.all, func(s stroke) bool { return s.name == "line" && s.attr["stroke-width"] == "1.5" })
	require.Len(t, axes, 2)
	e.left, e.bottom, e.right = axes[0].at("x1"), axes[0].at("y1"), axes[0].at("x2")
	require.Equal(t, []float64{e.bottom, e.left, e.bottom}, []float64{axes[0].at("y2"), axes[1].at("x1"), axes[1].at("y2")}, "the axes meet")
	e.top = axes[1].at("y1")
	require.Greater(t, e.right-e.left, 0.7*e.width)
	require.Greater(t, e.bottom-e.top, 0.7*e.height)

	words := only(e.all, func(s stroke) bool { return s.name == "text" })
	for _, s := range words { // a letter is some 0.56 of its size wide, and 0.7 of it high
		wide := 0.5 * TextSize * float64(len([]rune(s.text)))
		from := s.at("x") - map[string]float64{"start": 0, "middle": 0.5, "end": 1}[s.attr["text-anchor"]]*wide
		require.GreaterOrEqual(t, from, 0.0, s.text)
		require.LessOrEqual(t, from+wide, e.width, s.text)
		require.GreaterOrEqual(t, s.at("y"), 0.7*TextSize, s.text)
		require.LessOrEqual(t, s.at("y"), e.height-1, s.text)
	}
	grid := only(e.all, func(s stroke) bool { return s.name == "line" && s.attr["stroke"] == faint })
	for _, g := range grid {
		require.Equal(t, []float64{e.left, e.right, g.at("y1")}, []float64{g.at("x1"), g.at("x2"), g.at("y2")}, "it runs across the plot")
		beside := only(words, func(s stroke) bool {
			low := s.at("y") - g.at("y1") // from the line down to the foot of the figure
			return s.attr["text-anchor"] == "end" && s.at("x") < e.left && low > 1 && low < 0.7*TextSize
		})
		require.Len(t, beside, 1, "a figure stands before each line of the grid, half above it")
		v, ok := beside[0].figure()
		require.True(t, ok, beside[0].text)
		e.y.values, e.y.places = append(e.y.values, v), append(e.y.places, g.at("y1"))
	}
	notches := only(e.all, func(s stroke) bool { return s.name == "line" && s.at("y1") == e.bottom && s.at("y2") > e.bottom })
	for _, n := range notches {
		under := only(words, func(s stroke) bool {
			return s.attr["text-anchor"] == "middle" && s.at("y")-n.at("y2") > 0.7*TextSize && math.Abs(s.at("x")-n.at("x1")) < 6
		})
		require.Len(t, under, 1, "a figure stands under each notch")
		v, ok := under[0].figure()
		require.True(t, ok, under[0].text)
		e.x.values, e.x.places = append(e.x.values, v), append(e.x.places, n.at("x1"))
	}
	require.Greater(t, len(e.x.values), 1)
	require.Greater(t, len(e.y.values), 1)
	require.True(t, slices.IsSorted(e.x.values) && slices.IsSorted(e.y.values))
	e.y.log = c.Log
	for i, p := range e.y.places {
		e.near(t, e.y, e.y.values[i], p)
	}
	for i, p := range e.x.places {
		e.near(t, e.x, e.x.values[i], p)
	}
	return e
}

// near asks that a place means a value, as far as one decimal of a place can say.
func (e eye) near(t *testing.T, r ruler, value, place float64) {
	t.Helper()
	a, b := r.value(place-0.2), r.value(place+0.2)
	require.GreaterOrEqual(t, value, min(a, b))
	require.LessOrEqual(t, value, max(a, b))
}

func (e eye) shows(t *testing.T, want Point, at Point) {
	t.Helper()
	e.near(t, e.x, want.X, at.X)
	e.near(t, e.y, want.Y, at.Y)
}
