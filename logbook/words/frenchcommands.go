package words

// frenchCommands are what englishCommands are.
var frenchCommands = map[string]string{
	"act/accepted": "{act} accepté, inscription {entry}",
	"act/kept":     "{act} conservé, inscription {entry} ; il sera jugé quand le service aura rattrapé son retard",
	"act/refused":  "refusé : {why} (conservé, inscription {entry})",
	"act/differs":  "l'identifiant « {id} » a déjà servi pour autre chose (inscription {entry}) : rien n'a été conservé",

	"record/phase":               "{of} : {phase}, verdict {verdict}",
	"record/end-level":           "{of}, {moment} : {shown}, {ppm} ppm pour {end} ppm",
	"record/end-level/not-shown": "{of}, {moment} : {shown} ; {end} ppm étaient demandés",
	"record/alarm":               "{state} ({priority}) : {text}",
	"record/forecast":            "{of} pour {when} : {p50} ppm ({p05} à {p95}), probabilité de tenir la concentration finale : {chance}",
	"record/lowest":              "ligne la plus basse",
	"record/message":             "{state} à {to} par {by} : {subject}",
}
