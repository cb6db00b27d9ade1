package words

// englishRecordReasons say what keeps a gate shut of what people recorded around it.
var englishRecordReasons = map[string]string{
	"owed":                   "Owed now: {follow} (treatment {about}).",
	"owed-nothing":           "It owes nothing now.",
	"adjoining-under-gas":    "{about} next door is under gas: nobody stays on this side of the wall either.",
	"check-after-over-range": "The instrument at {about} was over its range: it does not count until a bump test or a calibration has passed.",
	"check-after-swap":       "The instrument at {about} was swapped: it does not count until a bump test or a calibration has passed.",
	"check-failed":           "The instrument at {about} failed its last check: it does not count until one has passed.",
	"check-overdue":          "The check of the instrument at {about} is overdue: it does not count until one has passed.",
}

// englishRecordFindings say what does not add up, or goes against good practice, in
// what people recorded.
var englishRecordFindings = map[string]string{
	"opened-in-the-dark":                "{place}: opened in the dark. Reason given: {about}.",
	"opened-in-the-dark-no-reason":      "{place}: opened in the dark, and no reason was given. People below cannot be seen, and nobody goes in at night.",
	"opened-at-dusk":                    "{place}: opened so late that the two hours of airing end without daylight. Reason given: {about}.",
	"opened-at-dusk-no-reason":          "{place}: opened so late that the two hours of airing end without daylight, and no reason was given.",
	"opened-in-still-air":               "{place}: opened in still air ({value} m/s): gas stays near the ground. Reason given: {about}.",
	"opened-in-still-air-no-reason":     "{place}: opened in still air ({value} m/s), and no reason was given: gas stays near the ground. Keep people away on all sides.",
	"opened-towards-dwelling":           "{place}: opened with the wind towards people's homes: {about}.",
	"opened-towards-dwelling-no-reason": "{place}: opened with the wind towards {about}, and no reason was given. Warn the people there by telephone; trained people measure there, coming from upwind.",
	"stock-count-off":                   "The count of {product} is off by {value} pieces from the ledger: {limit} were counted. Find out where they went.",
	"stock-negative":                    "More {product} were used than the ledger had: it stands at {value}. Something that came in was not recorded, or was used elsewhere.",
	"dose-placed-alone":                 "{place}: one person alone, {about}, laid the dose. Two trained people are the least.",
	"dose-placed-no-protection":         "{place}: what the people who laid the dose wore was not recorded.",
	"dose-placed-differs":               "{place}: the pieces that were laid give {value} g of phosphine; {limit} g is on record.",
	"residue-live":                      "{place}: {value} pieces of residue are not shown spent and may still give off gas: trained people with breathing protection keep them apart, in the open, dry, not heaped, not closed in.",
	"residue-spent-not-shown":           "{place}: {value} pieces are said to be spent; how that was shown was not recorded.",
	"residue-count":                     "{place}: the pieces of {product} do not add up: {value} against {limit}. Nobody works there before two trained people with breathing protection have looked for the rest, by daylight.",
	"residue-heaped":                    "{place}: residue was heaped. It can catch fire: keep away, upwind. Two trained people with breathing protection spread it out, dry, in the open, by daylight.",
	"residue-closed-drum":               "{place}: residue was closed in a drum. It can burst or burn: keep away, call the licensed fumigator.",
	"residue-buried-live":               "{place}: {value} pieces were buried that were not shown spent.",
	"residue-handed-to-nobody":          "{place}: residue was handed over; to whom was not recorded.",
	"check-unknown":                     "{store}: there is no check called {about}.",
	"checks-signed-alone":               "{store}: the checks were signed without a second person.",
	"checks-owed":                       "{place}: {value} checks before dosing were not signed in the last day: {checks}.",
	"checks-owed/1":                     "{place}: a check before dosing was not signed in the last day: {checks}.",
	"checks-owed/all":                   "{place}: no check before dosing was signed.",
	"checks-wanting":                    "{place}: {value} checks before dosing were found wanting: {checks}.",
	"checks-wanting/1":                  "{place}: a check before dosing was found wanting: {checks}.",
	"check-out-of-tolerance":            "Channel {channel}: at the {check} it was off by {value} ppm, more than the {limit} ppm that its accuracy allows: it did not pass.",
	"licence-expired":                   "{place}: the licence of {about} has run out by the site file. Phosphide is laid by licensed people.",
	"person-exposed":                    "{about} met air that over 8 hours comes to {value} ppm outside the mask, against a limit of {limit} ppm. What the mask kept off is not counted. A doctor decides what follows; no more entries today.",
	"person-exposure-unknown":           "{about} was in air that was not known for some of {value} minutes: the exposure cannot be told.",
	"clearance-fell-by-correction":      "{store}: the clearance that {about} gave rested on what was corrected, and has fallen. Whoever went in comes out; hand readings and a confirmation are owed anew.",
	"correction-does-not-fit":           "The correction of entry {value} does not fit it: another kind of act stands there, or one that stands as it was made. It was left out.",
}
