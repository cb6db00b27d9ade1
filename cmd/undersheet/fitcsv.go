package main

import (
	"bufio"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"sort"
	"strconv"
	"strings"
	"time"
)

// fitReadings are the readings of one stack, in order of time.
type fitReadings struct {
	dosed time.Time // zero where the file gives hours and --dosed is not set
	lines []string  // names, in order of appearance; one empty name without a column for it
	rows  []fitReading
}

type fitReading struct {
	hours float64 // since dosing
	line  int
	ppm   float64
}

// last is the time of the last reading, in hours.
func (rs fitReadings) last() float64 { return rs.rows[len(rs.rows)-1].hours }

// sinceDosing drops readings from before the dosing and says how many.
func (rs fitReadings) sinceDosing() (fitReadings, int) {
	n := sort.Search(len(rs.rows), func(i int) bool { return rs.rows[i].hours >= 0 })
	rs.rows = rs.rows[n:]
	return rs, n
}

// maxFitFaults is how many faults of a file are told at once.
const maxFitFaults = 10

// fitTable reads the CSV of the command "fit".
type fitTable struct {
	name             string
	csv              *csv.Reader
	time, line, ppm  int // columns; line is -1 without one
	dosed            time.Time
	dosedSet         bool
	hours, clockTime int // where either form of time was first seen: the line in the file
	mixed            bool
	out              fitReadings
	faults           []error
}

// readFitReadings reads columns time,ppm or time,line,ppm. dosed is RFC 3339, or
// empty where times are hours since dosing. Faults name file, line and column;
// up to ten are told at once, and none of the readings is used then.
func readFitReadings(name string, in io.Reader, dosed string) (fitReadings, error) {
	t := &fitTable{name: name}
	if dosed != "" {
		d, err := time.Parse(time.RFC3339, dosed)
		if err != nil {
			return fitReadings{}, fmt.Errorf("read --dosed: %q is no time like 2026-03-01T08:00:00Z", dosed)
		}
		t.dosed, t.dosedSet, t.out.dosed = d, true, d
	}
	buf := bufio.NewReader(in)
	if mark, err := buf.Peek(3); err == nil && string(mark) == "\ufeff" {
		buf.Discard(3) // byte order mark of a spreadsheet
	}
	t.csv = csv.NewReader(buf)
	t.csv.Comment, t.csv.TrimLeadingSpace, t.csv.ReuseRecord = '#', true, true
	if err := t.header(); err != nil {
		return fitReadings{}, err
	}
	t.body()
	if len(t.faults) > 0 {
		return fitReadings{}, errors.Join(t.faults...)
	}
	if len(t.out.rows) == 0 {
		return fitReadings{}, fmt.Errorf("%s: no readings after the line of column names: add one reading a line", name)
	}
	sort.SliceStable(t.out.rows, func(i, j int) bool { return t.out.rows[i].hours < t.out.rows[j].hours })
	return t.out, nil
}

// fault notes what is wrong with a field of the current record.
func (t *fitTable) fault(field int, format string, args ...any) {
	line, col := t.csv.FieldPos(field)
	t.faults = append(t.faults, fmt.Errorf("%s:%d:%d: %s", t.name, line, col, fmt.Sprintf(format, args...)))
}

// header finds the columns.
func (t *fitTable) header() error {
	const want = "the first line must name the columns: time,ppm or time,line,ppm"
	rec, err := t.csv.Read()
	if err == io.EOF {
		return fmt.Errorf("%s: the file is empty: %s", t.name, want)
	}
	if err != nil {
		return t.syntax(err)
	}
	t.time, t.line, t.ppm = -1, -1, -1
	at := map[string]*int{"time": &t.time, "line": &t.line, "ppm": &t.ppm}
	for i, f := range rec {
		c := at[strings.ToLower(strings.TrimSpace(f))]
		switch {
		case c == nil:
			t.fault(i, "column %q is not known: %s", f, want)
		case *c >= 0:
			t.fault(i, "column %q is there twice: %s", f, want)
		default:
			*c = i
		}
	}
	for _, name := range []string{"time", "ppm"} {
		if *at[name] < 0 && len(t.faults) == 0 {
			t.fault(0, "column %q is missing: %s", name, want)
		}
	}
	return errors.Join(t.faults...)
}

