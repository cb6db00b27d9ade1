package chart

import (
	"cmp"
	"math"
	"slices"
)

// Inks beside the usual one, and the usual width of a character.
const (
	faint    = "#c9c9c9"
	shade    = "#dcdcdc"
	fan      = "#cfe0f0"
	fanEdge  = "#4a6f94"
	levelInk = "#9c1c1c"
	white    = "#ffffff"
	letter   = 0.56 * TextSize
)

// Dashes are the patterns by which series differ, in user units.
var Dashes = [][]float64{nil, {9, 4}, {2, 3}, {12, 3, 2, 3}, {5, 2}, {1, 2}, {14, 5}, {6, 3, 1, 3, 1, 3}}

// drawing is one chart on its way to a canvas.
type drawing struct {
	c                        *Chart
	on                       Canvas
	x, y                     axis
	w, h                     float64
	left, right, top, bottom float64 // edges of the plot
	ends                     []end
}

// end is where a series' letter belongs.
type end struct {
	key  string
	x, y float64
}

func newDrawing(c *Chart) *drawing {
	d := &drawing{c: c}
	d.w, d.h = c.Size()
	d.top, d.bottom = 26, d.h-46
	d.y = c.yAxis(d.bottom, d.top)
	d.left = 18
	for _, v := range valueTicks(d.y, 5) {
		d.left = math.Max(d.left, 14+letter*float64(len(d.short(v))))
	}
	d.left = math.Max(math.Min(d.left, d.w/3), c.left)
	d.right = d.w - 12
	for _, s := range c.Series {
		if s.Key != "" {
			d.right = d.w - 24
		}
	}
	d.x = c.xAxis(d.left, d.right)
	return d
}

// all draws everything.
func (d *drawing) all() {
	d.spans()
	d.axes()
	for _, b := range d.c.Bands {
		d.band(b)
	}
	d.marks()
	for i := range d.c.Series {
		d.series(&d.c.Series[i])
	}
	d.levels()
	d.keys()
}

func (d *drawing) axes() {
	for _, v := range valueTicks(d.y, 5) {
		y := d.y.at(v)
		d.on.Line(d.left, y, d.right, y, Pen{Ink: faint})
		d.on.Text(d.left-5, y+5, d.short(v), Type{Anchor: End})
	}
	for _, v := range hourTicks(d.x, int((d.right-d.left)/(letter*6))) {
		x := d.x.at(v)
		d.on.Line(x, d.bottom, x, d.bottom+5, Pen{Ink: Ink})
		d.on.Text(math.Min(x, d.w-letter*float64(len(d.short(v)))/2-2), d.bottom+20, d.short(v), Type{Anchor: Middle})
	}
	d.on.Line(d.left, d.bottom, d.right, d.bottom, Pen{Ink: Ink, Width: 1.5})
	d.on.Line(d.left, d.top, d.left, d.bottom, Pen{Ink: Ink, Width: 1.5})
	d.on.Text(d.right, d.h-6, d.c.XLabel, Type{Anchor: End})
	d.on.Text(2, 15, d.c.YLabel, Type{Anchor: Start})
}

// spans shades stretches of time. The words stand inside, half way up.
func (d *drawing) spans() {
	for _, s := range d.c.Spans {
		if !finite(s.From) || !finite(s.To) || s.To < d.x.min || s.From > d.x.max {
			continue
		}
		from, to := d.x.at(s.From), d.x.at(s.To)
		d.on.Rect(from, d.top, math.Max(to-from, 2), d.bottom-d.top, Fill{Ink: shade}, Pen{Ink: Ink, Width: 0.8, Dash: []float64{4, 2}})
		half := letter * float64(len([]rune(s.Label))) / 2
		d.on.Text(math.Min(math.Max((from+to)/2, d.left+half+2), d.right-half), (d.top+d.bottom)/2, s.Label, Type{Anchor: Middle, Halo: true})
	}
}

// band fills the area and draws its edges.
func (d *drawing) band(b Band) {
	var up, down []Point
	for _, p := range b.Points {
		if finite(p.X) && finite(p.Lower) && finite(p.Upper) && d.x.inside(p.X) {
			up, down = append(up, Point{p.X, p.Upper}), append(down, Point{p.X, p.Lower})
		}
	}
	if len(up) < 2 {
		return
	}
	area := slices.Clone(up)
	for i := len(down) - 1; i >= 0; i-- {
		area = append(area, down[i])
	}
	d.on.Path(d.runs(area, 0), Fill{Ink: fan}, Pen{})
	for _, edge := range [][]Point{up, down} {
		d.on.Path(d.runs(edge, 0), Fill{}, Pen{Ink: fanEdge, Dash: []float64{2, 2}})
	}
}

