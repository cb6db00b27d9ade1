package report

import (
	"bytes"
	"cmp"
	"encoding/json"
	"math"
	"strconv"
	"strings"
	"time"

	"undersheet/logbook"
	"undersheet/logbook/words"
	"undersheet/report/paper"
)

// voice writes words, figures and times for a reader.
type voice struct {
	lang string
	zone *time.Location
}

// voice is that of a reader of the language; times are the site's.
func (r *Report) voice(lang string) voice { return voice{lang, Zone(&r.Site)} }

// Zone returns a site's time zone; UTC where it has none that is the same on every machine,
// or there is no site.
func Zone(site *logbook.Site) *time.Location {
	if site == nil || site.Timezone == "Local" {
		return time.UTC
	}
	zone, err := time.LoadLocation(site.Timezone)
	if err != nil {
		return time.UTC
	}
	return zone
}

// text returns a sentence or label of the report; pairs are "{name}", value.
func (v voice) text(key string, pairs ...string) string {
	return words.Text(v.lang, "report/"+key, pairs...)
}

// code returns the report's own word for a code of a kind, else the catalogue's; a code
// without one stands as it is.
func (v voice) code(kind, code string) string {
	if own := words.First(v.lang, "report/"+kind+"/"+code); own != "" || code == "" {
		return own
	}
	return words.Word(v.lang, kind, code)
}

// time writes a moment of the site's clock; one that was not is a dash.
func (v voice) time(t logbook.Time) string {
	if t == 0 {
		return "—"
	}
	return t.Std().In(v.zone).Format("2006-01-02\u00a015:04")
}

// when is time, or words for a moment that is not on record.
func (v voice) when(t logbook.Time, key string) string {
	if t == 0 {
		return v.text(key)
	}
	return v.time(t)
}

// lastDay is when, but the date alone where a day ends then.
func (v voice) lastDay(t logbook.Time, key string) string {
	if t != 0 && words.EndsDay(t, v.zone) {
		return words.LastDay(t, v.zone).Format(time.DateOnly)
	}
	return v.when(t, key)
}

// span is a stretch of time; to = 0: it goes on.
func (v voice) span(from, to logbook.Time) string {
	if to == 0 {
		return v.text("from-on", "{from}", v.time(from))
	}
	return v.text("from-to", "{from}", v.time(from), "{to}", v.time(to))
}

// num writes a figure with no more digits than it is worth.
func (v voice) num(x float64) string {
	if s := plain(x); s != smallest {
		return words.Figure(v.lang, s)
	}
	return v.text("under", "{value}", words.Figure(v.lang, "0.001"))
}

// tenths writes a figure that a limit is set for from below: in tenths, and never as more than it is.
func (v voice) tenths(x float64) string {
	return v.given(math.Floor(10*x+1e-6) / 10)
}

// given writes a figure as it was entered.
func (v voice) given(x float64) string {
	return words.Figure(v.lang, strconv.FormatFloat(x, 'f', -1, 64))
}

// brief writes a figure with four digits at most.
func (v voice) brief(x float64) string {
	return words.Figure(v.lang, strconv.FormatFloat(x, 'g', 4, 64))
}

// unit writes a figure with its unit, which no line is broken at.
func (v voice) unit(x float64, unit string) string { return v.num(x) + "\u00a0" + unit }

// maybe writes a figure that may not be known.
func (v voice) maybe(x *float64, unit string) string {
	switch {
	case x == nil:
		return v.text("not-known")
	case unit == "":
		return v.num(*x)
	}
	return v.unit(*x, unit)
}

// percent writes a fraction in whole per cents.
func (v voice) percent(x float64) string {
	return v.text("percent", "{value}", words.Figure(v.lang, strconv.FormatFloat(100*x, 'f', 0, 64)))
}

// recorded returns a text, or says that it was not recorded.
func (v voice) recorded(s string) string {
	if strings.TrimSpace(s) == "" {
		return v.text("not-recorded")
	}
	return s
}

