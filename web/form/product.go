package form

import (
	"undersheet/logbook"
	"undersheet/logbook/words"
	"undersheet/rules/plan"
)

// product asks for pieces of a form.
func product(d Depot) []Field {
	return []Field{{Name: "form", Sort: Text, Needed: true, Suggest: Named(d.Lang, "product", plan.FormNames()...), Longest: 60},
		{Name: "count", Sort: Whole, Needed: true}}
}

func stockReceived(d Depot) []Field {
	return append(product(d), Field{Name: "batch", Longest: 80, Sort: Text}, Field{Name: "invoice", Longest: 80, Sort: Text})
}

func dosePlaced(d Depot) []Field {
	return append(append([]Field{stackField(d)}, product(d)...),
		Field{Name: "places", Sort: Whole},
		Field{Name: "people", Sort: Names, Needed: true, Suggest: persons(d), Longest: 300},
		Field{Name: "protection", Sort: Text, Needed: true, Longest: 120},
		Field{Name: "product", Sort: Text, Longest: 120, Advanced: true},
		Field{Name: "batch", Sort: Text, Longest: 80, Advanced: true},
		Field{Name: "placement", Sort: Text, Longest: 200, Advanced: true})
}

func residueTaken(d Depot) []Field {
	return append(append([]Field{stackField(d)}, product(d)...),
		Field{Name: "residue", Sort: Choice, Needed: true, Choices: []Option{{Value: logbook.ResidueSpent},
			{Value: logbook.ResidueNotSpent}, {Value: logbook.ResidueNotKnown}}},
		Field{Name: "shown_by", Sort: Text}, treatmentField(d))
}

func residueDisposed(d Depot) []Field {
	return append(append([]Field{stackField(d)}, product(d)...),
		Field{Name: "how", Sort: Choice, Needed: true, Choices: []Option{{Value: logbook.DisposedBuried},
			{Value: logbook.DisposedHanded}, {Value: logbook.DisposedHeap}, {Value: logbook.DisposedDrum}}},
		Field{Name: "where", Sort: Text, Needed: true},
		Field{Name: "to", Sort: Text}, treatmentField(d))
}

// checksSigned asks for every check before dosing, one choice for each.
func checksSigned(d Depot) []Field {
	fields := []Field{storeField(d)}
	for _, c := range plan.EveryCheck() {
		fields = append(fields, Field{Name: "check-" + c, Covers: []string{"in_order", "wanting"}, Adds: true, Label: words.Plan(d.Lang, c, "", 0), Sort: Choice,
			Choices: []Option{{Value: Place("in_order", c), Label: words.Text(d.Lang, "form/in-order")}, {Value: Place("wanting", c), Label: words.Text(d.Lang, "form/wanting")}}})
	}
	return append(fields, Field{Name: "second", Sort: Text, Needed: true, Suggest: persons(d), Longest: 80})
}

func instrumentChecked(d Depot) []Field {
	return []Field{
		{Name: "channel", Sort: Choice, Needed: true, Choices: channels(d)},
		{Name: "check", Sort: Choice, Needed: true, Choices: []Option{{Value: logbook.CheckZero},
			{Value: logbook.CheckBump}, {Value: logbook.CheckCalibration}}},
		{Name: "applied", Sort: Number},
		{Name: "read", Sort: Number, Needed: true, Signed: true},
		{Name: "unit", Sort: Choice, Needed: true, Choices: gasUnits, Preset: logbook.PPM},
		{Name: "passed", Sort: Yes},
		{Name: "due", Sort: Day},
	}
}

// photo asks for a picture as it stands in the logbook; the page of a stack has a form
// that takes a file.
func photo(d Depot) []Field {
	return []Field{
		{Name: "place", Covers: []string{"store", "stack"}, Sort: Choice, Needed: true, Choices: photoPlaces(d)},
		{Name: "of", Sort: Whole}, {Name: "name", Sort: Text, Needed: true},
		{Name: "media", Sort: Choice, Needed: true, Choices: []Option{{Value: "image/jpeg", Label: "JPEG"}, {Value: "image/png", Label: "PNG"}}},
		{Name: "sha256", Sort: Text, Needed: true}, {Name: "data", Sort: Long, Needed: true, Longest: 40000}}
}

// photoPlaces are the stacks and the stores.
func photoPlaces(d Depot) []Option {
	var all []Option
	for _, s := range d.View.Stores {
		all = append(all, Option{Value: Place("store", s.Name), Label: s.Name})
		for _, k := range s.Stacks {
			all = append(all, Option{Value: Place("stack", k.Name), Label: words.Text(d.Lang, "form/stack-choice", "{stack}", k.Name), Group: s.Name})
		}
	}
	return all
}

// corrected asks for a correction as it stands in the logbook; the page of an entry has
// a form for it.
func corrected(Depot) []Field {
	return []Field{{Name: "of", Sort: Whole, Needed: true},
		{Name: "why", Sort: Long, Needed: true, Longest: 500},
		{Name: "withdrawn", Sort: Yes},
		{Name: "entry", Sort: JSON, Longest: 4000}}
}

func instrumentSwapped(d Depot) []Field {
	return []Field{{Name: "channel", Sort: Choice, Needed: true, Choices: channels(d)},
		{Name: "out", Sort: Text, Longest: 80},
		{Name: "in", Sort: Text, Needed: true, Longest: 80}}
}
