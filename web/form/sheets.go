package form

import (
	"undersheet/logbook"
	"undersheet/rules/dose"
	"undersheet/rules/plan"
)

// sheet is what a kind of act has beside the fields of every act.
type sheet struct {
	fields func(d Depot) []Field
	check  func(d Depot, e logbook.Acting) []Fault // what only the whole act shows; nil: nothing
}

// sheets are the forms; they never change.
var sheets = map[logbook.Kind]sheet{
	logbook.KindLineProved:        {lineProved, nil},
	logbook.KindNoGasDeclared:     {onStore, nil},
	logbook.KindDosingStarted:     {dosingStarted, nil},
	logbook.KindTreatmentStarted:  {treatmentStarted, doseCanBurn},
	logbook.KindHandReading:       {handReading, canBurn},
	logbook.KindDoseAdded:         {doseAdded, nil},
	logbook.KindExposureExtended:  {exposureExtended, nil},
	logbook.KindMaskedEntry:       {maskedEntry, twoPeople},
	logbook.KindMaskedExit:        {maskedExit, nil},
	logbook.KindAiringStarted:     {airingStarted, earlyReason},
	logbook.KindAiringPaused:      {onStack, nil},
	logbook.KindAiringResumed:     {onStack, nil},
	logbook.KindAbandoned:         {abandoned, nil},
	logbook.KindEntryConfirmed:    {onStore, nil},
	logbook.KindInspected:         {grainInspected, nil},
	logbook.KindPhoto:             {photo, nil},
	logbook.KindCorrected:         {corrected, nil},
	logbook.KindStockReceived:     {stockReceived, nil},
	logbook.KindStockCounted:      {product, nil},
	logbook.KindChecksSigned:      {checksSigned, nil},
	logbook.KindDosePlaced:        {dosePlaced, nil},
	logbook.KindResidueTaken:      {residueTaken, nil},
	logbook.KindResidueDisposed:   {residueDisposed, nil},
	logbook.KindInstrumentChecked: {instrumentChecked, nil},
	logbook.KindInstrumentSwapped: {instrumentSwapped, nil},
	logbook.KindCagesPlaced:       {cagesPlaced, nil},
	logbook.KindCagesRetrieved:    {cagesRetrieved, nil},
	logbook.KindCagesJudged:       {cagesJudged, nil},
	logbook.KindSheetTorn:         {sheetTorn, nil},
	logbook.KindSheetRepaired:     {sheetRepaired, nil},
	logbook.KindCanister:          {canisterChanged, nil},
	logbook.KindGrainIssued:       {grainIssued, nil},
	logbook.KindWrittenOff:        {writtenOff, nil},
	logbook.KindAcknowledged:      {acknowledged, nil},
}

func onStack(d Depot) []Field { return []Field{stackField(d)} }

func onStore(d Depot) []Field { return []Field{storeField(d)} }

func dosingStarted(d Depot) []Field {
	return []Field{stackField(d),
		{Name: "store_empty", Sort: Yes}}
}

func treatmentStarted(d Depot) []Field {
	return []Field{stackField(d),
		{Name: "treatment", Sort: Text, Needed: true, Longest: 60},
		{Name: "protocol", Sort: Choice, Needed: true, Choices: protocols(d)},
		{Name: "commodity", Sort: Text, Needed: true, Suggest: Named(d.Lang, "commodity", Commodities...), Longest: 80},
		{Name: "tonnes", Unit: "t", Sort: Number, Most: mostTonne, Needed: true},
		{Name: "volume_m3", Unit: "m³", Sort: Number, Most: mostM3, Needed: true},
		{Name: "phosphine_g", Unit: "g", Sort: Number, Needed: true},
		{Name: "grain_temp_c", Unit: "°C", Sort: Number, Signed: true, Least: -30, Most: 70, Needed: true},
		{Name: "form", Sort: Text, Suggest: Named(d.Lang, "product", append(plan.FormNames(), dose.CylinderGas)...), Longest: 60, Advanced: true},
		{Name: "count", Sort: Whole, Advanced: true},
		{Name: "gas_space_m3", Unit: "m³", Sort: Number, Advanced: true},
		{Name: "grain_moisture_pct", Sort: Number, Most: 100, Advanced: true},
		{Name: "exposure_hours", Sort: Number, Advanced: true},
		{Name: "dose_source", Sort: Text, Longest: 200, Advanced: true},
		{Name: "fumigator", Sort: Text, Suggest: persons(d), Longest: 80, Advanced: true},
		{Name: "second", Sort: Text, Suggest: persons(d), Longest: 80, Advanced: true},
		{Name: "pests", Sort: Text, Longest: 200, Advanced: true},
		{Name: "bags", Sort: Whole, Advanced: true},
		{Name: "lot", Sort: Text, Longest: 120, Advanced: true},
		{Name: "destination", Sort: Text, Longest: 120, Advanced: true},
		{Name: "length_m", Unit: "m", Sort: Number, Advanced: true},
		{Name: "width_m", Unit: "m", Sort: Number, Advanced: true},
		{Name: "height_m", Unit: "m", Sort: Number, Advanced: true},
		{Name: "sheet", Sort: Text, Longest: 200, Advanced: true},
	}
}

