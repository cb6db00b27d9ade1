package words

// frenchTwoPeople opens what twoPeople opens in English. Its letters are all in the
// alphabet of an SMS.
const frenchTwoPeople = "N'entrez pas seul : deux personnes formées, protection respiratoire, en plein jour ; sinon, attendez. "

// french is the catalogue of sentences in French, with the same keys and the same
// named values as english. The spaces before high punctuation and units are put in
// by its style. Its words are those of the trade, one for each thing:
//
//	stack pile · sheet bâche · store magasin · line ligne (de prélèvement) · air point point de mesure de l'air ·
//	channel voie · logbook registre · exposure exposition · end level concentration finale · airing aération ·
//	gate accès (ouvert, fermé) · clearance levée de l'interdiction · withholding délai d'attente ·
//	hand reading mesure manuelle · masked entry entrée sous protection respiratoire · leak fuite · drift dérive ·
//	acknowledge prendre en charge · owed dû · dose dose · piece unité · gas space volume gazeux ·
//	bump test essai au gaz · calibration étalonnage · span sensibilité · line proof épreuve de la ligne ·
//	sand-snake boudin de sable · residue résidus · licensed fumigator fumigateur agréé · site file fichier du site
var french = catalogue{
	reasons:  joined(frenchReasons, frenchRecordReasons),
	refused:  frenchRefused,
	findings: joined(frenchFindings, frenchRecordFindings, frenchFollowFindings),
	plans:    frenchPlan,
	alarms:   joined(frenchAlarms, frenchFollowAlarms),
	criteria: frenchCriteria,
	texts:    joined(frenchReport, frenchReportCodes, frenchSeen, frenchPaper, frenchMessages, frenchSeason, frenchCommands, frenchCodes, frenchWeb, frenchPlanned, frenchFollow, frenchFollowForms, frenchDue, frenchSaid),
	gates:    frenchGates,
	phrase: map[string]string{
		"not-named":              "(non indiqué)",
		"in-stack":               "pile {}",
		"in-line":                "ligne {}",
		"in-store":               "{}",
		"in-point":               "{}",
		"in-channel":             "voie {}",
		"unknown-alarm":          "Alarme {about} : {place} ({value}, {limit}).",
		"unknown-advice":         frenchTwoPeople + "Ce programme n'a pas de mots pour cette alarme : consultez la personne responsable du traitement.",
		"seen":                   "Prise en charge par {about} : ",
		"over":                   "Fin d'alarme : ",
		"over/end-level-at-risk": "la concentration finale de la pile {stack} était en péril.",
		"over/air-gas":           "du gaz a été mesuré dans l'air à {place} ; la limite est de {limit} ppm.",
		"over/gate-rebound":      "le gaz était revenu dans l'air de {store} après la levée de l'interdiction.",
		"over/clock-behind":      "l'horloge de l'ordinateur retardait sur la dernière inscription du registre.",
		"over/unwatched":         "le temps pendant lequel personne n'a surveillé {store}.",
		"over-advice/leak":       "Cette alarme a pris fin. Cela n'autorise personne à entrer : consultez l'état de l'accès au magasin. Si personne n'a refermé la bâche, tenez-la pour encore ouverte : au bout d'un jour, le gaz que la marchandise restitue masque une fuite.",
		"over-advice":            "Cette alarme a pris fin. Cela n'autorise personne à entrer : consultez l'état de l'accès au magasin.",
		"read":                   "Mesures : ",
		"point-read":             "{point} {value} ppm, avec son erreur jusqu'à {limit} ppm",
		"nothing-read":           "Aucun point de mesure de l'air n'a encore été lu.",
		"percent":                "{} %",
		"chance-over":            "plus de 99 %",
		"chance-under":           "moins de 1 %",
	},
	style: frenchStyle,
}
