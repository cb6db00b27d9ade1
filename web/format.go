package web

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"undersheet/logbook"
	"undersheet/logbook/words"
	"undersheet/rules"
	"undersheet/rules/reading"
	"undersheet/web/form"
)

// text returns the sentence of a key in the reader's language; pairs are "{name}", value, …
func (f *frame) text(key string, pairs ...string) string { return words.Text(f.Lang, key, pairs...) }

// code returns the word for a code of a group; one without a word stands for itself.
func (f *frame) code(group, code string) string {
	key := group + "/" + code
	if s := f.text(key); s != key {
		return s
	}
	return plain(code)
}

// kind is what a kind of entry is called.
func (f *frame) kind(k logbook.Kind) string { return sentence(f.code("kind", string(k))) }

// commodity is the name of goods that are known, else what was written.
func (f *frame) commodity(name string) string { return form.Commodity(f.Lang, name) }

// insect is the name of a species with what is said of its kind behind a comma.
func (f *frame) insect(name string) string {
	species, sort, found := strings.Cut(name, ", ")
	if species = f.code("insect", species); !found {
		return species
	}
	return species + ", " + f.code("insect", sort)
}

// about is a name and what is said of it; without a name, that alone.
func (f *frame) about(name, what string) string {
	switch {
	case strings.TrimSpace(name) == "":
		return strings.TrimSpace(what)
	case strings.TrimSpace(what) == "":
		return strings.TrimSpace(name)
	}
	return f.text("page/about", "{name}", name, "{what}", what)
}

// list joins parts of a sentence.
func (f *frame) list(parts []string) string {
	all := ""
	for i, p := range parts {
		if all += p; i+1 < len(parts) {
			all = f.text("page/and-then", "{first}", all, "{then}", "")
			all += " "
		}
	}
	return all
}

// figure prints a quantity; see words.Quantity.
func (f *frame) figure(v float64) string { return words.Quantity(f.Lang, v) }

// count prints a whole number.
func (f *frame) count(n int) string { return strconv.Itoa(n) }

// chance prints a probability; never as certain.
func (f *frame) chance(p float64) string {
	switch {
	case !(p >= 0 && p <= 1):
		return f.text("page/chance-not-known")
	case p < 0.01:
		return f.text("page/chance-under")
	case p > 0.99:
		return f.text("page/chance-over")
	}
	return f.text("page/chance", "{percent}", strconv.FormatFloat(100*p, 'f', 0, 64))
}

// clock prints a moment in the site's time; "" when it is unset.
func (f *frame) clock(t logbook.Time) string { return f.moment(t, "Mon 2 Jan 2006 15:04") }

// second prints a moment with its seconds.
func (f *frame) second(t logbook.Time) string { return f.moment(t, "Mon 2 Jan 2006 15:04:05") }

func (f *frame) moment(t logbook.Time, layout string) string {
	if t == 0 {
		return ""
	}
	return words.When(f.Lang, t.Std().In(f.zone), layout)
}

// ageOf prints how old something is; "" when it never was.
func (f *frame) ageOf(at logbook.Time) string {
	if at == 0 {
		return ""
	}
	return f.span(f.now.Sub(at))
}

// span prints a length of time to two figures at most; negative ones as 0.
func (f *frame) span(d time.Duration) string {
	switch d = max(d, 0); {
	case d < time.Minute:
		return fmt.Sprintf("%d s", int(d.Seconds()))
	case d < time.Hour:
		return fmt.Sprintf("%d min", int(d.Minutes()))
	case d < 48*time.Hour:
		return fmt.Sprintf("%d h %02d min", int(d.Hours()), int(d.Minutes())%60)
	}
	return f.text("page/days-hours", "{days}", strconv.Itoa(int(d.Hours())/24), "{hours}", strconv.Itoa(int(d.Hours())%24))
}

// state returns the word for what a reading is thought to be; "" for one that needs none.
func (f *frame) state(s string) string {
	if s == reading.OK {
		return ""
	}
	return f.code("reading", s)
}

// last prints the newest value of a channel.
func (f *frame) last(s rules.Sample) string {
	switch s.State {
	case reading.None:
		return "—"
	case reading.UnitMismatch:
		return f.figure(s.Raw) + " " + s.Unit
	}
	return f.figure(s.PPM)
}

// plain turns a code into words.
func plain(code string) string { return strings.ReplaceAll(code, "-", " ") }

// sentence makes the first letter a capital.
func sentence(s string) string {
	if s == "" {
		return s
	}
	r := []rune(s)
	return strings.ToUpper(string(r[:1])) + string(r[1:])
}