// yes writes a truth.
func (v voice) yes(b bool) string {
	if b {
		return v.text("yes")
	}
	return v.text("no")
}

// pair writes a name with its value.
func (v voice) pair(name, value string) string {
	return v.text("pair", "{name}", name, "{value}", value)
}

// fullWidth is the weight of a column that gets all the width that it can use.
const fullWidth = 1000

// list writes texts one after the other.
func (v voice) list(parts []string) string {
	if len(parts) == 0 {
		return ""
	}
	all := parts[0]
	for _, p := range parts[1:] {
		all = v.text("and", "{before}", all, "{after}", p)
	}
	return all
}

// columns makes columns of their keys: ">" before one aligns it to the right, each "+"
// after one makes it wider, "!" gives it all the width that it can use.
func (v voice) columns(keys ...string) []paper.Column {
	cols := make([]paper.Column, len(keys))
	for i, k := range keys {
		right := strings.HasPrefix(k, ">")
		cols[i] = paper.Column{Title: v.text("col/" + strings.Trim(k, ">+!")), Right: right, Wide: float64(1 + strings.Count(k, "+"))}
		if strings.HasSuffix(k, "!") {
			cols[i].Wide = fullWidth
		}
	}
	return cols
}

// smallest stands for figures too small to print.
const smallest = "<"

// plain prints a figure as people read it: no more digits than it is worth, and
// no small figure as zero.
func plain(v float64) string {
	switch {
	case v == 0:
		return "0"
	case v >= 100:
		return strconv.FormatFloat(v, 'f', 0, 64)
	case v >= 10:
		return strconv.FormatFloat(v, 'f', 1, 64)
	case v >= 0.1, v < 0:
		return strconv.FormatFloat(v, 'f', 2, 64)
	case v >= 0.001:
		return strconv.FormatFloat(v, 'g', 2, 64)
	}
	return smallest
}

// header are the fields that every act has, and where it was: they stand elsewhere.
var header = map[string]bool{"time": true, "kind": true, "seq": true, "received": true, "id": true, "v": true, "by": true, "identity": true, "note": true, "stack": true, "store": true}

// particulars writes what an act says beside who, when and where, field by field as
// the log holds it.
func (v voice) particulars(entry json.RawMessage) string {
	d := json.NewDecoder(bytes.NewReader(entry))
	d.UseNumber()
	if t, err := d.Token(); err != nil || t != json.Delim('{') {
		return ""
	}
	var parts []string
	for d.More() {
		name, _ := d.Token()
		var value json.RawMessage
		if err := d.Decode(&value); err != nil {
			break // it came from the log: it is whole
		}
		field, _ := name.(string)
		if s := v.value(field, value); s != "" && !header[field] {
			parts = append(parts, v.pair(v.text("field/"+field), s))
		}
	}
	return v.list(parts)
}

// value writes the value of a field.
func (v voice) value(field string, raw json.RawMessage) string {
	d := json.NewDecoder(bytes.NewReader(raw))
	d.UseNumber()
	var x any
	if err := d.Decode(&x); err != nil {
		return ""
	}
	switch x := x.(type) {
	case bool:
		return v.yes(x)
	case json.Number:
		return words.Figure(v.lang, x.String())
	case string:
		if t, err := logbook.ParseTime(x); err == nil {
			return v.time(t)
		}
		return v.code(cmp.Or(kinds[field], "value"), x)
	case []any:
		if field == "in_order" || field == "wanting" { // each stands in a table of its own
			return strconv.Itoa(len(x))
		}
		var parts []string
		for _, e := range x {
			if s, ok := e.(string); ok {
				parts = append(parts, s)
			}
		}
		return strings.Join(parts, ", ")
	case map[string]any:
		return v.particulars(raw)
	}
	return ""
}

// kinds are the catalogue's kinds of codes that fields hold, where those are not the
// report's own.
var kinds = map[string]string{"alarm": "alarm", "form": "product", "commodity": "commodity", "check": "check", "follow_up": "follow", "protocol": "protocol"}
