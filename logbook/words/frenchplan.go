package words

// frenchPlan says what a plan says.
var frenchPlan = map[string]string{
	// Figures.
	"exposure": "Exposition minimale", "end-level": "Concentration finale sur chaque ligne", "airing": "Aération minimale", "withholding": "Délai d'attente après la levée de l'interdiction",
	"exclusion-zone": "Zone d'exclusion autour de la pile", "dwellings": "Habitation la plus proche", "dwellings-least": "Distance minimale aux habitations",
	"volume": "Volume de la pile", "weight": "Masse de la pile", "cover-length": "Bâche, longueur", "cover-width": "Bâche, largeur", "sheets": "Bâches", "cover-area": "Surface de bâche",
	"snakes": "Boudins de sable", "snake-length": "Boudins de sable, bout à bout", "dose-per-tonne": "Phosphine par tonne", "dose-per-m3": "Phosphine par mètre cube sous la bâche", "dose": "Phosphine en tout",
	"pieces": "Unités de produit", "trays": "Plateaux", "places": "Emplacements", "gas-space": "Volume gazeux", "full-ppm": "Concentration si rien n'était perdu",

	// What stands against it, or is owed.
	"protocol-unknown":        "Le protocole {about} n'est pas connu : les chiffres les plus stricts de tous ont été pris. Choisissez-en un que le fichier du site ou le programme connaît.",
	"temperature-owed":        "La température du grain est due : mesurez-la au cœur de la pile. Sans elle, rien ne dit si la phosphine agira.",
	"too-cold":                "Le grain est à {value} °C : au-dessous de 15 °C, la phosphine n'est pas efficace. Ne traitez pas ; attendez, ou demandez un autre moyen au fumigateur agréé.",
	"cool":                    "Le grain est à {value} °C : les insectes meurent lentement et le gaz se dégage lentement. Un guide demande dix jours de 15 à 25 °C.",
	"no-guide":                "Aucun guide national n'a été choisi : seuls les chiffres du programme ont été appliqués. Choisissez le guide du pays.",
	"guide-needs-temperature": "{about} : son exposition dépend de la température du grain, qui est due.",
	"guide-refuses":           "Le guide refuse cela à {value} °C : {about}.",
	"guide-silent":            "{about} : rien n'y correspond à cet insecte et à {value} °C. Consultez l'autorité.",
	"stack-left-out":          "La pile {about} de ce magasin n'est pas traitée avec les autres : ses insectes gagnent de nouveau les autres. Traitez ensemble toutes les piles d'un magasin.",
	"zone-owed":               "La largeur de la zone d'exclusion est due : le chiffre propre au site, fixé avec son autorité.",
	"dwellings-owed":          "Restent à indiquer la distance de l'habitation la plus proche et la distance minimale exigée : le chiffre propre au site, fixé avec son autorité.",
	"dwellings-near":          "L'habitation la plus proche est à {value} m, plus près que le site ne le permet.",
	"unsuited":                "{about} est sur la liste des denrées auxquelles la phosphine ne convient pas : le plan est refusé. Un site qui a une autorité pour une autre liste indique les deux dans son fichier.",
	"sorbs-more":              "{about} absorbe beaucoup de phosphine et peut demander une dose plus forte : demandez un chiffre à l'autorité, et donnez-le avec sa source.",
	"moisture-owed":           "L'humidité du grain n'a pas été donnée : le dégagement est plus lent dans un grain sec, les résidus plus élevés dans un grain humide.",
	"density-owed":            "Aucune masse volumique apparente de {about} n'est connue ici : donnez à la fois le tonnage et les dimensions.",
	"size-odd":                "La masse et les côtés de la pile ne s'accordent pas : {value} t/m³. Mesurez de nouveau.",
	"few-lines":               "La pile a {value} ligne(s) de prélèvement : il en faut au moins trois (haut, cœur, coin bas le plus éloigné). Avec moins, le verdict repose sur un seul point.",
	"dose-owed":               "La dose pour {about} est due : choisissez un guide qui en donne une, ou donnez celle du site avec sa source. Ce programme n'invente pas de doses.",
	"dose-needs-size":         "La dose demande la taille de la pile : donnez le tonnage et les dimensions de {about}.",
	"form-owed":               "La forme du produit (comprimés, granulés, sachets ou plaques) n'a pas été donnée : les unités n'ont pas été comptées.",
	"flammable-near":          "Si rien n'était perdu, le gaz atteindrait {value} ppm : plus de 10 % de la limite inférieure d'explosivité. Posez le produit en couche mince, loin de l'eau et des étincelles, et faites vérifier la dose par le fumigateur agréé.",

	// Where sampling lines end.
	"top-middle": "sous la bâche, au milieu du dessus", "heart": "au cœur de la pile, à mi-hauteur", "far-low-corner": "en bas, au coin le plus éloigné du produit, à une main au-dessus du sol",

	// Sheets.
	"tight": "bâche étanche", "average": "bâche moyenne", "leaky": "bâche qui fuit",

	// Checks that are signed.
	"floor":               "Sol étanche au gaz : ni fissures, ni regards, ni grain pris sous le bord de la bâche",
	"sheet-holes":         "Bâche examinée à contre-jour, trous rapiécés ; raccords roulés et pincés",
	"corners":             "Coins pliés à plat, boudins de sable sur deux rangs sans interruption",
	"roof-leaks":          "Aucune fuite de toiture au-dessus de la pile : l'eau sur le produit fait du feu",
	"rain-cover":          "Une couverture contre la pluie par-dessus la bâche étanche au gaz, arrimée : l'eau sur le produit fait du feu",
	"water-near":          "Pas d'eau près du produit, rien d'humide sous les plateaux",
	"distance-dwellings":  "Distance aux habitations mesurée et au moins égale à celle que le site respecte",
	"neighbours-told":     "Voisins informés des dates, du gaz et du numéro de téléphone",
	"adjoining-bays":      "Travées attenantes, bureaux et pièces au-dessus vidés, leurs portes fermées à clé ; leur accès est fermé aussi",
	"zone-clear":          "Zone d'exclusion balisée et vide ; personne ne travaille ni ne dort sous son vent",
	"keys":                "Toutes les clés du magasin dans une seule main, serrures changées ou scellées",
	"barrier":             "Barrière autour de la zone d'exclusion, fermée",
	"guards":              "Gardiens nommés pour le jour et la nuit, avec consigne de ne pas entrer",
	"signs":               "Panneaux à chaque entrée : danger, gaz, dates, personne responsable, téléphone, entrée interdite",
	"store-empty":         "Magasin fouillé et vide de personnes et d'animaux, dernier sorti nommé",
	"zone-empty":          "Zone fouillée et vide de personnes et d'animaux",
	"sampling-lines":      "Au moins trois lignes de prélèvement posées, chacune éprouvée au souffle ou au gaz d'essai depuis l'extérieur",
	"gloves":              "Gants de coton secs pour tous ceux qui touchent le produit",
	"masks-canisters":     "Masques complets avec cartouches neuves pour ce gaz, ajustement contrôlé, pour chaque membre de l'équipe",
	"breathing-apparatus": "Appareils respiratoires isolants autonomes prêts là où l'air n'est pas connu",
	"second-person":       "Une deuxième personne formée présente du début à la fin, nommée",
	"canister-life":       "Durée de vie inscrite sur chaque cartouche et non épuisée",
	"licences":            "Agréments des fumigateurs en cours de validité",
	"instruments-checked": "Instruments mis à zéro, essayés au gaz et dans leur délai d'étalonnage",
	"emergency-card":      "Fiche d'urgence à la porte : hôpital, centre antipoison, aucun sauvetage sans appareil respiratoire",
	"weather":             "Ni orage ni air calme annoncés pour les heures d'ouverture",
	"pest-owed":           "L'insecte n'a pas été nommé : {about} demande plus longtemps contre certains. Cherchez les insectes, et nommez-les.",
	"law-may-add":         "La loi et l'étiquette peuvent y ajouter : avis aux autorités et aux voisins, distances, davantage de personnes, autre protection respiratoire, exposition, aération ou délai d'attente plus longs, limites de résidus, et formulaires propres.",
	"caution":             "La phosphine tue. Un plan n'est pas une autorisation : la loi locale, l'étiquette du produit et le fumigateur agréé décident. Personne n'entre dans un magasin sous gaz ou encore interdit, hormis deux personnes formées avec protection respiratoire, en plein jour.",
	"cages-placed":        "Cages d'insectes d'essai vivants posées avant le bâchage, leurs emplacements notés",
}
