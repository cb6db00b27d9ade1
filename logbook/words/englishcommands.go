package words

// englishCommands are what commands answer, and one line of each kind of record.
var englishCommands = map[string]string{
	"act/accepted": "{act} accepted as entry {entry}",
	"act/kept":     "{act} kept as entry {entry}; it is judged when the daemon has caught up",
	"act/refused":  "refused: {why} (kept as entry {entry})",
	"act/differs":  "the id \"{id}\" was used before for something else (entry {entry}): nothing was kept",

	"record/phase":     "{of}: {phase}, verdict {verdict}",
	"record/end-level": "{of} at {moment}: {shown}, {ppm} ppm against {end} ppm",
	"record/alarm":     "{state} ({priority}): {text}",
	"record/forecast":  "{of} for {when}: {p50} ppm ({p05} to {p95}), chance to hold the end level {chance}",
	"record/lowest":    "lowest line",
	"record/message":   "{state} to {to} by {by}: {subject}",

	"phase/dosing": "dosing", "phase/exposure": "exposure", "phase/airing": "airing", "phase/withholding": "withholding", "phase/closed": "closed",
	"moment/shortest-exposure": "shortest exposure", "moment/airing": "airing",
	"shown/met": "met", "shown/not-met": "not met", "shown/not-shown": "not shown",
	"alarm-state/raised": "raised", "alarm-state/acknowledged": "acknowledged", "alarm-state/cleared": "over",
	"message-state/handed-over": "handed over", "message-state/delayed": "delayed", "message-state/in-doubt": "in doubt", "message-state/given-up": "given up",
	"form/tablets": "tablets", "form/pellets": "pellets", "form/sachets": "sachets", "form/plates": "plates",
}
