package form

import (
	"fmt"
	"net/url"
	"slices"
	"time"

	"undersheet/logbook"
	"undersheet/rules"
)

// Sort is how a field is filled in.
type Sort string

// Sorts of fields.
const (
	Text   Sort = "text"   // one line
	Long   Sort = "long"   // several lines
	Number Sort = "number" // decimal point or decimal comma
	Whole  Sort = "whole"  // a whole number
	Choice Sort = "choice" // one of Field.Choices
	Yes    Sort = "yes"    // ticked or not
	Moment Sort = "moment" // local time of the site; empty = now
	Day    Sort = "day"    // a date
	Length Sort = "length" // seconds
	Hidden Sort = "hidden"
	JSON   Sort = "json"  // one JSON object
	Names  Sort = "names" // names with commas between them; gives a list
)

// Field is one field of a form.
type Field struct {
	Name     string   // in the form; that of the act's JSON field, unless Covers is set
	Covers   []string // JSON fields that its choice fills; nil: Name alone
	Label    string   // this and what follows: see Worded
	Hint     string   // what to write, and why
	Unit     string   // of a number
	Sort     Sort
	Needed   bool     // the form refuses to go without it
	Signed   bool     // a number that may be negative
	Least    float64  // of a number, with Most
	Most     float64  // a number outside Least to Most is a slip of the pen; 0 = no such bounds
	Suggest  []Option // what people often write there
	Choices  []Option
	Preset   string // what stands in it at first
	Longest  int    // runes; 0 = 200
	Advanced bool   // seldom filled in
	Asks     string // of a whole number above 0: the earlier field that must then say AsksFor; empty = none
	AsksFor  string
	Adds     bool // its choice is one more item of the lists that it covers
}

// Option is one choice of a field.
type Option struct {
	Value string // sent; for a field with Covers, the fields that it fills as a query string
	Label string
	Group string // heading over it; empty = none
}

// Of returns the JSON fields that the field fills.
func (f *Field) Of() []string {
	if f.Covers != nil {
		return f.Covers
	}
	return []string{f.Name}
}

// Depot is what a form needs to know of the place.
type Depot struct {
	View *rules.View
	Now  time.Time      // by the depot's clock
	Zone *time.Location // of the site
	Lang string         // of sentences; empty = en
}

// Form is the form of one kind of act.
type Form struct {
	Kind   logbook.Kind
	Title  string // what was done: "Airing started"
	Button string // on it: "Record that airing started"
	Fields []Field
	depot  Depot
	check  func(d Depot, e logbook.Acting) []Fault
	kept   map[string]any          // of an act that is corrected: what it holds beside the fields
	times  map[string]logbook.Time // of an act that is corrected: its times, by field and the text shown for them, which lacks parts of a second and may stand for two hours
}

// Fault is what is wrong with one field; Field is empty when it is of the whole form.
type Fault struct{ Field, Text string }

// New returns the form of an act. A kind that is no act is an error.
func New(kind logbook.Kind, d Depot) (*Form, error) {
	s, ok := sheets[kind]
	if !ok {
		return nil, fmt.Errorf("make form: %q is no act; acts are %v", kind, logbook.ActKinds)
	}
	if d.Zone == nil {
		d.Zone = time.UTC
	}
	f := &Form{Kind: kind, Title: Title(d.Lang, kind), Button: Button(d.Lang, kind), depot: d, check: s.check}
	f.Fields = Worded(d.Lang, string(kind), append(s.fields(d), common(d)...), "{zone}", d.Zone.String())
	return f, nil
}

// Field returns the field of that name; nil when there is none.
func (f *Form) Field(name string) *Field {
	for i := range f.Fields {
		if f.Fields[i].Name == name {
			return &f.Fields[i]
		}
	}
	return nil
}

// Fill presets fields from a query: by a field's own name, or, for a field that
// covers several, by theirs. What the form does not have, and what cannot be
// chosen, is left out.
func (f *Form) Fill(q url.Values) {
	for i := range f.Fields {
		x := &f.Fields[i]
		switch {
		case x.Sort == Choice && x.Covers != nil && !q.Has(x.Name):
			x.fillPlace(q)
		case x.Sort == Choice:
			if v := q.Get(x.Name); slices.ContainsFunc(x.Choices, func(o Option) bool { return o.Value == v }) {
				x.Preset = v
			}
		case x.Sort != Hidden && q.Has(x.Name):
			x.Preset = q.Get(x.Name)
		}
	}
}

// fillPlace presets the choice that agrees with all that the query names; when
// none or several do, nothing is preset.
func (f *Field) fillPlace(q url.Values) {
	found, n := "", 0
	for _, o := range f.Choices {
		parts, err := url.ParseQuery(o.Value)
		agrees := err == nil
		for _, name := range f.Covers {
			agrees = agrees && (!q.Has(name) || q.Get(name) == parts.Get(name))
		}
		if agrees {
			found = o.Value
			n++
		}
	}
	if n == 1 {
		f.Preset = found
	}
}

// Narrow leaves of a field's choices only the one that is preset: what stands
// beside the form is about that one.
func (f *Form) Narrow(name string) {
	if x := f.Field(name); x != nil && x.Preset != "" {
		x.Choices = slices.DeleteFunc(x.Choices, func(o Option) bool { return o.Value != x.Preset })
	}
}

// common are the fields of every act.
func common(d Depot) []Field {
	return []Field{
		{Name: "time", Sort: Moment},
		{Name: "by", Sort: Text, Needed: true, Suggest: persons(d), Longest: 80},
		{Name: "note", Sort: Long, Longest: 2000, Advanced: true},
		{Name: "id", Sort: Hidden, Longest: 80},
	}
}

// persons are the names of the site file, for suggestions.
func persons(d Depot) []Option {
	if d.View.Config == nil {
		return nil
	}
	var names []string
	for _, p := range d.View.Config.People {
		names = append(names, p.Name)
	}
	return suggested(names...)
}
