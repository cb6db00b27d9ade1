package words

// frenchCharts are what stands on the charts of a stack.
var frenchCharts = map[string]string{
	"chart/hours":             "heures depuis t = 0",
	"chart/end-level":         "concentration finale {level} ppm",
	"chart/all":               "Ce que les lignes de la pile {stack} ont lu",
	"chart/all-says":          "{count} lignes, face à la concentration finale de {level} ppm.",
	"chart/line":              "Ligne {line} de la pile {stack}",
	"chart/last":              "Dernière valeur {value} ppm.",
	"chart/at-end":            "À la fin prévue {p50} ppm, à 90 % entre {p05} et {p95}.",
	"chart/nothing-read":      "Rien n'a encore été lu.",
	"chart/sheet":             "Pile {stack}, traitement {treatment}",
	"chart/drawn":             "t = 0 : {start}. Dessiné au {now} ({zone}).",
	"chart/thick":             "Trait épais : médiane ajustée de {line}, puis prévision en tirets à partir de maintenant ; zone ombrée : où la vraie concentration se trouve à 90 %.",
	"chart/numbers":           "Numéros : {events}",
	"chart/residuals":         "Mesures moins ajustement",
	"chart/of-fit":            "% de l'ajustement",
	"chart/residuals-says":    "Moyennes horaires de {count} lignes ; l'axe va jusqu'à ±{most} %.",
	"chart/residuals-caption": "Moyennes horaires de chaque ligne, en pour cent de son ajustement, par les lettres des lignes. L'ajustement est celui de toutes les mesures jusqu'à maintenant.",
	"chart/statistic":         "Test de fuite",
	"chart/threshold":         "seuil {threshold}",
	"chart/onset":             "début",
	"chart/leak":              "fuite",
	"chart/over":              "fin",
	"chart/statistic-says":    "Statistique {value}, seuil {threshold} ; {count} fuites ont été signalées.",
	"chart/statistic-caption": "S : toutes les lignes ensemble. L : la ligne qui se détache le plus des autres. Au-dessus du seuil, une fuite est signalée. Gris : où se trouve son début, à 95 % ; tant qu'une fuite dure, le test compte à partir du nouveau taux, si bien qu'il retombe, et une autre fuite n'est signalée qu'à une autre ligne, au-delà du seuil. Lacunes : le test n'était pas en marche.",
}
