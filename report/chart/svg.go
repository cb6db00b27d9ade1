package chart

import (
	"bytes"
	"encoding/xml"
	"io"
	"strconv"
)

// WriteSVG writes the chart as one svg element.
func (c *Chart) WriteSVG(w io.Writer) error {
	var s svg
	s.chart(newDrawing(c), "")
	_, err := w.Write(s.b.Bytes())
	return err
}

// svg is a canvas that writes SVG.
type svg struct{ b bytes.Buffer }

// chart draws a chart as an element of its own; place are attributes of the element.
func (s *svg) chart(d *drawing, place string) {
	id := escaped(d.c.ID)
	s.put(`<svg xmlns="http://www.w3.org/2000/svg"`, place, ` viewBox="0 0 `, num(d.w), " ", num(d.h), `" role="img" aria-labelledby="`,
		id, `-t `, id, `-d" font-family="sans-serif" font-size="`, num(TextSize), `" fill="`, Ink, "\">\n",
		`<title id="`, id, `-t">`, escaped(d.c.Title), `</title><desc id="`, id, `-d">`, escaped(d.c.Summary), "</desc>\n")
	d.on = s
	d.all()
	s.put("</svg>\n")
}

// put writes markup as it is.
func (s *svg) put(parts ...string) {
	for _, p := range parts {
		s.b.WriteString(p)
	}
}

// Line implements Canvas.
func (s *svg) Line(x1, y1, x2, y2 float64, p Pen) {
	s.put(`<line x1="`, num(x1), `" y1="`, num(y1), `" x2="`, num(x2), `" y2="`, num(y2), `"`)
	s.pen(p)
	s.put("/>\n")
}

// Rect implements Canvas.
func (s *svg) Rect(x, y, w, h float64, f Fill, p Pen) {
	s.put(`<rect x="`, num(x), `" y="`, num(y), `" width="`, num(w), `" height="`, num(h), `"`)
	s.fill(f)
	s.pen(p)
	s.put("/>\n")
}

// Path implements Canvas.
func (s *svg) Path(runs [][]Point, f Fill, p Pen) {
	s.put(`<path d="`)
	for _, run := range runs {
		step := "M"
		for _, at := range run {
			s.put(step, num(at.X), " ", num(at.Y))
			step = "L"
			if p.Dots {
				s.put("h0")
				step = "M"
			}
		}
		if f.Ink != "" {
			s.put("Z")
		}
	}
	s.put(`"`)
	if f.Ink == "" {
		f.Ink = "none"
	}
	s.fill(f)
	s.pen(p)
	s.put("/>\n")
}

// Text implements Canvas.
func (s *svg) Text(x, y float64, words string, t Type) {
	s.put(`<text x="`, num(x), `" y="`, num(y), `" text-anchor="`, string(t.Anchor), `"`)
	if t.Bold {
		s.put(` font-weight="bold"`)
	}
	if t.Size > 0 {
		s.put(` font-size="`, num(t.Size), `"`)
	}
	if t.Ink != "" {
		s.put(` fill="`, t.Ink, `"`)
	}
	if t.Halo {
		s.put(` stroke="#ffffff" stroke-width="`, plain(HaloWidth), `" stroke-linejoin="round" paint-order="stroke"`)
	}
	s.put(`>`, escaped(words), "</text>\n")
}

func (s *svg) fill(f Fill) {
	if f.Ink == "" {
		return
	}
	s.put(` fill="`, f.Ink, `"`)
	if f.Opacity > 0 {
		s.put(` fill-opacity="`, plain(f.Opacity), `"`)
	}
}

func (s *svg) pen(p Pen) {
	if p.Ink == "" {
		return
	}
	s.put(` stroke="`, p.Ink, `"`)
	if p.Width > 0 {
		s.put(` stroke-width="`, plain(p.Width), `"`)
	}
	if p.Round {
		s.put(` stroke-linejoin="round"`)
	}
	if p.Dots {
		s.put(` stroke-linecap="round"`)
	}
	before := ` stroke-dasharray="`
	for _, v := range p.Dash {
		s.put(before, plain(v))
		before = " "
	}
	if len(p.Dash) > 0 {
		s.put(`"`)
	}
}

// num prints a place with one decimal.
func num(v float64) string { return strconv.FormatFloat(v, 'f', 1, 64) }

// plain prints a figure with the digits that it has.
func plain(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

// escaped returns s for use in text and attributes; what XML forbids becomes U+FFFD.
func escaped(s string) string {
	var b bytes.Buffer
	if xml.EscapeText(&b, []byte(s)) != nil { // a Buffer never fails
		return ""
	}
	return b.String()
}
