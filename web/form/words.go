package form

import (
	"cmp"
	"slices"

	"undersheet/logbook"
	"undersheet/logbook/words"
)

// Title returns what a kind of act is called on pages.
func Title(lang string, kind logbook.Kind) string { return words.Text(lang, "kind/"+string(kind)) }

// Button returns what the button of an act's form says.
func Button(lang string, kind logbook.Kind) string {
	return words.Text(lang, "kind/"+string(kind)+"/button")
}

// Commodity returns the name of goods that are known, else what was written.
func Commodity(lang, name string) string { return named(lang, "commodity/", name) }

func named(lang, group, name string) string {
	if s := words.Text(lang, group+name); s != group+name {
		return s
	}
	return name
}

// Named lists values that the rules know by these names, each with what it is called in
// a group of the catalogue.
func Named(lang, group string, values ...string) []Option {
	var all []Option
	for _, v := range values {
		all = append(all, Option{Value: v, Label: named(lang, group+"/", v)})
	}
	return all
}

// suggested lists values that are in no language, as names of people are.
func suggested(values ...string) []Option {
	var all []Option
	for _, v := range values {
		all = append(all, Option{Value: v, Label: v})
	}
	return all
}

// usual lists what people often write, in their language, by the keys of its words.
func usual(d Depot, keys ...string) []Option {
	var all []string
	for _, key := range keys {
		all = append(all, words.Text(d.Lang, key))
	}
	return suggested(all...)
}

// Worded gives fields their words from the catalogue: the label stands there under
// "form/SHEET/NAME", or "form/NAME" where sheets share it, the hint under the same with
// "/hint", a unit that is no sign with "/unit", a choice with "/VALUE". What has its
// words already keeps them. Pairs are values that a sentence may name.
func Worded(lang, sheet string, fields []Field, pairs ...string) []Field {
	say := func(rest string) string {
		for _, key := range []string{"form/" + sheet + "/" + rest, "form/" + rest} {
			if s := words.Text(lang, key, pairs...); s != key {
				return s
			}
		}
		return ""
	}
	all := slices.Clone(fields)
	for i := range all {
		f := &all[i]
		f.Label, f.Hint, f.Unit = cmp.Or(f.Label, say(f.Name)), cmp.Or(f.Hint, say(f.Name+"/hint")), cmp.Or(f.Unit, say(f.Name+"/unit"))
		f.Choices = slices.Clone(f.Choices)
		for j := range f.Choices {
			o := &f.Choices[j]
			o.Label = cmp.Or(o.Label, say(f.Name+"/"+o.Value), o.Value)
		}
	}
	return all
}
