package words

// englishSeen says what a forecast and a leak rest on, and what can still be done.
// Times are the depot's, concentrations ppm.
var englishSeen = map[string]string{
	"forecast": "At the end ({when}) the lowest line is expected at {p50} ppm (90 %: {p05}–{p95}); the chance that every line is at or above {end} ppm is {chance}.",

	"lost-line":           "Since about {since} ({from}–{to}) line {line} has lost gas {faster};",
	"lost-stack":          "Since about {since} ({from}–{to}) stack {stack} has lost gas on all lines {faster};",
	"lost-half-day":       "Stack {stack} lost gas on most lines at {after} per day in half a day; a sheet that is shut would have lost less than {threshold}. It opened before {to}; when is not known.",
	"faster":              "{times} times as fast as before ({before} → {after} per day)",
	"faster-than-nothing": "at {after} per day, before at hardly any",
	"statistic":           "the statistic was {z} against a threshold of {threshold}.",
	"statistic-helps":     "it fell steadily beside the other lines for hours; the statistic, {z}, bears that out, and would need {threshold} to tell it alone.",
	"fell-at-once":        "all lines fell at once.",

	"missed":     "From {from} to {until} nothing was read or watched in {store}; under gas or aired then: {stacks}.",
	"missed-set": "The clock was set ahead from {from} to {until}; under gas or aired in {store} then: {stacks}.",

	"held-until":     "With nothing done, every line stays at or above {end} ppm with {want} until {when}.",
	"longer":         "A longer exposure, to {when}, would end at or above {end} ppm with {want}.",
	"no-longer":      "A longer exposure alone does not bring the chance to {want}: the gas goes on falling.",
	"other-protocol": "The {protocol} protocol, {level} ppm to {when}, would be held with a chance of {chance}; whether it suits the insects is for the licensed fumigator to say.",
	"top-up":         "Phosphine added now, {grams} g{pieces}, would bring the chance to {want}; later it takes more, and after {until} not even the {most} g that were laid at first would do.",
	"top-up-none":    "Phosphine added now would not bring the chance to {want}, not even the {most} g that were laid at first.",
	"pieces":         "({count} {form} of {piece} g)",
	"as-it-leaks":    "This is reckoned with the leak as it is: what is added leaks into the store too, until the sheet is mended.",
	"who-tops-up":    "Adding phosphine is a masked entry, keeps airing from beginning before {airing}, and is for the licensed fumigator to decide, within the label and the law. " + twoPeople,

	"verdict/provisional": "provisional", "verdict/held": "held", "verdict/failed": "failed", "verdict/abandoned": "abandoned",
	"verdict-points/0": ", at no point", "verdict-points/1": ", at one point", "verdict-points/2": ", at two points",
}
