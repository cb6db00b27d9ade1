package paper

import "slices"

// Room in a table, in points.
const (
	cellSize  = 9.0
	leastCell = 7.0 // size of letters in a table that is too wide
	aside     = 4.0 // beside the text of a cell
	over      = 2.0 // over and under it
)

// grid is rows that were laid out in columns.
type grid struct {
	*press
	caption []string
	head    *row // nil = none
	rows    []row
	size    float64 // of letters
	ruled   bool    // a line under each row
	gap     float64 // below all
}

// row is one row: the lines of each cell.
type row struct {
	cells []laid
	lines int // of its highest cell
}

// laid is a cell at its place.
type laid struct {
	lines []string
	face  face
	x, w  float64
	right bool
}

func (t Table) lay(p *press) part {
	head := make([]Cell, len(t.Columns))
	for i, c := range t.Columns {
		head[i] = Cell{Text: p.clean(c.Title), Strong: true}
	}
	rows := make([][]cell, 0, len(t.Rows)+1)
	rows = append(rows, placed(t.Columns, head))
	for _, r := range t.Rows {
		r = slices.Clone(r)
		for i := range r {
			r[i].Text = p.clean(r[i].Text)
		}
		rows = append(rows, placed(t.Columns, r))
	}
	g := &grid{press: p, size: cellSize, ruled: true, gap: 10}
	if t.Caption != "" {
		g.caption = p.wrap(p.clean(t.Caption), face{size: cellSize, bold: true}, textWidth)
	}
	least, most := g.needs(len(t.Columns), rows)
	if need := sum(least); need > textWidth { // smaller letters rather than broken words
		bare := 2 * aside * float64(len(t.Columns)) // does not shrink
		g.size = max(cellSize*(textWidth-bare)/(need-bare), leastCell)
		least, most = g.needs(len(t.Columns), rows)
	}
	widths := shared(t.Columns, least, most)
	for i, r := range rows {
		made := g.row(r, widths)
		if i == 0 {
			g.head = &made
			continue
		}
		g.rows = append(g.rows, made)
	}
	return g.part()
}

func (t Terms) lay(p *press) part {
	g := &grid{press: p, size: 9.5, gap: 6}
	name := 0.0
	for _, x := range t {
		w, _ := p.widest(p.clean(x.Name), face{size: g.size})
		name = max(name, w+2*aside)
	}
	name = min(name, 0.42*textWidth)
	for _, x := range t {
		r := g.row([]cell{{Cell: Cell{Text: p.clean(x.Name), Span: 1}}, {Cell: Cell{Text: p.clean(x.Value), Span: 1}, first: 1}}, []float64{name, textWidth - name})
		r.cells[0].face.grey = true
		g.rows = append(g.rows, r)
	}
	return g.part()
}

// needs returns what each column needs at least, so that no word is broken, and at most,
// so that no line is.
func (g *grid) needs(columns int, rows [][]cell) (least, most []float64) {
	least, most = make([]float64, columns), make([]float64, columns)
	for _, r := range rows {
		for _, c := range r {
			if c.Span != 1 {
				continue
			}
			line, word := g.widest(c.Text, face{size: g.size, bold: c.Strong})
			least[c.first] = max(least[c.first], min(word, textWidth/3)+2*aside)
			most[c.first] = max(most[c.first], line+2*aside)
		}
	}
	return least, most
}

// shared parts the width of the page among columns.
func shared(columns []Column, least, most []float64) []float64 {
	widths := slices.Clone(least)
	if need := sum(least); need > textWidth {
		for i := range widths {
			widths[i] *= textWidth / need
		}
		return widths
	}
	spare := textWidth - sum(least)
	claims := make([]float64, len(columns))
	for i, c := range columns {
		claims[i] = most[i] - least[i]
		if c.Wide > 0 {
			claims[i] *= c.Wide
		}
	}
	// No column takes more than it can use while another lacks.
	for spare > 1e-6 && sum(claims) > 1e-6 {
		each, given := spare/sum(claims), 0.0
		for i := range claims {
			give := min(each*claims[i], most[i]-widths[i])
			widths[i], given = widths[i]+give, given+give
			if most[i]-widths[i] < 1e-6 {
				claims[i] = 0
			}
		}
		spare -= given
	}
	for i := range widths { // what nobody needs goes to all
		widths[i] *= textWidth / (textWidth - max(spare, 0))
	}
	return widths
}

func sum(vs []float64) float64 {
	s := 0.0
	for _, v := range vs {
		s += v
	}
	return s
}

// row lays out one row.
func (g *grid) row(cells []cell, widths []float64) row {
	r := row{lines: 1}
	for _, c := range cells {
		made := laid{face: face{size: g.size, bold: c.Strong}, x: left + sum(widths[:c.first]), w: sum(widths[c.first : c.first+c.Span]), right: c.Right}
		made.lines = g.wrap(c.Text, made.face, made.w-2*aside+0.01)
		r.lines = max(r.lines, len(made.lines))
		r.cells = append(r.cells, made)
	}
	return r
}

// tall is the height of so many lines of a row.
func (g *grid) tall(lines int) float64 { return float64(lines)*leading*g.size + 2*over }

func (g *grid) headHeight() float64 {
	if g.head == nil {
		return 0
	}
	return g.tall(g.head.lines)
}

// part lays out the whole: it begins where its head and its first row have room.
func (g *grid) part() part {
	captioned := face{size: cellSize, bold: true}
	least := height(g.caption, captioned) + g.headHeight()
	if len(g.rows) > 0 {
		least += g.tall(g.rows[0].lines)
	}
	return part{least: least, print: func() {
		g.lines(g.caption, left, captioned)
		g.begin()
		for i := range g.rows {
			g.print(&g.rows[i])
		}
		g.y += g.gap
	}}
}

// begin prints the head.
func (g *grid) begin() {
	if g.head == nil {
		return
	}
	g.some(g.head, 0, g.head.lines)
	g.rule(g.y, thickRule, inkUsual)
}

// print prints a row: whole, on the next page if it must be; in pieces where it is
// longer than a page.
func (g *grid) print(r *row) {
	body := bottom - top - g.headHeight()
	for from := 0; from < r.lines; {
		fit := min(r.lines-from, int((bottom-g.y-2*over)/(leading*g.size)))
		rest := g.tall(r.lines - from)
		if fit < 1 || rest > bottom-g.y && (rest <= body || fit < leastLines) {
			if g.fresh() {
				fit = 1 // a head as high as the page: go on nevertheless
			} else {
				g.newPage()
				g.begin()
				continue
			}
		}
		g.some(r, from, from+fit)
		from += fit
	}
	if g.ruled {
		g.rule(g.y, ruleWidth, inkRule)
	}
}

// fresh reports whether nothing but the head stands on the page.
func (g *grid) fresh() bool { return g.y <= top+g.headHeight() }

// some prints some lines of a row.
func (g *grid) some(r *row, from, to int) {
	for _, c := range r.cells {
		y := g.y + over
		for _, line := range c.lines[min(from, len(c.lines)):min(to, len(c.lines))] {
			x := c.x + aside
			if c.right {
				x = c.x + c.w - aside - g.width(line, c.face)
			}
			g.write(x, y, line, c.face)
			y += leading * g.size
		}
	}
	g.y += g.tall(to - from)
}
