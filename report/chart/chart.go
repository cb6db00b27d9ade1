// Package chart draws what goes on in time: readings, fitted curves,
// forecast bands, levels to hold, spans of time and numbered events, on a linear or
// a logarithmic axis. Pages, printed reports and files share it.
//
// Fill in a [Chart] and call [Chart.WriteSVG], or [Chart.Draw] it on a [Canvas] of
// another kind, with the same strokes at the same places; or put several under one title as a
// [Sheet], which stands alone in a file. Nothing is told by colour alone:
// series differ in dash and carry a letter at their end, bands have edges, levels
// are written on, and events are numbered for a list beside the chart. The SVG
// holds presentation attributes only, no style sheet and no script, so it passes
// a strict content security policy and prints the same on paper. The same Chart
// gives the same bytes.
//
// It refuses nothing: values that are not finite are left out, and on a
// logarithmic axis values under the floor are drawn on the floor.
package chart

import "math"

// Point is one value in time: X in hours, Y in the unit of the chart.
type Point struct{ X, Y float64 }

// Series is a row of points, drawn as a line or as dots.
type Series struct {
	Key    string  // letter at the end of the line, "" = none
	Points []Point // in order of X
	Dots   bool    // dots instead of a line
	Dash   int     // which dash pattern, from 0 = solid; see Dashes
	Strong bool    // drawn thicker
	Gap    float64 // a line is broken where X jumps by more than this many hours; 0 = never
}

// Band is the area between two curves with the same X.
type Band struct {
	Points []BandPoint // in order of X
}

// BandPoint is one place of a band.
type BandPoint struct{ X, Lower, Upper float64 }

// Level is a horizontal line with words on it.
type Level struct {
	Name string
	Y    float64
}

// Mark is a vertical line at an event.
type Mark struct {
	Label string // a number or a short word
	X     float64
}

// Span is a stretch of time, shaded, with a word on it.
type Span struct {
	Label    string
	From, To float64
}

// Chart is one picture.
type Chart struct {
	ID             string // starts the ids inside the SVG: unique on its page, letters, digits and - only
	Title          string // what the picture shows, for those who cannot see it
	Summary        string // what it says, for those who cannot see it
	XLabel, YLabel string
	Lang           string  // that figures beside the axes are written in
	XMin, XMax     float64 // hours; both 0 = from the data
	YMax           float64 // 0 = from the data; what lies beyond is drawn on the edge
	Centred        bool    // linear Y axis from −YMax to YMax
	Log            bool    // logarithmic Y axis
	Floor          float64 // lowest value of a logarithmic axis; 0 = 1
	Width, Height  float64 // user units; 0 = 480 × 320
	Bands          []Band
	Series         []Series
	Levels         []Level
	Marks          []Mark
	Spans          []Span

	left float64 // least room left of the Y axis, so that the charts of a sheet stand in line
}

// Thin returns at most about 2·n of the points: in each of n equal spans of X the
// lowest and the highest. So no spike and no drop disappears.
func Thin(points []Point, n int) []Point {
	if n < 1 || len(points) <= 2*n {
		return points
	}
	first, last := points[0].X, points[len(points)-1].X
	span := (last - first) / float64(n)
	if !(span > 0) {
		return points
	}
	var out []Point
	for i := 0; i < len(points); {
		end := first + span*(math.Floor((points[i].X-first)/span)+1)
		low, high, j := i, i, i
		for ; j < len(points) && (j == i || points[j].X < end); j++ {
			if points[j].Y < points[low].Y {
				low = j
			}
			if points[j].Y > points[high].Y {
				high = j
			}
		}
		out = append(out, points[min(low, high)])
		if low != high {
			out = append(out, points[max(low, high)])
		}
		i = j
	}
	return out
}