// runs are the places of points, parted where X jumps by more than gap.
func (d *drawing) runs(points []Point, gap float64) [][]Point {
	var all [][]Point
	places := make([]Point, len(points))
	first := 0
	for i, p := range points {
		places[i] = Point{d.x.at(p.X), d.y.at(p.Y)}
		if i > 0 && gap > 0 && p.X-points[i-1].X > gap {
			all, first = append(all, places[first:i]), i
		}
	}
	return append(all, places[first:])
}

func (d *drawing) series(s *Series) {
	var seen []Point
	for _, p := range s.Points {
		if finite(p.X) && finite(p.Y) && d.x.inside(p.X) {
			seen = append(seen, p)
		}
	}
	if len(seen) == 0 {
		return
	}
	pen := Pen{Ink: Ink, Width: 1.6, Round: true, Dash: Dashes[((s.Dash%len(Dashes))+len(Dashes))%len(Dashes)]}
	switch {
	case s.Dots:
		pen = Pen{Ink: Ink, Width: 3, Dots: true}
	case s.Strong:
		pen.Width = 2.6
	}
	d.on.Path(d.runs(seen, s.Gap), Fill{}, pen)
	if s.Key != "" {
		last := seen[len(seen)-1]
		d.ends = append(d.ends, end{s.Key, d.x.at(last.X), d.y.at(last.Y)})
	}
}

// levels draws the levels with their words on a white ground.
func (d *drawing) levels() {
	for _, l := range d.c.Levels {
		if !finite(l.Y) || !d.y.inside(l.Y) {
			continue
		}
		y := d.y.at(l.Y)
		d.on.Line(d.left, y, d.right, y, Pen{Ink: levelInk, Width: 2, Dash: []float64{7, 3}})
		base := y - 5
		if base-TextSize < d.top {
			base = y + TextSize
		}
		d.on.Rect(d.left+3, base-TextSize+2, letter*float64(len([]rune(l.Name))), TextSize+2, Fill{Ink: white, Opacity: 0.8}, Pen{})
		d.on.Text(d.left+4, base, l.Name, Type{Anchor: Start, Ink: levelInk})
	}
}

// marks draws the events; labels that would touch are joined to one.
func (d *drawing) marks() {
	marks := slices.SortedStableFunc(slices.Values(d.c.Marks), func(a, b Mark) int { return cmp.Compare(a.X, b.X) })
	edge := letter * float64(len([]rune(d.c.YLabel))+2) // words above the axis stand there; m is wider than most
	for i := 0; i < len(marks); {
		if !finite(marks[i].X) || !d.x.inside(marks[i].X) {
			i++
			continue
		}
		first, x, words, j := marks[i], d.x.at(marks[i].X), marks[i].Label, i
		for ; j < len(marks) && (j == i || d.x.at(marks[j].X)-x < letter*float64(len(words)+1)) && d.x.inside(marks[j].X); j++ {
			mx := d.x.at(marks[j].X)
			d.on.Line(mx, d.top, mx, d.bottom, Pen{Ink: Ink, Dash: []float64{1, 3}})
			if j > i {
				words = first.Label + "–" + marks[j].Label
			}
		}
		at := math.Max(x, edge+letter*float64(len([]rune(words)))/2)
		at = math.Min(at, d.right-letter*float64(len([]rune(words)))/2)
		d.on.Text(at, 15, words, Type{Anchor: Middle, Bold: true})
		i = j
	}
}

// keys writes the letters of the series at their ends, apart from each other.
func (d *drawing) keys() {
	ends := d.ends
	slices.SortStableFunc(ends, func(a, b end) int { return cmp.Compare(a.y, b.y) })
	for i := range ends {
		if i > 0 {
			ends[i].y = math.Max(ends[i].y, ends[i-1].y+TextSize*0.9)
		}
	}
	for i := len(ends) - 1; i >= 0; i-- {
		limit := d.bottom
		if i < len(ends)-1 {
			limit = ends[i+1].y - TextSize*0.9
		}
		ends[i].y = math.Min(ends[i].y, limit)
	}
	for _, e := range ends {
		d.on.Text(e.x+5, e.y+5, e.key, Type{Anchor: Start, Bold: true, Halo: true})
	}
}
