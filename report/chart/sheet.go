package chart

import (
	"io"
	"math"
	"strings"
)

// Sheet is several charts under one title, with words: a picture that stands alone.
type Sheet struct {
	ID     string // starts the ids inside the SVG
	Title  string
	Words  []string // paragraphs under the title
	Panels []Panel
	Width  float64 // user units; 0 = 760. Charts are drawn to it
}

// Panel is one chart of a sheet.
type Panel struct {
	Chart
	Caption string // under the chart: what its letters and lines mean
}

// Room on a sheet, in user units.
const (
	usualWidth = 760.0
	margin     = 16.0
	lineHeight = 1.3 * TextSize
	titleSize  = 20.0
)

// WriteSVG writes the sheet as one svg element, black on white.
func (s *Sheet) WriteSVG(w io.Writer) error {
	width := s.Width
	if width <= 0 {
		width = usualWidth
	}
	left := 0.0
	for i := range s.Panels {
		c := &s.Panels[i].Chart
		if c.Height <= 0 {
			c.Height = 260
		}
		c.Width = width - 2*margin
		left = math.Max(left, newDrawing(c).left)
	}
	var body svg
	y := margin + titleSize
	write := func(words string, t Type) {
		t.Anchor = Start
		body.Text(margin, y, words, t)
		y += lineHeight
	}
	write(s.Title, Type{Bold: true, Size: titleSize})
	for _, p := range s.Words {
		for _, line := range wrapped(p, width-2*margin) {
			write(line, Type{})
		}
	}
	for _, p := range s.Panels {
		c := p.Chart
		c.left = left
		y += lineHeight
		write(c.Title, Type{Bold: true})
		body.chart(newDrawing(&c), ` x="`+num(margin)+`" y="`+num(y-TextSize/2)+`" width="`+num(c.Width)+`" height="`+num(c.Height)+`"`)
		y += c.Height + TextSize/2
		for _, line := range wrapped(p.Caption, width-2*margin) {
			write(line, Type{})
		}
	}
	id := escaped(s.ID)
	var out svg
	out.put(`<svg xmlns="http://www.w3.org/2000/svg" width="`, num(width), `" height="`, num(y+margin), `" viewBox="0 0 `, num(width), " ", num(y+margin),
		`" role="img" aria-labelledby="`, id, `-t" font-family="sans-serif" font-size="`, num(TextSize), `" fill="`, Ink, "\">\n",
		`<title id="`, id, `-t">`, escaped(s.Title), "</title>\n", `<rect width="100%" height="100%" fill="#ffffff"/>`, "\n", body.b.String(), "</svg>\n")
	_, err := w.Write(out.b.Bytes())
	return err
}

// wrapped breaks words into lines that fit a width, as far as letters can be guessed.
func wrapped(words string, width float64) []string {
	var lines []string
	line := ""
	for _, word := range strings.Fields(words) {
		if line != "" && letter*float64(len([]rune(line))+1+len([]rune(word))) > width {
			lines, line = append(lines, line), ""
		}
		if line != "" {
			line += " "
		}
		line += word
	}
	if line != "" {
		lines = append(lines, line)
	}
	return lines
}
