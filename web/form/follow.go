package form

import (
	"undersheet/logbook"
	"undersheet/logbook/words"
	"undersheet/rules/followup"
)

// treatmentField asks which treatment an act after its airing is of.
func treatmentField(d Depot) Field {
	var names []string
	seen := map[string]bool{"": true}
	for _, o := range d.View.FollowUps {
		if !seen[o.Treatment] {
			seen[o.Treatment], names = true, append(names, o.Treatment)
		}
	}
	return Field{Name: "treatment", Sort: Text, Longest: 60, Advanced: true, Suggest: suggested(names...)}
}

func cagesPlaced(d Depot) []Field {
	return []Field{stackField(d),
		{Name: "count", Sort: Whole, Needed: true},
		{Name: "insects", Sort: Text, Needed: true, Suggest: usual(d, "form/weevils", "form/flour-beetles", "form/borers"), Longest: 200},
		{Name: "positions", Sort: Text, Longest: 300}}
}

func cagesRetrieved(d Depot) []Field {
	return []Field{stackField(d), {Name: "count", Sort: Whole}, treatmentField(d)}
}

func cagesJudged(d Depot) []Field {
	return []Field{stackField(d),
		{Name: "after", Sort: Choice, Needed: true, Choices: []Option{{Value: logbook.JudgedExposure}, {Value: logbook.JudgedMonth}}},
		{Name: "result", Sort: Choice, Needed: true, Choices: []Option{{Value: logbook.InsectsNone}, {Value: logbook.InsectsLive}, {Value: logbook.InsectsUnknown}}},
		{Name: "live", Sort: Whole, Asks: "result", AsksFor: logbook.InsectsLive}, {Name: "dead", Sort: Whole}, treatmentField(d)}
}

func sheetTorn(d Depot) []Field {
	return []Field{stackField(d), {Name: "where", Sort: Text, Longest: 200}}
}

func sheetRepaired(d Depot) []Field {
	return []Field{stackField(d), {Name: "found", Sort: Long, Needed: true, Longest: 500}, treatmentField(d)}
}

func canisterChanged(d Depot) []Field {
	return []Field{{Name: "person", Sort: Text, Needed: true, Suggest: persons(d), Longest: 80},
		{Name: "serial", Sort: Text, Needed: true, Longest: 80},
		{Name: "expires", Sort: Day, Needed: true},
		{Name: "minutes", Sort: Number}}
}

func grainIssued(d Depot) []Field {
	return []Field{stackField(d), {Name: "tonnes", Unit: "t", Sort: Number, Needed: true}, {Name: "closed_vehicle", Sort: Yes}}
}

func writtenOff(d Depot) []Field {
	f := Field{Name: "follow_up", Sort: Choice, Needed: true}
	for _, kind := range logbook.FollowUps {
		if followup.MayWriteOff(kind) {
			f.Choices = append(f.Choices, Option{Value: kind, Label: words.Text(d.Lang, "follow/"+kind)})
		}
	}
	return []Field{stackField(d), f, {Name: "why", Sort: Long, Needed: true, Longest: 500}, treatmentField(d)}
}
