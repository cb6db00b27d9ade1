package paper

import (
	"undersheet/report/chart"
)

// title lays out the title of the document.
func (p *press) title(text string) part {
	f := face{size: 17, bold: true}
	lines := p.wrap(p.clean(text), f, textWidth)
	return part{least: height(lines, f), leads: true, print: func() {
		p.lines(lines, left, f)
		p.y += 6
	}}
}

// height is that of lines one under the other.
func height(lines []string, f face) float64 { return float64(len(lines)) * leading * f.size }

// beginning is the height of as many first lines as must stand together.
func beginning(lines []string, f face) float64 {
	if len(lines) > widowsUpTo {
		lines = lines[:leastLines]
	}
	return height(lines, f)
}

func (h Heading) lay(p *press) part {
	f, above, below := face{size: 12.5, bold: true}, 16.0, 6.0
	if h.Level > 1 {
		f, above, below = face{size: 11, bold: true}, 12.0, 3.0
	}
	text := p.clean(h.Text)
	lines := p.wrap(text, f, textWidth)
	return part{least: above + height(lines, f) + below, leads: true, print: func() {
		if p.y > top {
			p.y += above
		}
		p.depth = min(max(h.Level, 1), p.depth+1)
		p.pdf.Bookmark(text, p.depth-1, p.y)
		p.lines(lines, left, f)
		if h.Level <= 1 {
			p.rule(p.y+1, thickRule, inkUsual)
		}
		p.y += below
	}}
}

func (b Paragraph) lay(p *press) part {
	f := face{size: usualSize}
	switch b.Style {
	case Small:
		f = face{size: smallSize, grey: true}
	case Strong:
		f = face{size: 13, bold: true}
	}
	lines, below := p.wrap(p.clean(b.Text), f, textWidth), f.size*0.55
	return part{least: beginning(lines, f), whole: height(lines, f) + below, print: func() {
		p.lines(lines, left, f)
		p.y += below
	}}
}

func (c Caution) lay(p *press) part {
	const inside = 8.0
	f := face{size: usualSize}
	lines := p.wrap(p.clean(c.Text), f, textWidth-2*inside)
	whole := height(lines, f) + 2*inside
	return part{least: whole + 6, print: func() {
		p.y += 6
		for len(lines) > 0 { // each page has its own box
			p.room(leading*f.size + 2*inside)
			n := max(min(len(lines), int((bottom-p.y-2*inside)/(leading*f.size))), 1)
			boxed := height(lines[:n], f) + 2*inside
			p.pen(cautionRule, inkUsual)
			p.pdf.Rect(left, p.y, textWidth, boxed, "D")
			p.y += inside
			p.lines(lines[:n], left+inside, f)
			p.y += inside
			lines = lines[n:]
		}
		p.y += 8
	}}
}

func (l List) lay(p *press) part {
	const indent = 14.0
	f := face{size: 9.5}
	items := make([][]string, len(l))
	for i, text := range l {
		items[i] = p.wrap(p.clean(text), f, textWidth-indent)
	}
	least := 0.0
	if len(items) > 0 {
		least = beginning(items[0], f)
	}
	return part{least: least, print: func() {
		for _, lines := range items {
			p.room(beginning(lines, f))
			p.write(left+3, p.y, "•", f)
			p.lines(lines, left+indent, f)
			p.y += 2
		}
		p.y += 4
	}}
}

func (s Signatures) lay(p *press) part {
	const (
		above = 46.0 // room to sign
		gap   = 24.0
		each  = (textWidth - gap) / 2
	)
	f := face{size: smallSize}
	roles := make([][]string, len(s))
	for i, role := range s {
		roles[i] = p.wrap(p.clean(role), f, each)
	}
	row := func(i int) float64 {
		h := height(roles[i], f)
		if i+1 < len(roles) {
			h = max(h, height(roles[i+1], f))
		}
		return above + h
	}
	all := 0.0 // they stand together, as far as a page is long enough
	for i := 0; i < len(roles); i += 2 {
		all += row(i) + 2
	}
	return part{least: min(all, bottom-top), print: func() {
		for i := 0; i < len(roles); i += 2 {
			p.room(row(i))
			y, next := p.y+above, p.y+row(i)
			for j, lines := range roles[i:min(i+2, len(roles))] {
				x := left + float64(j)*(each+gap)
				p.pen(thickRule, inkUsual)
				p.pdf.Line(x, y, x+each, y)
				p.y = y + 2
				for _, line := range lines {
					p.write(x, p.y, line, f)
					p.y += leading * f.size
				}
			}
			p.y = next + 2
		}
		p.y += 6
	}}
}

func (b Picture) lay(p *press) part {
	const mostHeight = 0.6 * (bottom - top)
	f := face{size: smallSize, grey: true}
	w, h := b.Chart.Size()
	scale := min(textWidth/w, mostHeight/h)
	caption := p.wrap(p.clean(b.Caption), f, textWidth)
	if b.Caption == "" {
		caption = nil
	}
	return part{least: scale*h + beginning(caption, f) + 8, print: func() {
		p.y += 4
		p.draw(&b.Chart, scale)
		p.y += scale*h + 3
		p.lines(caption, left, f)
		p.y += 8
	}}
}

// draw draws a chart from the left margin on.
func (p *press) draw(c *chart.Chart, scale float64) {
	w, h := c.Size()
	p.pdf.ClipRect(left, p.y, scale*w, scale*h, false)
	c.Draw(&strokes{press: p, x: left, y: p.y, scale: scale})
	p.pdf.ClipEnd()
}
