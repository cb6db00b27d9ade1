package efficacy

import (
	_ "embed" // the tables
	"encoding/csv"
	"fmt"
	"math"
	"strconv"
	"strings"

	"undersheet/rules/dose"
)

//go:embed published.csv
var publishedCSV string

//go:embed shortest.csv
var shortestCSV string

// The tables, read once and never changed. The tests read them too, so that broken
// ones cannot be shipped.
var (
	rows      = must(readRows(publishedCSV))
	exposures = must(readShortest(shortestCSV))
)

func must[T any](v T, err error) T {
	if err != nil {
		panic(fmt.Sprintf("embedded published figures: %v", err))
	}
	return v
}

// Row is a time at a concentration, as published.
type Row struct {
	Insect, Stage string
	TempC         *float64 // of the grain, °C; nil = not stated
	Level         float64  // in Unit
	Unit          string   // ppm or mg/L
	Hours         float64
	Mortality     float64 // %; 0 = not stated
	Grade, Source string
}

// mgPerL is a unit of the table: 1 mg/L is 1 g/m³.
const mgPerL = "mg/L"

// Results of holding an exposure against a row.
const (
	Reached    = "reached"
	NotReached = "not-reached"
	TooCold    = "too-cold" // the grain is colder than in the trial: the row says nothing
)

// Against is an exposure held against a row.
type Against struct {
	Row
	PPM    float64 // Level at the grain's temperature
	Held   float64 // hours for which the weakest line held it
	Line   string  // that line
	Result string
}

// Published holds the exposure against every published row.
func (e *Exposure) Published() []Against {
	out := make([]Against, 0, len(rows))
	for _, r := range rows {
		a := Against{Row: r, Result: NotReached}
		a.PPM = r.Level
		if r.Unit == mgPerL {
			a.PPM = r.Level * 1000 / dose.MgPerPPM(e.TempC, dose.StandardKPa)
		}
		a.Held, a.Line = e.held(a.PPM)
		switch {
		case r.TempC != nil && e.TempC < *r.TempC:
			a.Result = TooCold
		case a.Held >= r.Hours:
			a.Result = Reached
		}
		out = append(out, a)
	}
	return out
}

// held returns for how many hours on end every line held at least ppm, and the line
// that held it least. An hour that was not read adds nothing and breaks nothing; one
// that was read below ppm breaks.
func (e *Exposure) held(ppm float64) (hours float64, line string) {
	hours = math.Inf(1)
	for i := range e.Lines {
		longest, run := 0.0, 0.0
		for h := range e.Lines[i].Hours {
			if mean, ok := e.Lines[i].mean(h); ok && mean < ppm {
				run = 0
			} else if ok {
				run += math.Min(e.Lines[i].Hours[h].Read, 1)
			}
			longest = math.Max(longest, run)
		}
		if longest < hours {
			hours, line = longest, e.Lines[i].Name
		}
	}
	if math.IsInf(hours, 0) {
		return 0, ""
	}
	return hours, line
}

// readRows reads the published rows. An error says which row is wrong.
func readRows(text string) ([]Row, error) {
	var out []Row
	err := table(text, func(f map[string]string) error {
		r := Row{Insect: f["insect"], Stage: f["stage"], Grade: f["grade"], Source: f["source"]}
		temp, err := optional(f["temp_c"])
		if err != nil {
			return err
		}
		r.TempC = temp
		level, unit := f["ppm"], "ppm"
		if level == "" {
			level, unit = f["mg_per_l"], mgPerL
		} else if f["mg_per_l"] != "" {
			return fmt.Errorf("both ppm and mg_per_l are set")
		}
		r.Unit = unit
		if r.Level, err = positive(level); err != nil {
			return err
		}
		if r.Hours, err = positive(f["time"]); err != nil {
			return err
		}
		switch f["unit"] {
		case "d":
			r.Hours *= 24
		case "h":
		default:
			return fmt.Errorf("unit %q is neither d nor h", f["unit"])
		}
		if m, err := optional(f["mortality_pct"]); err != nil {
			return err
		} else if m != nil {
			r.Mortality = *m
		}
		out = append(out, r)
		return nil
	})
	return out, err
}

// Shortest is a published shortest exposure for a purpose at a temperature.
type Shortest struct {
	Purpose       string
	FromC, AboveC *float64 // the coldest grain for which it holds; above which it must be; nil = no such bound
	Days          float64  // 0 = phosphine is not effective
	Grade, Source string
}

// ShortestAt returns the published shortest exposures for grain at tempC, one a
// purpose; a purpose without a figure there is left out.
func ShortestAt(tempC float64) []Shortest {
	var out []Shortest
	for _, s := range exposures {
		holds := (s.FromC == nil || tempC >= *s.FromC) && (s.AboveC == nil || tempC > *s.AboveC)
		if n := len(out); holds && (n == 0 || out[n-1].Purpose != s.Purpose) {
			out = append(out, s)
		}
	}
	return out
}

// GrainHours returns the shortest exposure that is published for grain at tempC, in
// hours. Where phosphine is not effective it is the longest that is published: that is
// no promise that it works there.
func GrainHours(tempC float64) float64 {
	longest := 0.0
	for _, s := range exposures {
		if s.Purpose == grain {
			longest = math.Max(longest, s.Days)
		}
	}
	for _, s := range ShortestAt(tempC) {
		if s.Purpose == grain && s.Days > 0 {
			longest = s.Days
		}
	}
	return 24 * longest
}

// grain is the purpose of the rows that speak of grain in general.
const grain = "grain"

// readShortest reads the table; rows of one purpose stand together, the hottest first.
func readShortest(text string) ([]Shortest, error) {
	var out []Shortest
	err := table(text, func(f map[string]string) (err error) {
		s := Shortest{Purpose: f["purpose"], Grade: f["grade"], Source: f["source"]}
		if s.FromC, err = optional(f["from_c"]); err != nil {
			return err
		}
		if s.AboveC, err = optional(f["above_c"]); err != nil {
			return err
		}
		if s.Days, err = strconv.ParseFloat(f["days"], 64); err != nil || !(s.Days >= 0) {
			return fmt.Errorf("days %q is no number from 0 on", f["days"])
		}
		out = append(out, s)
		return nil
	})
	return out, err
}

// table reads a table with a head line, and gives every row by the names of its columns.
func table(text string, take func(map[string]string) error) error {
	r := csv.NewReader(strings.NewReader(text))
	r.Comment = '#'
	lines, err := r.ReadAll()
	if err != nil {
		return fmt.Errorf("read table: %w", err)
	}
	for i, l := range lines[1:] {
		f := map[string]string{}
		for k, name := range lines[0] {
			f[name] = l[k]
		}
		if f["source"] == "" || f["grade"] != "V" && f["grade"] != "V2" {
			return fmt.Errorf("row %d has no source, or no grade V or V2", i+1)
		}
		if err := take(f); err != nil {
			return fmt.Errorf("row %d: %w", i+1, err)
		}
	}
	return nil
}

func optional(text string) (*float64, error) {
	if text == "" {
		return nil, nil
	}
	v, err := strconv.ParseFloat(text, 64)
	if err != nil {
		return nil, fmt.Errorf("%q is no number", text)
	}
	return &v, nil
}

func positive(text string) (float64, error) {
	v, err := strconv.ParseFloat(text, 64)
	if err != nil || !(v > 0) {
		return 0, fmt.Errorf("%q is no number above 0", text)
	}
	return v, nil
}
