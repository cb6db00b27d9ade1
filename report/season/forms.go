package season

import (
	"bytes"
	"fmt"
	"io"
	"strings"
	"time"

	"undersheet/report"
)

// Schema names the JSON form of a [Season]. It changes when a field changes its meaning or
// goes; fields may come without a change.
const Schema = "undersheet-season/1"

// Write writes the summary in one of [report.Forms], in words of a language where it has
// words.
func (s *Season) Write(w io.Writer, form, lang string) error {
	switch form {
	case "html":
		return s.Document(lang).WriteHTML(w)
	case "pdf":
		return s.Document(lang).WritePDF(w)
	case "csv":
		return s.WriteCSV(w)
	case "json":
		return s.WriteJSON(w)
	}
	return fmt.Errorf("write season: %q is no form of it: want %s", form, strings.Join(report.Forms(), ", "))
}

// daysBetween stands between the days of a period in a statement.
const daysBetween = ".."

// Statement says in one line what the summary was made of, for `verify --report`: a log,
// its entries and their hash, and the days of the period.
func (s *Season) Statement(lang string) string {
	day := func(at time.Time) string { return at.In(s.Zone).Format(time.DateOnly) }
	return report.Statement{Source: s.Source, Season: day(s.From.Std()) + daysBetween + day((s.To - 1).Std()), Lang: lang}.String()
}

// PeriodOf reads the days of a statement's season.
func PeriodOf(s report.Statement) (Period, error) {
	from, to, _ := strings.Cut(s.Season, daysBetween)
	p := Period{From: from, To: to}
	return p, p.Check()
}

// object is the JSON form: what is kept, and what follows from it.
type object struct {
	Schema   string `json:"schema"`
	Stated   string `json:"statement"`
	Timezone string `json:"timezone"`
	*Season
	Held   held    `json:"held"`
	Sheets []Sheet `json:"sheets"`
	Leads  []Lead  `json:"forecasts"`
	Lost   []lost  `json:"days_lost"`
}

// held is the share of treatments that held, with the bounds that hold it with
// [Confidence].
type held struct {
	Proportion
	Low  float64 `json:"p025"`
	High float64 `json:"p975"`
}

// lost is what one treatment lost, in days.
type lost struct {
	Treatment string  `json:"treatment"`
	Over      float64 `json:"over_the_plan_d"`
	Slow      float64 `json:"airing_over_the_least_d"`
}

// WriteJSON writes the summary as one JSON object (RFC 8259): units stand in the names,
// times are RFC 3339 in UTC, shares are fractions of 1; no words but those of the log.
func (s *Season) WriteJSON(w io.Writer) error {
	kept := *s
	kept.Treatments, kept.Stock, kept.Moves, kept.Leaks, kept.Alarms.Kinds = list(s.Treatments), list(s.Stock), list(s.Moves), list(s.Leaks), list(s.Alarms.Kinds)
	leads, _ := s.Forecasts()
	o := object{Schema: Schema, Stated: s.Statement("en"), Timezone: s.Zone.String(), Season: &kept, Held: held{Proportion: s.Held()}, Sheets: list(s.Sheets()), Leads: list(leads), Lost: []lost{}}
	o.Held.Low, o.Held.High = o.Held.Interval()
	for i := range s.Treatments {
		if x := &s.Treatments[i]; x.Aired != 0 {
			o.Lost = append(o.Lost, lost{x.Name, x.Over(), x.Slow()})
		}
	}
	return report.WriteObject(w, &o)
}

// list makes a list that is empty of one that is not there.
func list[T any](x []T) []T { return append([]T{}, x...) }

// Tells reports whether the other summary, of the same days, says nothing else than this
// one but of which entries it was made.
func (s *Season) Tells(other *Season) (same bool, err error) {
	var texts [2]bytes.Buffer
	for i, x := range []*Season{s, other} {
		y := *x
		y.Source, y.Entries, y.Made = report.Source{}, 0, 0
		if err := y.WriteJSON(&texts[i]); err != nil {
			return false, err
		}
	}
	return bytes.Equal(texts[0].Bytes(), texts[1].Bytes()), nil
}
