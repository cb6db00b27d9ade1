package form

import (
	"encoding/json"
	"fmt"
	"maps"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"undersheet/logbook"
)

// NotVerified is the identity of whoever acts while nobody signs in.
const NotVerified = "not verified"

// ordinary is the most runes of a field that says nothing else.
const ordinary = 200

// Read makes the act of what was filled in. With faults there is no act. An act
// without a moment of its own is of the depot's now.
func (f *Form) Read(v url.Values) (logbook.Acting, []Fault) {
	r := reader{form: f, body: map[string]any{"kind": f.Kind, "time": logbook.At(f.depot.Now), "identity": NotVerified}}
	maps.Copy(r.body, f.kept)
	r.strangers(v)
	for i := range f.Fields {
		r.field(&f.Fields[i], v)
	}
	if len(r.faults) > 0 {
		return nil, r.faults
	}
	e, err := r.act()
	if err != nil {
		return nil, []Fault{{Text: err.Error()}}
	}
	if f.check != nil {
		if faults := f.check(f.depot, e); len(faults) > 0 {
			return nil, faults
		}
	}
	return e, nil
}

// reader gathers the body of an act and what is wrong with it.
type reader struct {
	form   *Form
	body   map[string]any
	faults []Fault
}

func (r *reader) fault(field, text string, args ...any) {
	r.faults = append(r.faults, Fault{field, fmt.Sprintf(text, args...)})
}

// strangers refuses what the form does not have.
func (r *reader) strangers(v url.Values) {
	var names []string
	for name := range v {
		if r.form.Field(name) == nil {
			names = append(names, name)
		}
	}
	slices.Sort(names)
	for _, name := range names {
		r.fault("", "the form has no field %q: open it anew", short(name))
	}
}

// field reads one field into the body.
func (r *reader) field(f *Field, v url.Values) {
	if len(v[f.Name]) > 1 {
		r.fault(f.Name, "sent %d times: send it once", len(v[f.Name]))
		return
	}
	text, ok := r.text(f, v.Get(f.Name))
	if !ok {
		return
	}
	if f.Sort == Yes {
		r.body[f.Name] = text != ""
		return
	}
	if text == "" {
		if f.Needed {
			r.fault(f.Name, "this is needed")
		}
		return
	}
	r.value(f, text)
}

// text checks and trims what was written.
func (r *reader) text(f *Field, s string) (string, bool) {
	s = strings.ReplaceAll(s, "\r\n", "\n")
	longest := f.Longest
	if longest == 0 {
		longest = ordinary
	}
	switch {
	case f.Sort == Choice: // held against the choices, whose names are the site's own
		return s, true
	case !utf8.ValidString(s):
		r.fault(f.Name, "this is no text: write it in UTF-8")
		return "", false
	case utf8.RuneCountInString(s) > longest:
		r.fault(f.Name, "this is too long: %d signs at most", longest)
		return "", false
	case strings.ContainsFunc(s, func(c rune) bool { return unicode.IsControl(c) && (c != '\n' || f.Sort != Long) }):
		r.fault(f.Name, "this holds signs that cannot be printed: leave them out")
		return "", false
	}
	return strings.TrimSpace(s), true
}

// value reads a text as the field's sort.
func (r *reader) value(f *Field, text string) {
	switch f.Sort {
	case Choice:
		r.choice(f, text)
	case Number, Length:
		n, err := ParseNumber(text)
		switch {
		case err != nil:
			r.fault(f.Name, "%v", err)
		case n < 0 && !f.Signed:
			r.fault(f.Name, "this cannot be below 0")
		case f.Most != 0 && (n < f.Least || n > f.Most):
			r.fault(f.Name, "this is not from %v to %v %s: look at the digits and the unit", f.Least, f.Most, f.Unit)
		case f.Sort == Length && n > 86400:
			r.fault(f.Name, "this is more than a day: write seconds")
		case f.Sort == Length:
			r.body[f.Name] = strconv.FormatFloat(n, 'f', -1, 64) + "s"
		default:
			r.body[f.Name] = n
		}
	case Whole:
		n, err := strconv.ParseUint(text, 10, 31)
		if err != nil {
			r.fault(f.Name, "%q is no whole number: write digits alone", short(text))
			return
		}
		r.body[f.Name] = n
	case Moment:
		if at, same := r.form.times[f.Name+" "+text]; same {
			r.body[f.Name] = at
			return
		}
		now := r.form.depot.Now
		if f.Ahead {
			now = now.AddDate(20, 0, 0)
		}
		at, err := ParseLocal(text, r.form.depot.Zone, now)
		if err != nil {
			r.fault(f.Name, "%v", err)
			return
		}
		r.body[f.Name] = at
	case JSON:
		if !json.Valid([]byte(text)) {
			r.fault(f.Name, "this is no JSON object")
			return
		}
		r.body[f.Name] = json.RawMessage(text)
	case Names:
		var names []string
		for n := range strings.SplitSeq(text, ",") {
			if n = strings.TrimSpace(n); n != "" {
				names = append(names, n)
			}
		}
		r.body[f.Name] = names
	default:
		r.body[f.Name] = text
	}
}

// choice takes one of the choices, and nothing else.
func (r *reader) choice(f *Field, value string) {
	if !slices.ContainsFunc(f.Choices, func(o Option) bool { return o.Value == value }) {
		r.fault(f.Name, "%q cannot be chosen, or not any more: choose again", short(strings.ToValidUTF8(value, "�")))
		return
	}
	if f.Covers == nil {
		r.body[f.Name] = value
		return
	}
	parts, err := url.ParseQuery(value)
	if err != nil {
		r.fault(f.Name, "this choice cannot be read: open the form anew")
		return
	}
	for name := range parts {
		if f.Adds {
			list, _ := r.body[name].([]string)
			r.body[name] = append(list, parts.Get(name))
			continue
		}
		r.body[name] = parts.Get(name)
	}
}

// act makes the act, which is what its own JSON form gives.
func (r *reader) act() (logbook.Acting, error) {
	text, err := json.Marshal(r.body)
	if err != nil {
		return nil, fmt.Errorf("write act: %w", err)
	}
	e, err := logbook.Decode(text)
	if err != nil {
		return nil, err
	}
	a, ok := e.(logbook.Acting)
	if !ok {
		return nil, fmt.Errorf("%q is no act", r.form.Kind)
	}
	return a, nil
}