// syntax words an error of the CSV reader.
func (t *fitTable) syntax(err error) error {
	var p *csv.ParseError
	if !errors.As(err, &p) {
		return fmt.Errorf("read %s: %w", t.name, err)
	}
	if errors.Is(err, csv.ErrFieldCount) {
		return fmt.Errorf("%s:%d:1: the line has another number of fields than the first: write decimals with a point, and quote a name that holds a comma", t.name, p.Line)
	}
	return fmt.Errorf("%s:%d:%d: %w: mend the quotes of this line", t.name, p.Line, p.Column, p.Err)
}

// body reads the readings.
func (t *fitTable) body() {
	lines := map[string]int{}
	for len(t.faults) < maxFitFaults {
		rec, err := t.csv.Read()
		if err == io.EOF {
			return
		}
		if err != nil {
			t.faults = append(t.faults, t.syntax(err))
			if !errors.Is(err, csv.ErrFieldCount) {
				return
			}
			continue
		}
		r := fitReading{}
		if t.line >= 0 {
			name := strings.TrimSpace(rec[t.line])
			if name == "" {
				t.fault(t.line, "the line has no name: say where it ends, for example north top")
			}
			r.line = t.place(lines, name)
		} else {
			r.line = t.place(lines, "")
		}
		okTime, okPPM := t.readTime(rec[t.time], &r), t.readPPM(rec[t.ppm], &r)
		if okTime && okPPM {
			t.out.rows = append(t.out.rows, r)
		}
	}
}

// place returns the number of a line by its name.
func (t *fitTable) place(lines map[string]int, name string) int {
	i, ok := lines[name]
	if !ok {
		i = len(t.out.lines)
		lines[name] = i
		t.out.lines = append(t.out.lines, name)
	}
	return i
}

// readPPM reads a concentration.
func (t *fitTable) readPPM(field string, r *fitReading) bool {
	v, err := strconv.ParseFloat(strings.TrimSpace(field), 64)
	switch {
	case err != nil || math.IsNaN(v) || math.IsInf(v, 0):
		t.fault(t.ppm, "ppm %q is no number: write it like 412 or 0.3, and leave out lines without a reading", field)
		return false
	case math.Abs(v) > 1e6:
		t.fault(t.ppm, "ppm %q is no concentration: 1,000,000 ppm would be pure gas", field)
		return false
	}
	r.ppm = v
	return true
}

// readTime reads a time as hours since dosing.
func (t *fitTable) readTime(field string, r *fitReading) bool {
	field = strings.TrimSpace(field)
	line, _ := t.csv.FieldPos(t.time)
	if v, err := strconv.ParseFloat(field, 64); err == nil && !math.IsNaN(v) && !math.IsInf(v, 0) {
		if t.hours == 0 {
			t.hours = line
		}
		r.hours = v
	} else if at, err := time.Parse(time.RFC3339, field); err == nil {
		if t.clockTime == 0 {
			t.clockTime = line
		}
		if !t.dosedSet {
			if t.clockTime < line { // once is enough
				return false
			}
			t.fault(t.time, "time %q is a time of day: say when the dosing was done, for example --dosed 2026-03-01T08:00:00Z", field)
			return false
		}
		r.hours = at.Sub(t.dosed).Hours()
	} else {
		t.fault(t.time, "time %q is neither a time with a zone like 2026-03-01T14:00:00Z nor hours since dosing", field)
		return false
	}
	if t.hours > 0 && t.clockTime > 0 {
		if t.mixed { // once is enough
			return false
		}
		t.mixed = true
		t.fault(t.time, "time %q: line %d gives hours since dosing and line %d a time of day: use one form in the whole file", field, t.hours, t.clockTime)
		return false
	}
	if math.Abs(r.hours) > 24*400 {
		t.fault(t.time, "time %q is more than 400 days from the dosing: check it, and --dosed", field)
		return false
	}
	return true
}
