package form

import (
	"undersheet/logbook"
)

// sheet is what a kind of act has beside the fields of every act.
type sheet struct {
	title, button string
	fields        func(d Depot) []Field
	check         func(d Depot, e logbook.Acting) []Fault // what only the whole act shows; nil: nothing
}

// sheets are the forms; they never change.
var sheets = map[logbook.Kind]sheet{
	logbook.KindLineProved:        {"Line proved", "Record the proof", lineProved, nil},
	logbook.KindNoGasDeclared:     {"No gas declared", "Sign the declaration", onStore, nil},
	logbook.KindDosingStarted:     {"Dosing started", "Record that dosing started", dosingStarted, nil},
	logbook.KindTreatmentStarted:  {"Treatment started", "Record t = 0", treatmentStarted, nil},
	logbook.KindHandReading:       {"Hand reading", "Record the reading", handReading, nil},
	logbook.KindDoseAdded:         {"Dose added", "Record the added dose", doseAdded, nil},
	logbook.KindExposureExtended:  {"Exposure extended", "Record the longer exposure", exposureExtended, nil},
	logbook.KindMaskedEntry:       {"Masked entry", "Record the entry", maskedEntry, twoPeople},
	logbook.KindMaskedExit:        {"Masked exit", "Record the exit", maskedExit, nil},
	logbook.KindAiringStarted:     {"Airing started", "Record that airing started", airingStarted, earlyReason},
	logbook.KindAiringPaused:      {"Airing paused", "Record the pause", onStack, nil},
	logbook.KindAiringResumed:     {"Airing resumed", "Record that airing goes on", onStack, nil},
	logbook.KindAbandoned:         {"Treatment abandoned", "Record that it is given up", abandoned, nil},
	logbook.KindEntryConfirmed:    {"Entry confirmed", "Confirm with my name", onStore, nil},
	logbook.KindInspected:         {"Grain inspected", "Record the inspection", grainInspected, nil},
	logbook.KindPhoto:             {"Photo", "Keep the photo", photo, nil},
	logbook.KindCorrected:         {"Correction", "Record the correction", corrected, nil},
	logbook.KindStockReceived:     {"Stock received", "Record what came in", stockReceived, nil},
	logbook.KindStockCounted:      {"Stock counted", "Record the count", product, nil},
	logbook.KindChecksSigned:      {"Checks before dosing", "Sign the checks", checksSigned, nil},
	logbook.KindDosePlaced:        {"Dose placed", "Record what was laid", dosePlaced, nil},
	logbook.KindResidueTaken:      {"Residue taken out", "Record what came out", residueTaken, nil},
	logbook.KindResidueDisposed:   {"Residue disposed of", "Record where it went", residueDisposed, nil},
	logbook.KindInstrumentChecked: {"Instrument checked", "Record the check", instrumentChecked, nil},
	logbook.KindInstrumentSwapped: {"Instrument swapped", "Record the swap", instrumentSwapped, nil},
	logbook.KindAcknowledged:      {"Alarm acknowledged", "Acknowledge", acknowledged, nil},
}

func onStack(d Depot) []Field { return []Field{stackField(d)} }

func onStore(d Depot) []Field { return []Field{storeField(d)} }

func dosingStarted(d Depot) []Field {
	return []Field{stackField(d),
		{Name: "store_empty", Label: "The store is empty: only the dosing crew is in it, and the doors are guarded", Sort: Yes}}
}

func treatmentStarted(d Depot) []Field {
	return []Field{stackField(d),
		{Name: "treatment", Label: "Name of the treatment", Hint: "Once in the whole depot, for example B-8.", Sort: Text, Needed: true, Longest: 60},
		{Name: "protocol", Label: "Protocol", Sort: Choice, Needed: true, Choices: protocols(d)},
		{Name: "commodity", Label: "Commodity", Sort: Text, Needed: true, Suggest: Commodities, Longest: 80},
		{Name: "tonnes", Label: "Weight of the goods", Unit: "t", Sort: Number, Needed: true, Hint: "0 when it is not known: the forecast then has less to go by."},
		{Name: "volume_m3", Label: "Volume under the sheet", Unit: "m³", Sort: Number, Needed: true, Hint: "0 when it is not known."},
		{Name: "phosphine_g", Label: "Phosphine that the dose gives off", Unit: "g", Sort: Number, Needed: true,
			Hint: "The gas, not the weight of the product: by common practice a 3 g tablet of aluminium phosphide gives 1 g, a 0.6 g pellet 0.2 g. The label decides."},
		{Name: "grain_temp_c", Label: "Temperature of the goods", Unit: "°C", Sort: Number, Signed: true, Least: -30, Most: 70, Needed: true,
			Hint: "Measured inside the stack. Below 15 °C phosphine is not effective."},
		{Name: "form", Label: "Form of the product", Sort: Text, Suggest: []string{"tablets", "pellets", "sachets", "plates"}, Longest: 60, Advanced: true},
		{Name: "count", Label: "Pieces laid", Sort: Whole, Advanced: true},
		{Name: "gas_space_m3", Label: "Free gas space under the sheet", Unit: "m³", Sort: Number, Advanced: true, Hint: "Only when it was measured; else it is reckoned from volume, weight and commodity."},
		{Name: "grain_moisture_pct", Label: "Moisture of the goods", Unit: "%, wet basis", Sort: Number, Most: 100, Advanced: true},
		{Name: "exposure_hours", Label: "Planned exposure", Unit: "h from t = 0", Sort: Number, Advanced: true, Hint: "Only when it is longer than the protocol's."},
	}
}

