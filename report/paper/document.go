package paper

import (
	"undersheet/logbook"
	"undersheet/report/chart"
)

// Document is what goes on paper.
type Document struct {
	Title   string       // stands on top, and in the file's properties
	Subject string       // for the file's properties: what the document is about
	Lang    string       // BCP 47 code of the texts' language: "en", "fr"
	Author  string       // who publishes it: the site
	Made    logbook.Time // the event that the document tells up to, never a clock's time
	Foot    string       // short line at the foot of each page: site, treatment, hash
	Blocks  []Block      // in the order of reading, after the title
}

// Block is one part of a document.
type Block interface {
	page() string      // name of its template on a page
	lay(p *press) part // how it is laid out on paper
}

// Heading begins a part of the document.
type Heading struct {
	Level int // 1 = a part, 2 = a part of a part; the title stands above them
	Text  string
}

// Style is how the text of a paragraph looks.
type Style int

// The styles of paragraphs.
const (
	Normal Style = iota
	Small        // for notes and sources
	Strong       // for the one thing to be seen first
)

// Paragraph is running text.
type Paragraph struct {
	Text  string
	Style Style
}

// Caution is text in a box, for what must not be missed.
type Caution struct{ Text string }

// Terms are names with their values.
type Terms []Term

// Term is a name with its value.
type Term struct{ Name, Value string }

// Table is rows under the titles of their columns, which stand again on each page.
type Table struct {
	Caption string // "" = none
	Columns []Column
	Rows    [][]Cell
}

// Column is a column of a table.
type Column struct {
	Title string
	Right bool    // figures: aligned to the right
	Wide  float64 // weight of its claim on the width against the other columns; 0 = 1
}

// Cell is one cell of a row.
type Cell struct {
	Text   string
	Strong bool
	Span   int // columns that it takes; 0 = 1
}

// Row makes a row of plain cells.
func Row(texts ...string) []Cell {
	row := make([]Cell, len(texts))
	for i, t := range texts {
		row[i].Text = t
	}
	return row
}

// Picture is a chart with words under it. The ids of the charts of a document differ.
type Picture struct {
	Chart   chart.Chart
	Caption string // what its letters and lines mean; "" = none
}

// List is short texts one under the other.
type List []string

// Signatures are lines to sign on, each for one role.
type Signatures []string

func (Heading) page() string    { return "heading" }
func (Paragraph) page() string  { return "paragraph" }
func (Caution) page() string    { return "caution" }
func (Terms) page() string      { return "terms" }
func (Table) page() string      { return "table" }
func (Picture) page() string    { return "picture" }
func (List) page() string       { return "list" }
func (Signatures) page() string { return "signatures" }
