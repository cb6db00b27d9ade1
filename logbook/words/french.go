package words

// frenchTwoPeople opens what twoPeople opens in English. Its letters are all in the
// alphabet of an SMS.
const frenchTwoPeople = "N'entrez pas seul : deux personnes formées, protection respiratoire, en plein jour ; sinon, attendez. "

// french is the catalogue of sentences in French, with the same keys and the same
// named values as english. Its words are those of the trade: pile, bâche, magasin,
// aération, délai d'attente, fumigateur agréé. The spaces before high punctuation
// and units are put in by its style.
var french = catalogue{
	texts: joined(frenchSeen),
	phrase: map[string]string{
		"not-named":      "(non indiqué)",
		"in-stack":       "pile {}",
		"in-line":        "ligne {}",
		"in-store":       "{}",
		"in-point":       "{}",
		"in-channel":     "voie {}",
		"unknown-alarm":  "Alarme {about} : {place} ({value}, {limit}).",
		"unknown-advice": frenchTwoPeople + "Ce programme n'a pas de mots pour cette alarme : consultez la personne responsable du traitement.",
		"seen":           "Prise en charge par {about} : ",
		"over":           "Fin d'alarme : ",
		"over-advice":    "Cette alarme a pris fin. Cela n'autorise personne à entrer : consultez l'état de l'accès au magasin.",
		"read":           "Mesures : ",
		"point-read":     "{point} {value} ppm, avec son erreur jusqu'à {limit} ppm",
		"nothing-read":   "Aucun point de mesure de l'air n'a encore été lu.",
		"percent":        "{} %",
		"chance-over":    "plus de 99 %",
		"chance-under":   "moins de 1 %",
	},
	style: frenchStyle,
}
