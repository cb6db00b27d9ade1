package words

// frenchSeen says what englishSeen says.
var frenchSeen = map[string]string{
	"forecast": "À la fin ({when}), la ligne la plus basse est attendue à {p50} ppm (90 % : {p05}–{p95}) ; la probabilité que toutes les lignes soient à {end} ppm ou plus est de {chance}.",

	"lost-line":           "Depuis le {since} environ ({from}–{to}), la ligne {line} perd du gaz {faster} ;",
	"lost-stack":          "Depuis le {since} environ ({from}–{to}), la pile {stack} perd du gaz sur toutes ses lignes {faster} ;",
	"lost-half-day":       "La pile {stack} a perdu du gaz sur la plupart de ses lignes à raison de {after} par jour pendant une demi-journée ; une bâche fermée en aurait laissé partir moins de {threshold}. Elle s'est ouverte avant le {to} ; on ne sait pas quand.",
	"faster":              "{times} fois aussi vite qu'avant ({before} → {after} par jour)",
	"faster-than-nothing": "à raison de {after} par jour, alors qu'elle n'en perdait presque pas",
	"statistic":           "la statistique était de {z} pour un seuil de {threshold}.",
	"statistic-helps":     "elle a baissé régulièrement par rapport aux autres lignes pendant des heures ; la statistique, {z}, le confirme, et il lui faudrait {threshold} pour le dire seule.",
	"fell-at-once":        "toutes les lignes ont chuté d'un coup.",

	"missed":     "Du {from} au {until}, rien n'a été mesuré ni surveillé dans {store} ; sous gaz ou en aération alors : {stacks}.",
	"missed-set": "L'horloge a été avancée du {from} au {until} ; sous gaz ou en aération dans {store} alors : {stacks}.",

	"held-until":     "Si rien n'est fait, toutes les lignes restent à {end} ppm ou plus, avec {want}, jusqu'au {when}.",
	"longer":         "Une exposition plus longue, jusqu'au {when}, finirait à {end} ppm ou plus avec {want}.",
	"no-longer":      "Une exposition plus longue ne suffit pas à porter la probabilité à {want} : le gaz continue de baisser.",
	"other-protocol": "Le protocole {protocol}, {level} ppm jusqu'au {when}, serait tenu avec une probabilité de {chance} ; c'est au fumigateur agréé de dire s'il convient aux insectes.",
	"top-up":         "De la phosphine ajoutée maintenant, {grams} g{pieces}, porterait la probabilité à {want} ; plus tard il en faudrait davantage, et au-delà du {until} même les {most} g posés au début ne suffiraient plus.",
	"top-up-none":    "De la phosphine ajoutée maintenant ne porterait pas la probabilité à {want}, pas même les {most} g posés au début.",
	"pieces":         "({count} {form} de {piece} g)",
	"as-it-leaks":    "Ce calcul prend la fuite telle qu'elle est : ce qui est ajouté fuit aussi dans le magasin, tant que la bâche n'est pas réparée.",
	"who-tops-up":    "Ajouter de la phosphine est une entrée sous protection respiratoire, interdit l'aération avant le {airing}, et relève de la décision du fumigateur agréé, dans les limites de l'étiquette et de la loi. " + frenchTwoPeople,

	"verdict/provisional": "provisoire", "verdict/held": "tenu", "verdict/failed": "échoué", "verdict/abandoned": "abandonné",
	"verdict-points/0": ", en aucun point", "verdict-points/1": ", en un seul point", "verdict-points/2": ", en deux points",
}
