package words

// clearedOnly opens every advice on a follow-up that is done beside a stack.
const clearedOnly = "Only while a named person's clearance of the store holds, by daylight, two people together; else wait. "

// englishFollowAlarms say what is owed after a treatment, and around it. Before each
// headline stands how pressing it is.
var englishFollowAlarms = map[string]sentence{
	"follow-up-due": {"something about {place} is still owed.",
		"Look at the page of what is owed."},
	"follow-up-due/bag-gas": {"the gas within the bags of stack {stack} is to be read before closed lorries are loaded.",
		clearedOnly + "A figure at or above the limit keeps the grain back. No closed lorry or container is loaded before."},
	"follow-up-due/inspection": {"the grain of stack {stack} is to be looked at for live insects, late in the afternoon (treatment {about}).",
		clearedOnly + "Record what was found, and how it was looked for."},
	"follow-up-due/second-look": {"the grain of stack {stack} is to be looked at once more for live insects (treatment {about}).",
		clearedOnly + "What was an egg at the first look may have hatched."},
	"follow-up-due/cages-retrieval": {"the cages with test insects are to be taken out of stack {stack} (treatment {about}).",
		clearedOnly + "Count the cages, and keep them apart from other grain and insects."},
	"follow-up-due/cages-judgement": {"the test insects from stack {stack} are to be judged (treatment {about}).",
		"Count live and dead ones, keep the samples in a ventilated, insect-proof jar for a month."},
	"follow-up-due/jar": {"the jar with the samples from stack {stack} is to be judged again (treatment {about}).",
		"Count what has hatched since, live and dead. The treatment is not closed before."},
	"follow-up-due/second-treatment": {"the second treatment of stack {stack} is to begin.",
		"Insects that hatched since the first one are met by the second. Plan it with the licensed fumigator, for daylight."},
	"follow-up-due/sheet-repair": {"the sheet of stack {stack} is to be looked over and mended before it is used again (treatment {about}).",
		"Spread it out in the open, by daylight, once it is off the stack. Hold every seam and fold against the light."},
	"follow-up-due/residue-disposal": {"residue from stack {stack} is not disposed of (treatment {about}).",
		"Neither heaped nor in a closed drum: it can catch fire. Bury it deep or hand it over as the label and local law say; two trained people with breathing protection, by daylight."},
	"follow-up-due/calibration": {"the instrument of channel {channel} is to be calibrated.",
		"When its time is over it no longer counts for the gate, which then stays shut."},
	"follow-up-due/bump-test": {"the instrument of channel {channel} is to be tried with a known gas.",
		"When its time is over it no longer counts for the gate, which then stays shut."},
	"follow-up-due/licence": {"the licence of {about} is to be renewed.",
		"Phosphide is laid by licensed people alone. Write the new last day into the site file."},
	"follow-up-due/canister": {"the canister of {about}'s mask is to be changed.",
		"It has reached its date or the minutes that its maker allows: the mask is not worn in gas until a new one is on record."},
	"end-level-at-risk/resisted": {"At risk: stack {stack} has a chance of {chance} to hold its end level, and insects there lived through gas that held.", twoPeople +
		"Ask the licensed fumigator and the agency that looks after resistance soon, while it can still be mended: a longer exposure, or the other protocol. More of the same gas is no answer. Keep samples."},
	"suspected-resistance": {"Suspected resistance: keep samples, tell the agency. Live insects in stack {stack} after {about}, whose gas held the end level.",
		"The treatment failed, though the gas was there: more of the same gas is no answer. Keep the live insects and samples of the grain, closed and labelled, and tell the agency that looks after resistance and the licensed fumigator. The grain stays where it is until they have answered. Whoever has to visit the stack: " + twoPeople},
	"live-insects": {"Failed: live insects in stack {stack} after {about}, whose gas did not hold the end level.",
		"Treat again as the licensed fumigator says, and only after the cause is mended: the sheet, the seal at the floor, the time. Whoever has to visit the stack: " + twoPeople},
}

