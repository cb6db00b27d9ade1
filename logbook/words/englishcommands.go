package words

// englishCommands are what commands answer, and one line of each kind of record.
var englishCommands = map[string]string{
	"act/accepted": "{act} accepted as entry {entry}",
	"act/kept":     "{act} kept as entry {entry}; it is judged when the daemon has caught up",
	"act/refused":  "refused: {why} (kept as entry {entry})",
	"act/differs":  "the id \"{id}\" was used before for something else (entry {entry}): nothing was kept",

	"record/phase":               "{of}: {phase}, verdict {verdict}",
	"record/end-level":           "{of}, {moment}: {shown}, {ppm} ppm against {end} ppm",
	"record/end-level/not-shown": "{of}, {moment}: {shown}; {end} ppm were asked for",
	"record/alarm":               "{state} ({priority}): {text}",
	"record/forecast":            "{of} for {when}: {p50} ppm ({p05} to {p95}), chance to hold the end level {chance}",
	"record/lowest":              "lowest line",
	"record/message":             "{state} to {to} by {by}: {subject}",
}
