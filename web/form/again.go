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

	"undersheet/logbook"
	"undersheet/logbook/words"
)

// Again fills the form in with an act, so that it can be corrected. What the act holds and the
// form has no field for stays as it is.
func (f *Form) Again(e logbook.Acting) (url.Values, error) {
	text, err := logbook.Encode(e)
	if err != nil {
		return nil, fmt.Errorf("write act: %w", err)
	}
	var body map[string]any
	if err := json.Unmarshal(text, &body); err != nil {
		return nil, fmt.Errorf("read act: %w", err)
	}
	f.keep(body)
	f.times = map[string]logbook.Time{}
	v := url.Values{}
	for i := range f.Fields {
		x := &f.Fields[i]
		switch {
		case x.Sort == Hidden:
		case x.Adds:
			for _, o := range x.Choices {
				if o.In(body) {
					v.Set(x.Name, o.Value)
				}
			}
		case x.Covers != nil:
			var pairs []string
			for _, name := range x.Covers {
				pairs = append(pairs, name, written(body[name]))
			}
			v.Set(x.Name, Place(pairs...))
		case x.Sort == Moment:
			if t, err := logbook.ParseTime(written(body[x.Name])); err == nil {
				text := t.Std().In(f.depot.Zone).Format(localLayout + ":05")
				v.Set(x.Name, text)
				f.times[x.Name+" "+text] = t
			}
		case x.Sort == Day:
			text := written(body[x.Name])
			if t, err := logbook.ParseTime(text); err == nil { // older acts hold a moment instead of a day
				text = words.LastDay(t, f.depot.Zone).Format(time.DateOnly)
				f.times[x.Name+" "+text] = t
			}
			v.Set(x.Name, text)
		case x.Sort == Length:
			if d, err := time.ParseDuration(written(body[x.Name])); err == nil {
				v.Set(x.Name, strconv.FormatFloat(d.Seconds(), 'f', -1, 64))
			}
		case x.Sort == Yes:
			if yes, _ := body[x.Name].(bool); yes {
				v.Set(x.Name, "yes")
			}
		default:
			if s := written(body[x.Name]); s != "" {
				v.Set(x.Name, s)
			}
		}
	}
	return v, nil
}

// In reports whether the lists of an act, as its JSON object, hold what the choice adds to them.
func (o Option) In(body map[string]any) bool {
	parts, err := url.ParseQuery(o.Value)
	if err != nil {
		return false
	}
	for name := range parts {
		if list, _ := body[name].([]any); slices.Contains(list, any(parts.Get(name))) {
			return true
		}
	}
	return false
}

// keep holds what an act's body has beside the fields of the form and of every entry.
func (f *Form) keep(body map[string]any) {
	f.kept = maps.Clone(body)
	for _, name := range []string{"seq", "received", "kind", "time", "id", "identity"} {
		delete(f.kept, name)
	}
	for i := range f.Fields {
		for _, name := range f.Fields[i].Of() {
			delete(f.kept, name)
		}
	}
}

// Drop takes fields out of the form: they are not asked.
func (f *Form) Drop(names ...string) {
	f.Fields = slices.DeleteFunc(f.Fields, func(x Field) bool { return slices.Contains(names, x.Name) })
}

// written is a JSON value as a person would write it.
func written(x any) string {
	switch x := x.(type) {
	case string:
		return x
	case float64:
		return strconv.FormatFloat(x, 'f', -1, 64)
	case []any:
		var parts []string
		for _, p := range x {
			parts = append(parts, written(p))
		}
		return strings.Join(parts, ", ")
	}
	return ""
}
