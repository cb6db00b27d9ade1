package chart

import (
	"bytes"
	"encoding/xml"
	"math"
	"sort"
	"strconv"
)

// Ink of the drawing: dark on white for sunlight and for a laser printer.
const (
	ink      = "#111111"
	faint    = "#c9c9c9"
	shade    = "#dcdcdc"
	fan      = "#cfe0f0"
	fanEdge  = "#4a6f94"
	levelInk = "#9c1c1c"
	fontSize = 15.0
	letter   = 0.56 * fontSize // usual width of a character
)

// halo keeps letters that stand on lines readable.
const halo = ` stroke="#ffffff" stroke-width="4" stroke-linejoin="round" paint-order="stroke"`

// Dashes are the patterns by which series differ, in user units.
var Dashes = []string{"", "9 4", "2 3", "12 3 2 3", "5 2", "1 2", "14 5", "6 3 1 3 1 3"}

// drawing is one chart on its way to SVG.
type drawing struct {
	c                        *Chart
	b                        bytes.Buffer
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
	d := &drawing{c: c, w: c.Width, h: c.Height}
	if d.w <= 0 || d.h <= 0 {
		d.w, d.h = 480, 320
	}
	d.top, d.bottom = 26, d.h-46
	d.y = c.yAxis(d.bottom, d.top)
	d.left = 18
	for _, v := range valueTicks(d.y, 5) {
		d.left = math.Max(d.left, 14+letter*float64(len(short(v))))
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

// text writes markup as it is.
func (d *drawing) text(parts ...string) {
	for _, p := range parts {
		d.b.WriteString(p)
	}
}

// num prints a place with one decimal.
func num(v float64) string { return strconv.FormatFloat(v, 'f', 1, 64) }

// escaped returns s for use in text and attributes; what XML forbids becomes U+FFFD.
func escaped(s string) string {
	var b bytes.Buffer
	if xml.EscapeText(&b, []byte(s)) != nil { // a Buffer never fails
		return ""
	}
	return b.String()
}

func (d *drawing) open(place string) {
	id := escaped(d.c.ID)
	d.text(`<svg xmlns="http://www.w3.org/2000/svg"`, place, ` viewBox="0 0 `, num(d.w), " ", num(d.h), `" role="img" aria-labelledby="`,
		id, `-t `, id, `-d" font-family="sans-serif" font-size="`, num(fontSize), `" fill="`, ink, "\">\n",
		`<title id="`, id, `-t">`, escaped(d.c.Title), `</title><desc id="`, id, `-d">`, escaped(d.c.Summary), "</desc>\n")
}

func (d *drawing) line(x1, y1, x2, y2 float64, attrs string) {
	d.text(`<line x1="`, num(x1), `" y1="`, num(y1), `" x2="`, num(x2), `" y2="`, num(y2), `" `, attrs, "/>\n")
}

// label writes words; anchor is start, middle or end.
func (d *drawing) label(x, y float64, anchor, words, attrs string) {
	d.text(`<text x="`, num(x), `" y="`, num(y), `" text-anchor="`, anchor, `"`, attrs, `>`, escaped(words), "</text>\n")
}

func (d *drawing) axes() {
	for _, v := range valueTicks(d.y, 5) {
		y := d.y.at(v)
		d.line(d.left, y, d.right, y, `stroke="`+faint+`"`)
		d.label(d.left-5, y+5, "end", short(v), "")
	}
	for _, v := range hourTicks(d.x, int((d.right-d.left)/(letter*6))) {
		x := d.x.at(v)
		d.line(x, d.bottom, x, d.bottom+5, `stroke="`+ink+`"`)
		d.label(math.Min(x, d.w-letter*float64(len(short(v)))/2-2), d.bottom+20, "middle", short(v), "")
	}
	d.line(d.left, d.bottom, d.right, d.bottom, `stroke="`+ink+`" stroke-width="1.5"`)
	d.line(d.left, d.top, d.left, d.bottom, `stroke="`+ink+`" stroke-width="1.5"`)
	d.label(d.right, d.h-6, "end", d.c.XLabel, "")
	d.label(2, 15, "start", d.c.YLabel, "")
}

// spans shades stretches of time. The words stand inside, half way up.
func (d *drawing) spans() {
	for _, s := range d.c.Spans {
		if !finite(s.From) || !finite(s.To) || s.To < d.x.min || s.From > d.x.max {
			continue
		}
		from, to := d.x.at(s.From), d.x.at(s.To)
		d.text(`<rect x="`, num(from), `" y="`, num(d.top), `" width="`, num(math.Max(to-from, 2)), `" height="`, num(d.bottom-d.top),
			`" fill="`, shade, `" stroke="`, ink, `" stroke-width="0.8" stroke-dasharray="4 2"/>`, "\n")
		half := letter * float64(len([]rune(s.Label))) / 2
		d.label(math.Min(math.Max((from+to)/2, d.left+half+2), d.right-half), (d.top+d.bottom)/2, "middle", s.Label, halo)
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
	area := append([]Point(nil), up...)
	for i := len(down) - 1; i >= 0; i-- {
		area = append(area, down[i])
	}
	d.text(`<path d="`, d.path(area, 0), `Z" fill="`, fan, `"/>`, "\n")
	for _, edge := range [][]Point{up, down} {
		d.text(`<path d="`, d.path(edge, 0), `" fill="none" stroke="`, fanEdge, `" stroke-dasharray="2 2"/>`, "\n")
	}
}

// path joins points by straight lines, broken where X jumps by more than gap.
func (d *drawing) path(points []Point, gap float64) string {
	var b []byte
	for i, p := range points {
		step := byte('L')
		if i == 0 || gap > 0 && p.X-points[i-1].X > gap {
			step = 'M'
		}
		b = append(b, step)
		b = strconv.AppendFloat(b, d.x.at(p.X), 'f', 1, 64)
		b = append(b, ' ')
		b = strconv.AppendFloat(b, d.y.at(p.Y), 'f', 1, 64)
	}
	return string(b)
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
	if s.Dots {
		d.dots(seen)
	} else {
		d.stroke(s, seen)
	}
	if s.Key != "" {
		last := seen[len(seen)-1]
		d.ends = append(d.ends, end{s.Key, d.x.at(last.X), d.y.at(last.Y)})
	}
}

// dots draws all points as one path of round caps.
func (d *drawing) dots(points []Point) {
	d.text(`<path d="`)
	for _, p := range points {
		d.text("M", num(d.x.at(p.X)), " ", num(d.y.at(p.Y)), "h0")
	}
	d.text(`" fill="none" stroke="`, ink, `" stroke-width="3" stroke-linecap="round"/>`, "\n")
}

func (d *drawing) stroke(s *Series, points []Point) {
	width := "1.6"
	if s.Strong {
		width = "2.6"
	}
	d.text(`<path d="`, d.path(points, s.Gap), `" fill="none" stroke="`, ink, `" stroke-width="`, width, `" stroke-linejoin="round"`)
	if dash := Dashes[((s.Dash%len(Dashes))+len(Dashes))%len(Dashes)]; dash != "" {
		d.text(` stroke-dasharray="`, dash, `"`)
	}
	d.text("/>\n")
}

// levels draws the levels with their words on a white ground.
func (d *drawing) levels() {
	for _, l := range d.c.Levels {
		if !finite(l.Y) || !d.y.inside(l.Y) {
			continue
		}
		y := d.y.at(l.Y)
		d.line(d.left, y, d.right, y, `stroke="`+levelInk+`" stroke-width="2" stroke-dasharray="7 3"`)
		base := y - 5
		if base-fontSize < d.top {
			base = y + fontSize
		}
		d.text(`<rect x="`, num(d.left+3), `" y="`, num(base-fontSize+2), `" width="`, num(letter*float64(len([]rune(l.Name)))),
			`" height="`, num(fontSize+2), `" fill="#ffffff" fill-opacity="0.8"/>`, "\n")
		d.label(d.left+4, base, "start", l.Name, ` fill="`+levelInk+`"`)
	}
}

// marks draws the events; labels that would touch are joined to one.
func (d *drawing) marks() {
	marks := append([]Mark(nil), d.c.Marks...)
	sort.SliceStable(marks, func(i, j int) bool { return marks[i].X < marks[j].X })
	edge := letter * float64(len([]rune(d.c.YLabel))+2) // words above the axis stand there; m is wider than most
	for i := 0; i < len(marks); {
		if !finite(marks[i].X) || !d.x.inside(marks[i].X) {
			i++
			continue
		}
		first, x, words, j := marks[i], d.x.at(marks[i].X), marks[i].Label, i
		for ; j < len(marks) && (j == i || d.x.at(marks[j].X)-x < letter*float64(len(words)+1)) && d.x.inside(marks[j].X); j++ {
			mx := d.x.at(marks[j].X)
			d.line(mx, d.top, mx, d.bottom, `stroke="`+ink+`" stroke-dasharray="1 3"`)
			if j > i {
				words = first.Label + "–" + marks[j].Label
			}
		}
		at := math.Max(x, edge+letter*float64(len([]rune(words)))/2)
		at = math.Min(at, d.right-letter*float64(len([]rune(words)))/2)
		d.label(at, 15, "middle", words, ` font-weight="bold"`)
		i = j
	}
}

// keys writes the letters of the series at their ends, apart from each other.
func (d *drawing) keys() {
	ends := d.ends
	sort.SliceStable(ends, func(i, j int) bool { return ends[i].y < ends[j].y })
	for i := range ends {
		if i > 0 {
			ends[i].y = math.Max(ends[i].y, ends[i-1].y+fontSize*0.9)
		}
	}
	for i := len(ends) - 1; i >= 0; i-- {
		limit := d.bottom
		if i < len(ends)-1 {
			limit = ends[i+1].y - fontSize*0.9
		}
		ends[i].y = math.Min(ends[i].y, limit)
	}
	for _, e := range ends {
		d.label(e.x+5, e.y+5, "start", e.key, ` font-weight="bold"`+halo)
	}
}
