package words

// frenchClearedOnly says what clearedOnly says.
const frenchClearedOnly = "Seulement tant que vaut la levée de l'interdiction du magasin par une personne nommée, de jour, à deux ; sinon, attendez. "

// frenchFollowAlarms say what englishFollowAlarms say.
var frenchFollowAlarms = map[string]sentence{
	"follow-up-due": {"quelque chose reste dû pour {place}.",
		"Consultez la page de ce qui est dû."},
	"follow-up-due/bag-gas": {"le gaz dans les sacs de la pile {stack} est à mesurer avant tout chargement de camions fermés.",
		frenchClearedOnly + "Une valeur égale ou supérieure au seuil retient le grain. Aucun camion fermé ni conteneur n'est chargé avant."},
	"follow-up-due/inspection": {"le grain de la pile {stack} est à examiner en fin d'après-midi pour y chercher des insectes vivants (traitement {about}).",
		frenchClearedOnly + "Inscrivez ce qui a été trouvé, et comment on a cherché."},
	"follow-up-due/second-look": {"le grain de la pile {stack} est à examiner une deuxième fois pour y chercher des insectes vivants (traitement {about}).",
		frenchClearedOnly + "Ce qui était un œuf au premier examen a pu éclore."},
	"follow-up-due/cages-retrieval": {"les cages d'insectes d'essai sont à retirer de la pile {stack} (traitement {about}).",
		frenchClearedOnly + "Comptez les cages et gardez-les à l'écart de tout autre grain et de tout autre insecte."},
	"follow-up-due/cages-judgement": {"les insectes d'essai de la pile {stack} sont à juger (traitement {about}).",
		"Comptez les vivants et les morts, gardez les échantillons un mois dans un bocal aéré, fermé aux insectes."},
	"follow-up-due/jar": {"le bocal des échantillons de la pile {stack} est à juger de nouveau (traitement {about}).",
		"Comptez ce qui a éclos depuis, vivants et morts. Le traitement n'est pas clos avant."},
	"follow-up-due/second-treatment": {"le deuxième traitement de la pile {stack} est à commencer.",
		"Les insectes éclos depuis le premier sont atteints par le deuxième. Prévoyez-le avec le fumigateur agréé, en plein jour."},
	"follow-up-due/sheet-repair": {"la bâche de la pile {stack} est à examiner et à réparer avant de resservir (traitement {about}).",
		"Étalez-la en plein air, de jour, une fois retirée de la pile. Regardez chaque couture et chaque pli à contre-jour."},
	"follow-up-due/residue-disposal": {"les résidus de la pile {stack} ne sont pas éliminés (traitement {about}).",
		"Ni en tas, ni dans un fût fermé : ils peuvent prendre feu. Enterrez-les profondément ou remettez-les comme le disent l'étiquette et la loi locale ; deux personnes formées avec protection respiratoire, de jour."},
	"follow-up-due/calibration": {"l'instrument de la voie {channel} est à étalonner.",
		"Passé son échéance, il ne compte plus pour l'accès, qui reste alors fermé."},
	"follow-up-due/bump-test": {"l'instrument de la voie {channel} est à essayer avec un gaz connu.",
		"Passé son échéance, il ne compte plus pour l'accès, qui reste alors fermé."},
	"follow-up-due/licence": {"l'agrément de {about} est à renouveler.",
		"Seules des personnes agréées posent du phosphure. Inscrivez le nouveau dernier jour dans le fichier du site."},
	"follow-up-due/canister": {"la cartouche du masque de {about} est à changer.",
		"Elle a atteint sa date ou les minutes admises par son fabricant : le masque n'est pas porté dans le gaz tant qu'une nouvelle n'est pas inscrite."},
	"end-level-at-risk/resisted": {"En péril : la pile {stack} a une probabilité de {chance} de tenir sa concentration finale, et des insectes y ont survécu à un gaz qui l'avait tenue.", frenchTwoPeople +
		"Consultez rapidement le fumigateur agréé et l'organisme qui suit la résistance, tant que cela peut être rattrapé : une exposition plus longue, ou l'autre protocole. Davantage du même gaz n'est pas une réponse. Gardez des échantillons."},
	"suspected-resistance": {"Résistance soupçonnée : gardez des échantillons, prévenez l'organisme compétent. Insectes vivants dans la pile {stack} après {about}, dont le gaz a tenu la concentration finale.",
		"Le traitement a échoué, bien que le gaz y fût : davantage du même gaz n'est pas une réponse. Gardez les insectes vivants et des échantillons du grain, fermés et étiquetés, et prévenez l'organisme qui suit la résistance et le fumigateur agréé. Le grain reste en place jusqu'à leur réponse. Pour qui doit aller voir la pile : " + frenchTwoPeople},
	"live-insects": {"Échec : insectes vivants dans la pile {stack} après {about}, dont le gaz n'a pas tenu la concentration finale.",
		"Traitez de nouveau comme le dit le fumigateur agréé, et seulement après avoir remédié à la cause : bâche, étanchéité au sol, durée. Pour qui doit aller voir la pile : " + frenchTwoPeople},
}

