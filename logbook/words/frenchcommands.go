package words

// frenchCommands are what englishCommands are.
var frenchCommands = map[string]string{
	"act/accepted": "{act} accepté, inscription {entry}",
	"act/kept":     "{act} conservé, inscription {entry} ; il sera jugé quand le service aura rattrapé son retard",
	"act/refused":  "refusé : {why} (conservé, inscription {entry})",
	"act/differs":  "l'identifiant « {id} » a déjà servi pour autre chose (inscription {entry}) : rien n'a été conservé",

	"record/phase":     "{of} : {phase}, verdict {verdict}",
	"record/end-level": "{of}, {moment} : {shown}, {ppm} ppm pour {end} ppm",
	"record/alarm":     "{state} ({priority}) : {text}",
	"record/forecast":  "{of} pour {when} : {p50} ppm ({p05} à {p95}), probabilité de tenir la concentration finale : {chance}",
	"record/lowest":    "ligne la plus basse",
	"record/message":   "{state} à {to} par {by} : {subject}",

	"phase/dosing": "pose du phosphure", "phase/exposure": "exposition", "phase/airing": "aération", "phase/withholding": "délai d'attente", "phase/closed": "terminé",
	"moment/shortest-exposure": "fin de l'exposition minimale", "moment/airing": "début de l'aération",
	"shown/met": "atteinte", "shown/not-met": "non atteinte", "shown/not-shown": "non montrée",
	"alarm-state/raised": "donnée", "alarm-state/acknowledged": "prise en charge", "alarm-state/cleared": "fin",
	"message-state/handed-over": "remis", "message-state/delayed": "retardé", "message-state/in-doubt": "incertain", "message-state/given-up": "abandonné",
	"form/tablets": "comprimés", "form/pellets": "granulés", "form/sachets": "sachets", "form/plates": "plaques",
}
