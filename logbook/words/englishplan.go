package words

// englishPlan says what a plan says: names of figures, what stands against the
// treatment or is owed, where sampling lines end, and what is checked and signed.
var englishPlan = map[string]string{
	// Figures.
	"exposure": "Shortest exposure", "end-level": "End level on every line", "airing": "Shortest airing", "withholding": "Withholding after clearance",
	"exclusion-zone": "Exclusion zone round the stack", "dwellings": "Nearest dwelling", "dwellings-least": "Least distance to dwellings",
	"volume": "Volume of the stack", "weight": "Weight of the stack", "cover-length": "Cover, length", "cover-width": "Cover, width", "sheets": "Sheets", "cover-area": "Area of sheeting",
	"snakes": "Sand-snakes", "snake-length": "Sand-snakes, all in line", "dose-per-tonne": "Phosphine a tonne", "dose-per-m3": "Phosphine a cubic metre under the sheet", "dose": "Phosphine in all",
	"pieces": "Pieces", "trays": "Trays", "places": "Places", "gas-space": "Gas space", "full-ppm": "Concentration if nothing were lost",

	// What stands against it, or is owed.
	"protocol-unknown":        "Protocol {about} is not known: the strictest figures of all were taken. Choose one that the site file or the program knows.",
	"temperature-owed":        "The temperature of the grain is owed: measure it in the heart of the stack. Without it nothing says whether phosphine will work.",
	"too-cold":                "The grain is at {value} °C: below 15 °C phosphine is not effective. Do not treat; wait, or ask the licensed fumigator for another way.",
	"cool":                    "The grain is at {value} °C: insects die slowly and the gas is released slowly. Ten days is what a guide asks for from 15 to 25 °C.",
	"no-guide":                "No national guide was chosen: only the built-in figures were held. Choose the guide of the country.",
	"guide-needs-temperature": "{about}: its exposure depends on the temperature of the grain, which is owed.",
	"guide-refuses":           "The guide refuses this at {value} °C: {about}.",
	"guide-silent":            "{about}: nothing in it fits this pest and {value} °C. Ask the authority.",
	"stack-left-out":          "Stack {about} of this store is not treated with the others: insects from it come back to them. Treat all stacks of a store together.",
	"zone-owed":               "The width of the exclusion zone is owed: the site's own figure, set with its authority.",
	"dwellings-owed":          "How far the nearest dwelling is, and how far it must be, is owed: the site's own figure, set with its authority.",
	"dwellings-near":          "The nearest dwelling is {value} m away, nearer than the site allows.",
	"unsuited":                "{about} is on the list of commodities that phosphine does not suit: the plan is refused. A site with an authority for another list names both in its file.",
	"sorbs-more":              "{about} takes up much phosphine and may need a higher dose: ask the authority for a figure, and give it with its source.",
	"moisture-owed":           "The moisture of the grain was not given: release is slower in dry grain, residue higher in damp.",
	"density-owed":            "No bulk density of {about} is known here: give both tonnes and dimensions.",
	"size-odd":                "The weight and the sides of the stack do not fit together: {value} t/m³. Measure again.",
	"few-lines":               "The stack has {value} sampling line(s): at least three are needed (top, heart, far low corner). With fewer, the verdict rests on one point.",
	"dose-owed":               "The dose for {about} is owed: choose a guide that has one, or give the site's own with its source. This program does not invent doses.",
	"dose-needs-size":         "The dose needs the size of the stack: give tonnes and dimensions of {about}.",
	"form-owed":               "The form of the product (tablets, pellets, sachets or plates) was not given: pieces were not counted.",
	"flammable-near":          "If nothing were lost the gas would reach {value} ppm: above 10 % of the lower explosive limit. Lay the product thinly, far from water and sparks, and let the licensed fumigator look at the dose.",

	// Where sampling lines end.
	"top-middle": "under the sheet at the middle of the top", "heart": "in the heart of the stack at half its height", "far-low-corner": "low at the corner that is farthest from the product, a hand above the floor",

	// Sheets.
	"tight": "tight sheet", "average": "average sheet", "leaky": "leaky sheet",

	// Checks that are signed.
	"floor":               "Floor gas-tight: no cracks, drains or grain trapped under the edge of the sheet",
	"sheet-holes":         "Sheet looked through against the light, holes patched; joins rolled and clamped",
	"corners":             "Corners folded flat, sand-snakes in two rows without a gap",
	"roof-leaks":          "No roof leak above the stack: water on the product makes fire",
	"rain-cover":          "A rain cover over the gas-proof sheet, tied down: water on the product makes fire",
	"water-near":          "No water near the product, nothing damp under the trays",
	"distance-dwellings":  "Distance to dwellings measured and at least what the site keeps to",
	"neighbours-told":     "Neighbours told of dates, gas and telephone",
	"adjoining-bays":      "Adjoining bays, offices and rooms above emptied, their doors locked; their gates are shut too",
	"zone-clear":          "Exclusion zone marked and empty; nobody works or sleeps in its lee",
	"keys":                "All keys of the store in one hand, locks changed or sealed",
	"barrier":             "Barrier round the exclusion zone, closed",
	"guards":              "Guards named for day and night, told not to go in",
	"signs":               "Signs on every entrance: danger, gas, dates, responsible person, telephone, no entry",
	"store-empty":         "Store searched and empty of people and animals, the last one out named",
	"zone-empty":          "Zone searched and empty of people and animals",
	"sampling-lines":      "At least three sampling lines laid, each proved by breath or test gas from outside",
	"gloves":              "Dry cotton gloves for all who touch the product",
	"masks-canisters":     "Full face masks with fresh canisters for this gas, fit tested, for each of the crew",
	"breathing-apparatus": "Self-contained breathing apparatus ready where the air is not known",
	"second-person":       "A second trained person present throughout, named",
	"canister-life":       "Canister life written on each canister and not used up",
	"licences":            "Licences of the fumigators in date",
	"instruments-checked": "Instruments zeroed, bump tested and in date of calibration",
	"emergency-card":      "Emergency card at the door: hospital, poison centre, no rescue without apparatus",
	"weather":             "No storm and no still air foretold for the hours of opening",
	"pest-owed":           "The insect was not named: {about} asks for longer against some. Look for insects, and name them.",
	"law-may-add":         "The law and the label may add to this: notice to authorities and neighbours, distances, more people, other breathing protection, longer exposure, airing or withholding, limits of residue, and forms of their own.",
	"caution":             "Phosphine kills. A plan is no permission: local law, the label of the product and the licensed fumigator decide. Nobody enters a store under gas or not yet cleared, but two trained people with breathing protection, in daylight.",
	"cages-placed":        "Cages with live test insects placed before sheeting, their places written down",
}

// Plan returns the words of a code of a plan.
func Plan(lang, code, about string, value float64) string {
	c := of(lang)
	s, ok := c.plans[code]
	if !ok {
		return c.say(nil, code, values{About: about, Value: value})
	}
	return c.put(s, values{About: about, Value: value})
}