// frenchFollowFindings say what englishFollowFindings say.
var frenchFollowFindings = map[string]string{
	"suspected-resistance":     "{place} : insectes vivants après {about}, dont le gaz a tenu la concentration finale : résistance soupçonnée. Gardez des échantillons, prévenez l'organisme compétent.",
	"live-insects":             "{place} : insectes vivants après {about} : traitement échoué. Traitez de nouveau comme le dit le fumigateur agréé.",
	"nothing-owed":             "{place} : aucun traitement n'y doit ce qui a été inscrit ({follow}) : l'entrée est gardée et ne change rien. Vérifiez le nom du traitement.",
	"cages-before-clearance":   "{place} : des cages ont été retirées avant la levée de l'interdiction du magasin. Personne n'entre avant cela, sinon deux personnes formées avec protection respiratoire, en plein jour.",
	"cages-missing":            "{place} : cages non retrouvées : {value}. Elles peuvent contenir des insectes vivants.",
	"cages-after-sheeting":     "{place} : des cages ont été inscrites après la fermeture de la bâche : elles ne montrent pas toute l'exposition.",
	"jar-judged-early":         "{place} : le bocal a été jugé {tenths} jours avant la fin de son mois et n'a rien montré : il sera dû de nouveau.",
	"issued-with-live-insects": "{place} : {value} t ont été livrées alors que des insectes qui ont survécu au traitement {about} sont suspects de résistance. Arrêtez le camion, prévenez le destinataire et l'organisme compétent, et gardez des échantillons.",
	"issued-in-withholding":    "{place} : {value} t ont été livrées alors que le grain est retenu. Arrêtez le camion et prévenez le destinataire.",
	"issued-before-bag-gas":    "{place} : {value} t ont été chargées dans un véhicule fermé avant la mesure du gaz dans les sacs. Le gaz s'y accumule : qu'il ne soit ouvert qu'en plein air, du côté d'où vient le vent, à deux, de jour. Prévenez le destinataire.",
	"gas-in-bags":              "{place} : {value} ppm dans les sacs, la valeur doit être inférieure à {limit} ppm : le grain est retenu. Poursuivez l'aération et mesurez de nouveau.",
	"bag-gas-too-coarse":       "{place} : une méthode qui ne trouve rien sous {value} ppm ne montre rien face à un seuil de {limit} ppm : la mesure dans les sacs ne compte pas.",
	"bag-gas-too-coarse/0":     "{place} : la mesure dans les sacs ne dit pas ce que sa méthode peut trouver, qui doit être inférieur à {limit} ppm : elle ne compte pas.",
	"sheet-not-repaired":       "{place} : une bâche est réutilisée alors qu'elle fuyait ou était déchirée et n'a pas été examinée depuis.",
	"canister-expired":         "La cartouche inscrite pour le masque de {about} était périmée depuis {tenths} jours : elle n'est pas portée dans le gaz.",
}

// frenchFollow says what englishFollow says.
var frenchFollow = map[string]string{
	"follow/ahead":   "Bientôt, dans {span} : {what}",
	"follow/due":     "Échéance : {what}",
	"follow/overdue": "En retard de {span} : {what}",
	"follow/hours":   "{count} heures",
	"follow/days":    "{count} jours",

	"mail/owed":      "{count} choses sont dues",
	"mail/owed-over": "{count} choses qui étaient dues sont closes",
	"mail/due":       "Échéance : {when}",
	"mail/until":     "Au plus tard : {when}",
	"mail/owner":     "À faire, ou à faire faire, par {name}",

	"follow/withholding":      "délai d'attente",
	"follow/bag-gas":          "gaz dans les sacs",
	"follow/inspection":       "recherche d'insectes vivants",
	"follow/second-look":      "deuxième recherche d'insectes vivants",
	"follow/cages-retrieval":  "retrait des cages d'insectes d'essai",
	"follow/cages-judgement":  "jugement des insectes d'essai",
	"follow/jar":              "jugement des échantillons après un mois",
	"follow/second-treatment": "deuxième traitement",
	"follow/sheet-repair":     "réparation de la bâche",
	"follow/residue-disposal": "élimination des résidus",
	"follow/calibration":      "étalonnage",
	"follow/bump-test":        "essai au gaz",
	"follow/licence":          "renouvellement de l'agrément",
	"follow/canister":         "changement de cartouche",

	"follow/open":        "dû",
	"follow/done":        "fait",
	"follow/written-off": "classé sans suite",

	"follow/none-found":    "aucun insecte vivant trouvé",
	"follow/live-found":    "insectes vivants trouvés",
	"follow/not-known":     "inconnu : perdu ou gâté",
	"follow/treated-again": "le traitement suivant de la pile en tient lieu",
	"follow/no-room":       "classé sans suite : trop de traitements de la pile restent dus",
	"follow/no-longer":     "ce dont il s'agissait n'est plus inscrit",
}
