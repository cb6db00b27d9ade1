package form

import (
	"undersheet/logbook"
	"undersheet/logbook/words"
	"undersheet/rules/plan"
)

// product asks for pieces of a form.
func product(Depot) []Field {
	return []Field{{Name: "form", Label: "Form of the product", Sort: Text, Needed: true, Suggest: plan.FormNames(), Longest: 60},
		{Name: "count", Label: "Pieces", Sort: Whole, Needed: true}}
}

func stockReceived(d Depot) []Field {
	return append(product(d), Field{Name: "batch", Label: "Batch", Longest: 80, Sort: Text}, Field{Name: "invoice", Label: "Invoice", Longest: 80, Sort: Text})
}

func dosePlaced(d Depot) []Field {
	return append(append([]Field{stackField(d)}, product(d)...),
		Field{Name: "places", Label: "Trays or places", Sort: Whole},
		Field{Name: "people", Label: "Who laid it", Sort: Names, Needed: true, Suggest: people(d), Longest: 300, Hint: "Names with commas between them: two trained people are the least."},
		Field{Name: "protection", Label: "What they wore", Sort: Text, Needed: true, Longest: 120})
}

func residueTaken(d Depot) []Field {
	return append(append([]Field{stackField(d)}, product(d)...),
		Field{Name: "residue", Label: "The residue is", Sort: Choice, Needed: true, Choices: []Option{{Value: logbook.ResidueSpent, Label: "shown spent"},
			{Value: logbook.ResidueNotSpent, Label: "not spent: it still gives off gas"}, {Value: logbook.ResidueNotKnown, Label: "not looked at"}}},
		Field{Name: "shown_by", Label: "How it was shown to be spent", Sort: Text})
}

func residueDisposed(d Depot) []Field {
	return append(append([]Field{stackField(d)}, product(d)...),
		Field{Name: "how", Label: "What became of it", Sort: Choice, Needed: true, Choices: []Option{{Value: logbook.DisposedBuried, Label: "buried deep, away from dwellings and water"},
			{Value: logbook.DisposedHanded, Label: "handed over"}, {Value: logbook.DisposedHeap, Label: "heaped (it must not be)"}, {Value: logbook.DisposedDrum, Label: "closed in a drum (it must not be)"}}},
		Field{Name: "where", Label: "Where", Sort: Text, Needed: true},
		Field{Name: "to", Label: "To whom", Sort: Text})
}

// checksSigned asks for every check before dosing, one choice for each.
func checksSigned(d Depot) []Field {
	fields := []Field{storeField(d)}
	for _, c := range plan.EveryCheck() {
		fields = append(fields, Field{Name: "check-" + c, Covers: []string{"in_order", "wanting"}, Adds: true, Label: words.Plan(d.Lang, c, "", 0), Sort: Choice,
			Choices: []Option{{Value: Place("in_order", c), Label: "in order"}, {Value: Place("wanting", c), Label: "wanting"}}})
	}
	return append(fields, Field{Name: "second", Label: "Second person", Sort: Text, Needed: true, Suggest: people(d), Longest: 80})
}

func instrumentChecked(d Depot) []Field {
	return []Field{
		{Name: "channel", Label: "Channel", Sort: Choice, Needed: true, Choices: channels(d)},
		{Name: "check", Label: "What was done", Sort: Choice, Needed: true, Choices: []Option{{Value: logbook.CheckZero, Label: "zero, in clean air"},
			{Value: logbook.CheckBump, Label: "bump test with a known gas"}, {Value: logbook.CheckCalibration, Label: "calibration"}}},
		{Name: "applied", Label: "Concentration of the gas let in", Sort: Number, Hint: "Empty for a zero."},
		{Name: "read", Label: "What the channel showed", Sort: Number, Needed: true, Signed: true},
		{Name: "unit", Label: "Unit", Sort: Choice, Needed: true, Choices: gasUnits, Preset: logbook.PPM},
		{Name: "passed", Label: "It passed", Sort: Yes},
		{Name: "due", Label: "Next one due", Sort: Moment, Ahead: true},
	}
}

// photo asks for a picture as it stands in the logbook; the page of a stack has a form
// that takes a file.
func photo(d Depot) []Field {
	return []Field{
		{Name: "place", Covers: []string{"store", "stack"}, Label: "Of", Sort: Choice, Needed: true, Choices: photoPlaces(d)},
		{Name: "of", Label: "Entry that it belongs to", Sort: Whole}, {Name: "name", Label: "Name of the file", Sort: Text, Needed: true},
		{Name: "media", Label: "Sort of picture", Sort: Choice, Needed: true, Choices: []Option{{Value: "image/jpeg", Label: "JPEG"}, {Value: "image/png", Label: "PNG"}}},
		{Name: "sha256", Label: "SHA-256 of the picture", Sort: Text, Needed: true}, {Name: "data", Label: "The picture, in base64", Sort: Long, Needed: true, Longest: 40000,
			Hint: "The page of a stack has a form that takes a file."}}
}

// photoPlaces are the stacks and the stores.
func photoPlaces(d Depot) []Option {
	var all []Option
	for _, s := range d.View.Stores {
		all = append(all, Option{Value: Place("store", s.Name), Label: s.Name})
		for _, k := range s.Stacks {
			all = append(all, Option{Value: Place("stack", k.Name), Label: "stack " + k.Name, Group: s.Name})
		}
	}
	return all
}

// corrected asks for a correction as it stands in the logbook; the page of an entry has
// a form for it.
func corrected(Depot) []Field {
	return []Field{{Name: "of", Label: "Entry that is wrong", Sort: Whole, Needed: true, Hint: "Its number. The page of the entry has a form with what it says."},
		{Name: "why", Label: "What was wrong with it", Sort: Long, Needed: true, Longest: 500},
		{Name: "withdrawn", Label: "It never happened: strike it", Sort: Yes},
		{Name: "entry", Label: "The right entry", Sort: JSON, Longest: 4000, Hint: "As one JSON object, in the form of the export."}}
}

func instrumentSwapped(d Depot) []Field {
	return []Field{{Name: "channel", Label: "Channel", Sort: Choice, Needed: true, Choices: channels(d)},
		{Name: "out", Label: "Serial number of the one taken out", Sort: Text, Longest: 80},
		{Name: "in", Label: "Serial number of the one put in", Sort: Text, Needed: true, Longest: 80}}
}