// englishFollowFindings say what does not fit in what people recorded afterwards.
var englishFollowFindings = map[string]string{
	"suspected-resistance":     "{place}: live insects after {about}, whose gas held the end level: suspected resistance. Keep samples, tell the agency.",
	"live-insects":             "{place}: live insects after {about}: a failed treatment. Treat again as the licensed fumigator says.",
	"nothing-owed":             "{place}: what was recorded is owed by no treatment there ({follow}): it is kept and changes nothing. Look at the name of the treatment.",
	"cages-before-clearance":   "{place}: cages were taken out before the store was cleared. Nobody goes in before that but two trained people with breathing protection, in daylight.",
	"cages-missing":            "{place}: cages that were not found again: {value}. They may hold live insects.",
	"cages-after-sheeting":     "{place}: cages were recorded after the sheet was shut: they do not show the whole exposure.",
	"jar-judged-early":         "{place}: the jar was judged {tenths} days before its month is over and showed nothing: it is owed again then.",
	"issued-with-live-insects": "{place}: {value} t were issued while insects that lived through treatment {about} are suspected of resistance. Stop the lorry, tell whoever receives it and the agency, and keep samples.",
	"issued-in-withholding":    "{place}: {value} t were issued while the grain is held back. Stop the lorry, and tell whoever receives it.",
	"issued-before-bag-gas":    "{place}: {value} t went into a closed vehicle before the gas within the bags was read. Gas gathers there: nobody opens it but in the open, upwind, two people, by daylight. Tell whoever receives it.",
	"gas-in-bags":              "{place}: {value} ppm within the bags, to be below {limit} ppm: the grain is held back. Air it on, and read again.",
	"bag-gas-too-coarse":       "{place}: a method that finds nothing under {value} ppm shows nothing against a limit of {limit} ppm: the reading within the bags counts for nothing.",
	"bag-gas-too-coarse/0":     "{place}: the reading within the bags does not say what its method can find, to be below {limit} ppm: it counts for nothing.",
	"sheet-not-repaired":       "{place}: a sheet is used again that leaked or was torn and has not been looked over since.",
	"canister-expired":         "The canister recorded for {about}'s mask had been out of date for {tenths} days: it is not worn in gas.",
}

// englishFollow are the words of pages, reports and calendars for what is owed.
var englishFollow = map[string]string{
	"follow/ahead":   "Soon, in {span}: {what}",
	"follow/due":     "Due: {what}",
	"follow/overdue": "Overdue by {span}: {what}",
	"follow/hours":   "{count} hours",
	"follow/days":    "{count} days",

	"mail/owed":      "{count} things are owed",
	"mail/owed-over": "{count} things that were owed are over",
	"mail/due":       "Due: {when}",
	"mail/until":     "At the latest: {when}",
	"mail/owner":     "To be done by {name}, or seen to by them",

	"follow/withholding":      "withholding",
	"follow/bag-gas":          "gas within bags",
	"follow/inspection":       "inspection for live insects",
	"follow/second-look":      "second inspection",
	"follow/cages-retrieval":  "taking out cages of test insects",
	"follow/cages-judgement":  "judging test insects",
	"follow/jar":              "judging samples after a month",
	"follow/second-treatment": "second treatment",
	"follow/sheet-repair":     "repair of the sheet",
	"follow/residue-disposal": "disposal of residue",
	"follow/calibration":      "calibration",
	"follow/bump-test":        "trial with a known gas",
	"follow/licence":          "renewal of the licence",
	"follow/canister":         "change of the canister",

	"follow/open":        "owed",
	"follow/done":        "done",
	"follow/written-off": "written off",

	"follow/none-found":    "no live insects found",
	"follow/live-found":    "live insects found",
	"follow/not-known":     "not known: lost or spoilt",
	"follow/treated-again": "the next treatment of the stack takes its place",
	"follow/no-room":       "given up: too many treatments of the stack are owed something",
	"follow/no-longer":     "what it was of is on record no more",
}
