package paper

import (
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"slices"
	"strings"

	"undersheet/report/chart"
)

//go:embed paper.html
var page string

// WriteHTML writes the document as one self-contained page that prints on A4: it holds
// its own style and drawings, runs nothing and loads nothing.
func (d *Document) WriteHTML(w io.Writer) error {
	t := template.New("paper")
	t.Funcs(template.FuncMap{"style": Style.class, "placed": placed, "svg": svg,
		"write": func(b Block) (template.HTML, error) {
			var s strings.Builder
			err := t.ExecuteTemplate(&s, b.page(), b)
			return template.HTML(s.String()), err
		}})
	if _, err := t.Parse(page); err != nil {
		return fmt.Errorf("read page of paper: %w", err)
	}
	if err := t.Execute(w, d); err != nil {
		return fmt.Errorf("write %q as a page: %w", d.Title, err)
	}
	return nil
}

// class is what a style is called on a page.
func (s Style) class() string {
	switch s {
	case Small:
		return "small"
	case Strong:
		return "strong"
	}
	return ""
}

// cell is a cell at its place in a row.
type cell struct {
	Cell
	Column
	first int // its first column
}

// longWord is from how many letters on a word of a cell may be broken.
const longWord = 25

// Class is what the cell is called on a page.
func (c cell) Class() string {
	var names []string
	words := strings.FieldsFunc(c.Text, func(r rune) bool { return r == ' ' || r == '\n' })
	switch long := func(w string) bool { return len([]rune(w)) >= longWord }; {
	case slices.ContainsFunc(words, long):
		names = append(names, "l")
	case len(words) == 1:
		names = append(names, "k")
	}
	if c.Right {
		names = append(names, "n")
	}
	if c.Wide > 1 {
		names = append(names, "w")
	}
	if c.Strong {
		names = append(names, "s")
	}
	return strings.Join(names, " ")
}

// placed puts the cells of a row into their columns. What spans several is not a figure
// of its column; what goes beyond the last is left out.
func placed(columns []Column, row []Cell) []cell {
	var out []cell
	at := 0
	for _, c := range row {
		if at >= len(columns) {
			break
		}
		p := cell{Cell: c, first: at}
		p.Span = min(max(c.Span, 1), len(columns)-at)
		if p.Span == 1 {
			p.Column = columns[at]
		}
		out = append(out, p)
		at += p.Span
	}
	return out
}

// svg draws a chart.
func svg(c chart.Chart) (template.HTML, error) {
	var b strings.Builder
	if err := c.WriteSVG(&b); err != nil {
		return "", fmt.Errorf("draw %s: %w", c.Title, err)
	}
	return template.HTML(b.String()), nil
}