func doseAdded(d Depot) []Field {
	return []Field{stackField(d),
		{Name: "phosphine_g", Label: "Phosphine that the added dose gives off", Unit: "g", Sort: Number, Needed: true, Hint: "The gas, not the weight of the product."}}
}

func exposureExtended(d Depot) []Field {
	return []Field{stackField(d),
		{Name: "exposure_hours", Label: "Whole exposure", Unit: "h from t = 0", Sort: Number, Needed: true, Hint: "From when the sheet was shut to the new end; not the hours that are added."}}
}

func airingStarted(d Depot) []Field {
	return []Field{stackField(d),
		{Name: "early", Label: "Why before the shortest exposure", Sort: Long, Longest: 500,
			Hint: "Needed only when airing starts before the shortest exposure has passed: the treatment then counts as failed."},
		{Name: "despite", Label: "Why in the dark, at dusk, in still air or towards dwellings", Sort: Long, Longest: 500,
			Hint: "Needed only when the store is first opened against good practice."}}
}

func abandoned(d Depot) []Field {
	return []Field{stackField(d), {Name: "why", Label: "Why", Sort: Long, Needed: true, Longest: 500}}
}

func maskedEntry(d Depot) []Field {
	return []Field{storeField(d),
		{Name: "in", Label: "Who goes in", Sort: Text, Needed: true, Suggest: people(d), Longest: 80, Hint: "One name: each person inside is an entry of their own. Nobody is inside alone without the one at the door."},
		{Name: "at_door", Label: "Who stays at the door", Sort: Text, Needed: true, Suggest: people(d), Longest: 80, Hint: "Trained, with breathing protection at hand, and does nothing else."},
		{Name: "protection", Label: "Breathing protection worn", Sort: Text, Needed: true, Longest: 120, Suggest: []string{"self-contained breathing apparatus", "supplied-air line with escape bottle"}},
	}
}

func maskedExit(d Depot) []Field {
	return []Field{storeField(d), {Name: "out", Label: "Who is out", Sort: Text, Suggest: inside(d), Longest: 80, Hint: "Empty: the one who went in first."}}
}

func handReading(d Depot) []Field {
	return []Field{
		{Name: "place", Covers: []string{"stack", "line", "store", "point"}, Label: "Where", Sort: Choice, Needed: true, Choices: handPlaces(d)},
		{Name: "value", Label: "Reading", Sort: Number, Needed: true, Hint: "Nothing found: 0, and below what the method finds nothing."},
		{Name: "unit", Label: "Unit", Sort: Choice, Needed: true, Choices: gasUnits, Preset: logbook.PPM},
		{Name: "method", Label: "Method", Sort: Text, Needed: true, Suggest: []string{"detector tube", "hand meter"}, Longest: 80},
		{Name: "detection_limit", Label: "The method finds nothing below", Sort: Number,
			Hint: "In the same unit; it stands on the tube's or the meter's papers. A clearance needs it to be below the limit."},
		{Name: "instrument", Label: "Serial number of the meter, or batch of the tubes", Sort: Text, Longest: 80, Advanced: true},
		{Name: "accuracy", Label: "Greatest error", Sort: Number, Most: 1, Advanced: true, Hint: "As a fraction of the reading, 0.1 for 10 %. Empty: that of a detector tube."},
	}
}

func lineProved(d Depot) []Field {
	return []Field{
		{Name: "place", Covers: []string{"stack", "line", "store", "point"}, Label: "Which line", Sort: Choice, Needed: true, Choices: linePlaces(d)},
		{Name: "end_test", Label: "Test from the far end", Sort: Choice, Needed: true, Choices: []Option{
			{Value: logbook.EndTestSpan, Label: "span gas let in at the end"}, {Value: logbook.EndTestBreath, Label: "breath blown in at the end"}}},
		{Name: "seen", Label: "This channel, and no other, answered", Sort: Yes},
		{Name: "channel", Label: "Channel that answered", Sort: Choice, Choices: channels(d)},
		{Name: "lag", Label: "From letting in to the answer", Unit: "s", Sort: Length},
		{Name: "span", Label: "Concentration of the span gas", Sort: Number, Hint: "Needed for a test with span gas."},
		{Name: "read", Label: "What the channel showed of it", Sort: Number},
		{Name: "zero", Label: "Reading in clean air", Sort: Number, Signed: true, Hint: "Empty when it was not tested."},
		{Name: "unit", Label: "Unit of these three", Sort: Choice, Choices: gasUnits, Preset: logbook.PPM},
		{Name: "flow", Label: "Flow at the end of the line", Unit: "L/min", Sort: Number, Hint: "Empty when it was not tested."},
	}
}

func grainInspected(d Depot) []Field {
	return []Field{stackField(d),
		{Name: "insects", Label: "Live insects", Sort: Choice, Needed: true, Choices: []Option{
			{Value: logbook.InsectsNone, Label: "none found"}, {Value: logbook.InsectsLive, Label: "found"}}},
		{Name: "method", Label: "How it was looked for", Sort: Text, Needed: true, Suggest: []string{"sieved samples", "sieved samples, incubated", "caged insects"}, Longest: 120},
	}
}

func acknowledged(d Depot) []Field {
	return []Field{{Name: "which", Covers: []string{"alarm", "store", "stack", "line", "point", "channel"}, Label: "Alarm", Sort: Choice, Needed: true, Choices: alarms(d)}}
}
