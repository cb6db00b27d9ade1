package main

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"strings"
)

// figure is one number of the bench with what it should be.
type figure struct {
	table, row, column string
	value              float64
	target             *target
}

// target bounds a figure; NaN = no bound on that side.
type target struct{ least, most float64 }

func atMost(x float64) *target    { return &target{math.NaN(), x} }
func atLeast(x float64) *target   { return &target{x, math.NaN()} }
func within(a, b float64) *target { return &target{a, b} }
func (t *target) met(v float64) bool {
	return !(v < t.least) && !(v > t.most) && !math.IsNaN(v)
}

// String is the target as the table shows it.
func (t *target) String() string {
	switch {
	case math.IsNaN(t.least):
		return fmt.Sprintf("≤%.4g", t.most)
	case math.IsNaN(t.most):
		return fmt.Sprintf("≥%.4g", t.least)
	}
	return fmt.Sprintf("%.4g–%.4g", t.least, t.most)
}

// ok reports whether a figure is as it should be; one without a target is.
func (f figure) ok() bool { return f.target == nil || f.target.met(f.value) }

// cell is a figure in a table: its value, its target and whether that is met.
func (f figure) cell() string {
	v := fmt.Sprintf("%.3g", f.value)
	switch {
	case math.IsNaN(f.value):
		v = "–"
	case math.IsInf(f.value, 1):
		v = "never"
	}
	if f.target == nil {
		return v
	}
	mark := "ok"
	if !f.ok() {
		mark = "NOT"
	}
	return fmt.Sprintf("%s %v %s", v, f.target, mark)
}

// MarshalJSON writes a figure for programs; a value that is no number is null.
func (f figure) MarshalJSON() ([]byte, error) {
	num := func(x float64) *float64 {
		if math.IsNaN(x) || math.IsInf(x, 0) {
			return nil
		}
		return &x
	}
	out := struct {
		Table  string   `json:"table"`
		Row    string   `json:"row"`
		Column string   `json:"column"`
		Value  *float64 `json:"value"`
		Least  *float64 `json:"least,omitempty"`
		Most   *float64 `json:"most,omitempty"`
		OK     *bool    `json:"ok,omitempty"`
	}{Table: f.table, Row: f.row, Column: f.column, Value: num(f.value)}
	if f.target != nil {
		ok := f.ok()
		out.Least, out.Most, out.OK = num(f.target.least), num(f.target.most), &ok
	}
	return json.Marshal(out)
}

// names lists what of gives for figures, each once, in order.
func names(fs []figure, of func(figure) string) []string {
	var out []string
	seen := map[string]bool{}
	for _, f := range fs {
		if n := of(f); !seen[n] {
			seen[n], out = true, append(out, n)
		}
	}
	return out
}

// show prints figures as tables.
func show(w io.Writer, fs []figure) error {
	var b strings.Builder
	for _, table := range names(fs, func(f figure) string { return f.table }) {
		var of []figure
		for _, f := range fs {
			if f.table == table {
				of = append(of, f)
			}
		}
		showTable(&b, table, of)
	}
	_, err := io.WriteString(w, b.String())
	return err
}

// showTable prints one table, every column as wide as its widest cell.
func showTable(b *strings.Builder, title string, fs []figure) {
	rows := names(fs, func(f figure) string { return f.row })
	columns := names(fs, func(f figure) string { return f.column })
	grid := [][]string{append([]string{title}, columns...)}
	for _, r := range rows {
		line := append([]string{"  " + r}, make([]string, len(columns))...)
		for _, f := range fs {
			for c, name := range columns {
				if f.row == r && f.column == name {
					line[c+1] = f.cell()
				}
			}
		}
		grid = append(grid, line)
	}
	width := make([]int, len(columns)+1)
	for _, line := range grid {
		for c, s := range line {
			width[c] = max(width[c], len([]rune(s)))
		}
	}
	for _, line := range grid {
		for c, s := range line {
			pad := strings.Repeat(" ", width[c]-len([]rune(s)))
			if c == 0 {
				b.WriteString(s + pad)
			} else {
				b.WriteString("  " + pad + s)
			}
		}
		b.WriteString("\n")
	}
	b.WriteString("\n")
}
