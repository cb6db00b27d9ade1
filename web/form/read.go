package form

import (
	"encoding/json"
	"fmt"
	"maps"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"undersheet/logbook"
	"undersheet/logbook/words"
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
		return nil, []Fault{{Text: words.Text(f.depot.Lang, "form/not-taken", "{error}", err.Error())}}
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

// fault notes what is wrong with a field, the sentence of a key.
func (r *reader) fault(field, key string, pairs ...string) {
	r.faults = append(r.faults, Fault{field, words.Text(r.form.depot.Lang, key, pairs...)})
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
		r.fault("", "form/no-field", "{name}", short(name))
	}
}

// field reads one field into the body.
func (r *reader) field(f *Field, v url.Values) {
	if len(v[f.Name]) > 1 {
		r.fault(f.Name, "form/sent-times", "{times}", strconv.Itoa(len(v[f.Name])))
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
			r.fault(f.Name, "form/needed")
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
		r.fault(f.Name, "form/no-text")
		return "", false
	case utf8.RuneCountInString(s) > longest:
		r.fault(f.Name, "form/too-long", "{most}", strconv.Itoa(longest))
		return "", false
	case strings.ContainsFunc(s, func(c rune) bool { return unicode.IsControl(c) && (c != '\n' || f.Sort != Long) }):
		r.fault(f.Name, "form/unprintable")
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
		n, err := ParseNumber(r.form.depot.Lang, text)
		switch {
		case err != nil:
			r.faults = append(r.faults, Fault{f.Name, err.Error()})
		case n < 0 && !f.Signed:
			r.fault(f.Name, "form/below-0")
		case f.Most != 0 && (n < f.Least || n > f.Most):
			r.fault(f.Name, "form/beyond", "{least}", figure(r.form.depot.Lang, f.Least),
				"{most}", figure(r.form.depot.Lang, f.Most), "{unit}", f.Unit)
		case f.Sort == Length && n > 86400:
			r.fault(f.Name, "form/over-a-day")
		case f.Sort == Length:
			r.body[f.Name] = strconv.FormatFloat(n, 'f', -1, 64) + "s"
		default:
			r.body[f.Name] = n
		}
	case Whole:
		n, err := strconv.ParseUint(text, 10, 31)
		if err != nil {
			r.fault(f.Name, "form/no-whole", "{text}", short(text))
			return
		}
		if n > 0 && f.Asks != "" && r.body[f.Asks] != f.AsksFor {
			r.contradiction(f)
			return
		}
		r.body[f.Name] = n
	case Moment, Day:
		r.time(f, text)
	case JSON:
		if !json.Valid([]byte(text)) {
			r.fault(f.Name, "form/no-json")
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

// time reads a moment or a day. One that was filled in by Again and left as it was keeps its
// time to the microsecond.
func (r *reader) time(f *Field, text string) {
	if at, same := r.form.times[f.Name+" "+text]; same {
		r.body[f.Name] = at
		return
	}
	if f.Sort == Day {
		if _, err := time.Parse(time.DateOnly, text); err != nil {
			r.fault(f.Name, "form/no-day", "{text}", short(text))
			return
		}
		r.body[f.Name] = text
		return
	}
	at, err := ParseLocal(r.form.depot.Lang, text, r.form.depot.Zone, r.form.depot.Now)
	if err != nil {
		r.faults = append(r.faults, Fault{f.Name, err.Error()})
		return
	}
	if age := r.form.depot.Now.Sub(at.Std()); age > oldest && r.form.times == nil { // a correction may be of an older act
		r.fault(f.Name, "form/long-ago", "{days}", strconv.Itoa(int(age.Hours()/24)))
		return
	}
	r.body[f.Name] = at
}

// contradiction notes that a number goes with another choice than the one that was made.
func (r *reader) contradiction(f *Field) {
	with := r.form.Field(f.Asks)
	i := slices.IndexFunc(with.Choices, func(o Option) bool { return o.Value == f.AsksFor })
	r.fault(f.Name, "form/contradiction", "{field}", with.Label, "{choice}", with.Choices[i].Label)
}

// choice takes one of the choices, and nothing else.
func (r *reader) choice(f *Field, value string) {
	if !slices.ContainsFunc(f.Choices, func(o Option) bool { return o.Value == value }) {
		r.fault(f.Name, "form/no-choice", "{text}", short(strings.ToValidUTF8(value, "�")))
		return
	}
	if f.Covers == nil {
		r.body[f.Name] = value
		return
	}
	parts, err := url.ParseQuery(value)
	if err != nil {
		r.fault(f.Name, "form/torn-choice")
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
