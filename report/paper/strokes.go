package paper

import (
	"strconv"

	"undersheet/report/chart"
)

// strokes draws a chart onto a page: chart.Canvas.
type strokes struct {
	*press
	x, y  float64 // upper left corner of the chart
	scale float64 // points in a user unit
}

func (s *strokes) at(x, y float64) (float64, float64) { return s.x + s.scale*x, s.y + s.scale*y }

// Line implements chart.Canvas.
func (s *strokes) Line(x1, y1, x2, y2 float64, p chart.Pen) {
	s.take(p)
	x1, y1 = s.at(x1, y1)
	x2, y2 = s.at(x2, y2)
	s.pdf.Line(x1, y1, x2, y2)
}

// Rect implements chart.Canvas.
func (s *strokes) Rect(x, y, w, h float64, f chart.Fill, p chart.Pen) {
	x, y = s.at(x, y)
	if f.Ink != "" {
		if f.Opacity > 0 {
			s.pdf.SetAlpha(f.Opacity, "Normal")
			defer s.pdf.SetAlpha(1, "Normal")
		}
		s.pdf.SetFillColor(rgb(f.Ink))
		s.pdf.Rect(x, y, s.scale*w, s.scale*h, "F")
	}
	if p.Ink != "" {
		s.take(p)
		s.pdf.Rect(x, y, s.scale*w, s.scale*h, "D")
	}
}

// Path implements chart.Canvas.
func (s *strokes) Path(runs [][]chart.Point, f chart.Fill, p chart.Pen) {
	how := "D"
	if f.Ink != "" {
		s.pdf.SetFillColor(rgb(f.Ink))
		how = "F"
	}
	if p.Ink != "" {
		s.take(p)
	}
	for _, run := range runs {
		for i, point := range run {
			x, y := s.at(point.X, point.Y)
			if i == 0 || p.Dots {
				s.pdf.MoveTo(x, y)
			}
			if i > 0 || p.Dots {
				s.pdf.LineTo(x, y)
			}
		}
		if f.Ink != "" {
			s.pdf.ClosePath()
		}
	}
	s.pdf.DrawPath(how)
	s.pdf.SetLineCapStyle("butt")
	s.pdf.SetLineJoinStyle("miter")
}

// Text implements chart.Canvas.
func (s *strokes) Text(x, y float64, text string, t chart.Type) {
	f := face{size: t.Size, bold: t.Bold}
	if f.size <= 0 {
		f.size = chart.TextSize
	}
	f.size *= s.scale
	text = s.clean(text)
	x, y = s.at(x, y)
	switch t.Anchor {
	case chart.Middle:
		x -= s.width(text, f) / 2
	case chart.End:
		x -= s.width(text, f)
	}
	s.use(f)
	if t.Halo { // marked as no text, so that it is not read twice
		s.take(chart.Pen{Ink: "#ffffff", Width: chart.HaloWidth, Round: true})
		s.pdf.RawWriteStr("/Artifact BMC")
		s.pdf.SetTextRenderingMode(1)
		s.pdf.Text(x, y, text)
		s.pdf.SetTextRenderingMode(0)
		s.pdf.RawWriteStr("EMC")
		s.pdf.SetLineJoinStyle("miter")
	}
	ink := t.Ink
	if ink == "" {
		ink = chart.Ink
	}
	s.pdf.SetTextColor(rgb(ink))
	s.pdf.Text(x, y, text)
}

// take takes a pen.
func (s *strokes) take(p chart.Pen) {
	s.pdf.SetDrawColor(rgb(p.Ink))
	if p.Width <= 0 {
		p.Width = 1
	}
	s.pdf.SetLineWidth(s.scale * p.Width)
	dash := make([]float64, len(p.Dash))
	for i, v := range p.Dash {
		dash[i] = s.scale * v
	}
	s.pdf.SetDashPattern(dash, 0)
	if p.Round {
		s.pdf.SetLineJoinStyle("round")
	}
	if p.Dots {
		s.pdf.SetLineCapStyle("round")
	}
}

// rgb reads a colour "#rrggbb"; what is none is black.
func rgb(ink string) (r, g, b int) {
	if len(ink) != 7 {
		return 0, 0, 0
	}
	v, err := strconv.ParseUint(ink[1:], 16, 32)
	if err != nil {
		return 0, 0, 0
	}
	return int(v >> 16), int(v >> 8 & 0xff), int(v & 0xff)
}
