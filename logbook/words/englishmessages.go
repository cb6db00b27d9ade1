package words

// Sentences that several messages carry.
const (
	englishNight = "It is night: nobody goes in; wait for daylight."
	englishLaw   = "Local law and the licensed fumigator's word come before this message."
)

// englishMessages are the sentences of e-mails, of events to programs (mail/…) and
// of SMS (sms/…). What an SMS says is in letters of the alphabet of an SMS.
var englishMessages = map[string]string{
	"two-people": twoPeople,

	"priority/high": "high", "priority/medium": "medium", "priority/low": "low",
	"where/inside": "inside", "where/door": "door", "where/office": "office", "where/outside": "outside", "where/dwelling": "dwelling",

	"mail/subject":        "[{site}] {priority}: {what}",
	"mail/night":          englishNight,
	"mail/going-in":       "If somebody has to go in: two trained people with breathing protection, in daylight. Otherwise keep everybody out and wait. " + englishLaw,
	"mail/going-in-later": englishNight + " If somebody has to go in then: two trained people with breathing protection; otherwise keep everybody out. " + englishLaw,
	"mail/emergency":      "Emergency: {line}",
	"mail/no-emergency":   "Emergency: no line is set in the site file. Call the public emergency number.",
	"mail/written":        "Written at {when}. {head}",
	"mail/head":           "The logbook (id {id}) stood at entry {entry}; check it with: undersheet verify --head {hash}",
	"mail/no-head":        "The logbook's head could not be read.",
	"mail/no-time":        "an unknown time",
	"mail/somebody":       "somebody",
	"mail/charge":         "{by} has acknowledged this alarm and takes charge of it. It stands until it is said to be over.",
	"mail/taken":          "taken by {by}: {what}",
	"mail/alarm":          "Alarm: {alarm}",
	"mail/of-stack":       "stack {name}",
	"mail/of-line":        "line {name}",
	"mail/of-point":       "point {name}",
	"mail/of-channel":     "channel {name}",
	"mail/began":          "Began: {when}",
	"mail/raised-first":   "Raised first: {when}",
	"mail/came":           "It came {times} times in that span; this message speaks for all of them.",
	"mail/same-cause":     "Of the same cause: {alarms}",
	"mail/fell":           "The clearance of {store} no longer holds",
	"mail/come-out":       "Whoever is inside comes out. {gate}",
	"mail/stack":          "Stack {stack}, treatment {treatment}, read last under the sheet:",
	"mail/no-name":        "without a name yet",
	"mail/item":           "- {name}: {what}",
	"mail/gate":           "Gate: {gate}",
	"mail/sample":         "{value} {unit} ({state}) at {when}",
	"mail/no-sample":      "nothing read yet",
	"mail/repeat":         "May be a repeat: {subject}",
	"mail/repeated":       "This may be a repeat: the program was interrupted while it handed this message over.",
	"mail/late":           "This message is late: it was written at {when}, {late} before it could be handed over. Things may have changed since.",

	"sms/head":           "{site} {priority}:",
	"sms/no-emergency":   "Emergency: call the public emergency number.",
	"sms/night-care":     "It is night: nobody goes in; wait for daylight. Then: two trained people, breathing protection, never alone.",
	"sms/still":          "still not acknowledged since {since}:",
	"sms/since":          "since {since}",
	"sms/taken":          "taken by {by}",
	"sms/alarms":         "{count} alarms since {since}",
	"sms/messages":       "{count} messages since {since}",
	"sms/unacknowledged": "(not acknowledged)",
	"sms/rest":           "and {count} more, see the pages",
	"sms/repeat":         "May be a repeat.",
	"sms/late":           "Late, written {when}.",
	"sms/do-over":        "That lets nobody in: look at the gate of the store.",
	"sms/do-fell":        "Whoever is inside comes out; nobody goes in.",
	"sms/do-taken":       "It stands until it is said to be over.",
	"sms/do-else":        "Ask whoever is in charge of the treatment.",

	// The one thing to do about each alarm, by its name or name/code. What would take
	// somebody in is not among it.
	"sms/leak":                 "Keep the store shut; read the air at the door; ask the licensed fumigator.",
	"sms/leak/or-drift":        "Keep the store shut; read the air at the door; a hand reading at the cabinet outside tells leak from drift.",
	"sms/end-level-at-risk":    "Ask the licensed fumigator now, while it can be mended.",
	"sms/end-level-missed":     "Do not start airing; ask the licensed fumigator.",
	"sms/uneven-gas":           "Ask the licensed fumigator for a longer exposure.",
	"sms/air-gas":              "Everybody out, upwind, now; count the people; nobody goes back.",
	"sms/air-gas/office":       "Everybody out of the office, upwind, now; count the people; nobody goes back.",
	"sms/air-gas/dwelling":     "Call everybody out, upwind, now, at any hour; count the people; nobody goes back.",
	"sms/gate-rebound":         "Everybody out, now; count the people; shut and guard the door; nobody goes back.",
	"sms/line-silent":          "Look at the instrument, its power and cable from outside the store only.",
	"sms/line-off":             "Keep the store shut; plan the repair with the licensed fumigator.",
	"sms/line-blocked":         "Look at pump, filter and water trap outside the store only.",
	"sms/lines-swapped":        "Look at the connections of both lines at the cabinet outside the store only.",
	"sms/instrument-drift":     "Take a hand reading of this line at the cabinet outside the store; test zero and span.",
	"sms/instrument-fault":     "Its values are not used. Have it looked at from outside the store only.",
	"sms/instrument-silent":    "Look at its power, cable and port from outside the store only.",
	"sms/point-silent":         "Look at the instrument from outside the store only. The gate stays shut.",
	"sms/sensor-silent":        "Look at the sensor, its power and cable from outside the store only.",
	"sms/pump-off":             "Look at the sampling pump from outside the store only; start it again.",
	"sms/pump-off/by-gas":      "Look at the sampling pump from outside the store only. If it runs: hold it for an open sheet, keep the store shut.",
	"sms/door-opened":          "Call out from the door whoever went in; shut and guard it; nobody goes in to look.",
	"sms/door-opened/overdue":  "Call them from the door, now. No answer: call the emergency line; nobody follows.",
	"sms/power-lost":           "Keep the stores shut and guarded until power is back.",
	"sms/fire-risk":            "Nobody goes in; no switches, flames or water; call the fire service and the licensed fumigator.",
	"sms/fire-risk/over-range": "Nobody goes in; no switches, flames or water; ask the licensed fumigator, else the fire service.",
	"sms/fire-risk/attention":  "Nobody goes in; keep flames and switches away; tell the licensed fumigator.",
	"sms/too-cold":             "Leave the sheet shut; ask the licensed fumigator.",
	"sms/masked-entry-overdue": "Call them from the door, now. No answer: call the emergency line; nobody follows.",
	"sms/follow-up-due":        "Look at the page of the stack for what is owed.",
	"sms/watch-stopped":        "Nothing is watched: restart the program. Every gate stays shut.",
}

// englishStates name how a reading was judged.
var englishStates = map[string]string{
	"reading/ok": "ok", "reading/below-detection": "below detection", "reading/over-range": "over range", "reading/fault": "fault",
	"reading/below-zero": "below zero", "reading/stuck": "stuck", "reading/future": "dated ahead", "reading/late": "late",
	"reading/second-value": "second value", "reading/duplicate": "repeated", "reading/retained": "stored by the broker",
	"reading/unit-mismatch": "wrong unit", "reading/silent": "silent", "reading/none": "nothing yet",
}