func doseAdded(d Depot) []Field {
	return []Field{stackField(d),
		{Name: "phosphine_g", Unit: "g", Sort: Number, Needed: true}}
}

func exposureExtended(d Depot) []Field {
	return []Field{stackField(d),
		{Name: "exposure_hours", Sort: Number, Needed: true}}
}

func airingStarted(d Depot) []Field {
	return []Field{stackField(d),
		{Name: "early", Sort: Long, Longest: 500},
		{Name: "despite", Sort: Long, Longest: 500}}
}

func abandoned(d Depot) []Field {
	return []Field{stackField(d), {Name: "why", Sort: Long, Needed: true, Longest: 500}}
}

func maskedEntry(d Depot) []Field {
	return []Field{storeField(d),
		{Name: "in", Sort: Text, Needed: true, Suggest: persons(d), Longest: 80},
		{Name: "at_door", Sort: Text, Needed: true, Suggest: persons(d), Longest: 80},
		{Name: "protection", Sort: Text, Needed: true, Longest: 120, Suggest: usual(d, "form/apparatus", "form/air-line")},
	}
}

func maskedExit(d Depot) []Field {
	return []Field{storeField(d), {Name: "out", Sort: Text, Suggest: inside(d), Longest: 80}}
}

func handReading(d Depot) []Field {
	return []Field{
		{Name: "place", Covers: []string{"stack", "line", "store", "point", "where"}, Sort: Choice, Needed: true, Choices: handPlaces(d)},
		{Name: "value", Sort: Number, Needed: true},
		{Name: "unit", Sort: Choice, Needed: true, Choices: gasUnits, Preset: logbook.PPM},
		{Name: "method", Sort: Text, Needed: true, Suggest: usual(d, "form/tube", "form/meter"), Longest: 80},
		{Name: "detection_limit", Sort: Number},
		{Name: "instrument", Sort: Text, Longest: 80, Advanced: true},
		{Name: "accuracy", Sort: Number, Most: 1, Advanced: true},
	}
}

func lineProved(d Depot) []Field {
	return []Field{
		{Name: "place", Covers: []string{"stack", "line", "store", "point"}, Sort: Choice, Needed: true, Choices: linePlaces(d)},
		{Name: "end_test", Sort: Choice, Needed: true, Choices: []Option{
			{Value: logbook.EndTestSpan}, {Value: logbook.EndTestBreath}}},
		{Name: "seen", Sort: Yes},
		{Name: "channel", Sort: Choice, Choices: channels(d)},
		{Name: "lag", Unit: "s", Sort: Length},
		{Name: "span", Sort: Number},
		{Name: "read", Sort: Number},
		{Name: "zero", Sort: Number, Signed: true},
		{Name: "unit", Sort: Choice, Choices: gasUnits, Preset: logbook.PPM},
		{Name: "flow", Unit: "L/min", Sort: Number},
	}
}

func grainInspected(d Depot) []Field {
	return []Field{stackField(d),
		{Name: "insects", Sort: Choice, Needed: true, Choices: []Option{
			{Value: logbook.InsectsNone}, {Value: logbook.InsectsLive}}},
		{Name: "method", Sort: Text, Needed: true, Suggest: usual(d, "form/sieved", "form/incubated", "form/caged"), Longest: 120},
		treatmentField(d),
	}
}

func acknowledged(d Depot) []Field {
	return []Field{{Name: "which", Covers: []string{"alarm", "store", "stack", "line", "point", "channel", "owed"}, Sort: Choice, Needed: true, Choices: alarms(d)}}
}
