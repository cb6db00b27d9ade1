package words

// frenchReportCodes says what englishReportCodes says.
var frenchReportCodes = map[string]string{
	"report/check/swapped": "échangé",

	"report/worth/none": "non consigné", "report/worth/failed": "avait échoué", "report/worth/overdue": "en retard", "report/worth/open": "réussi ; prochain non indiqué",
	"report/worth/valid": "valable",

	"report/shown/met": "tenu", "report/shown/not-met": "non tenu", "report/shown/not-shown": "non constaté", "report/shown/not-decidable": "indécidable",

	"report/loss/not-fitted": "non donnée : pas d'ajustement", "report/loss/not-read": "non donnée : moins de 24 heures lues",
	"report/loss/not-told": "non donnée : les mesures ne séparent pas le dégagement de la perte, ou trop vaguement",

	"report/result/reached": "atteint", "report/result/not-reached": "non atteint", "report/result/too-cold": "la denrée est plus froide",

	"report/gate/shut": "fermé", "report/gate/airing": "aération", "report/gate/check-owed": "contrôle dû", "report/gate/cleared": "interdiction levée",

	"report/level/twa-8h": "moyenne sur 8 h", "report/level/short-term-15min": "moyenne sur 15 min", "report/level/ceiling": "plafond", "report/level/peak": "pointe",

	"report/limit/below": "en dessous", "report/limit/reached": "atteinte ou dépassée", "report/limit/not-read": "non lu",

	"report/identity/not stated": "non indiquée",

	"report/named/fumigator": "fumigateur responsable", "report/named/second": "seconde personne", "report/named/in": "entré", "report/named/at-door": "à la porte",
	"report/named/laid": "a posé la dose",

	"report/value/none-found": "aucun trouvé", "report/value/live-found": "vivants trouvés", "report/value/exposure": "l'exposition", "report/value/month": "un mois",
	"report/value/spent": "prouvé épuisé", "report/value/not-spent": "non épuisé", "report/value/in-order": "en ordre", "report/value/wanting": "à corriger",
	"report/value/not-known": "non connu", "report/value/buried": "enterré", "report/value/handed-over": "remis", "report/value/heaped": "mis en tas",
	"report/value/closed-drum": "enfermé dans un fût", "report/value/zero": "zéro", "report/value/bump": "essai au gaz", "report/value/calibration": "étalonnage",
	"report/value/breath-out": "souffle", "report/value/span gas": "gaz étalon",

	"report/field/stack": "pile", "report/field/line": "ligne", "report/field/store": "magasin", "report/field/point": "point", "report/field/zero": "zéro",
	"report/field/flow": "débit, L/min", "report/field/end_test": "essai depuis l'extrémité", "report/field/span": "gaz étalon", "report/field/read": "lu", "report/field/unit": "unité",
	"report/field/seen": "a répondu", "report/field/lag": "délai", "report/field/channel": "voie", "report/field/check": "contrôle", "report/field/applied": "appliqué",
	"report/field/passed": "réussi", "report/field/due": "prochain dû", "report/field/out": "sortie", "report/field/in": "entrée", "report/field/form": "forme", "report/field/count": "unités",
	"report/field/batch": "lot", "report/field/invoice": "facture", "report/field/in_order": "en ordre", "report/field/wanting": "à corriger", "report/field/second": "seconde personne",
	"report/field/store_empty": "magasin vide", "report/field/product": "produit", "report/field/placement": "posé sur", "report/field/places": "endroits", "report/field/people": "personnes",
	"report/field/protection": "porté", "report/field/treatment": "traitement", "report/field/protocol": "protocole", "report/field/commodity": "denrée", "report/field/tonnes": "poids, t",
	"report/field/volume_m3": "volume, m³", "report/field/phosphine_g": "phosphine, g", "report/field/grain_temp_c": "température de la denrée, °C",
	"report/field/gas_space_m3": "volume gazeux, m³", "report/field/grain_moisture_pct": "humidité, %", "report/field/exposure_hours": "exposition, h", "report/field/bags": "sacs",
	"report/field/lot": "lot", "report/field/destination": "destination", "report/field/pests": "contre", "report/field/length_m": "longueur, m", "report/field/width_m": "largeur, m",
	"report/field/height_m": "hauteur, m", "report/field/sheet": "bâche et étanchéité", "report/field/dose_source": "dose tirée de", "report/field/fumigator": "fumigateur responsable",
	"report/field/value": "valeur", "report/field/method": "méthode", "report/field/instrument": "instrument", "report/field/accuracy": "exactitude",
	"report/field/detection_limit": "limite de détection", "report/field/at_door": "à la porte", "report/field/early": "pourquoi en avance", "report/field/despite": "pourquoi malgré tout",
	"report/field/residue": "résidu", "report/field/shown_by": "prouvé par", "report/field/how": "comment", "report/field/where": "où", "report/field/to": "à", "report/field/why": "pourquoi",
	"report/field/insects": "insectes vivants", "report/field/alarm": "alarme", "report/field/of": "entrée", "report/field/entry": "à la place", "report/field/withdrawn": "retiré",
	"report/field/name": "nom", "report/field/media": "type", "report/field/sha256": "SHA-256", "report/field/data": "image", "report/field/person": "personne",
	"report/field/serial": "numéro de série", "report/field/expires": "expire le", "report/field/minutes": "minutes d'usage", "report/field/positions": "emplacements",
	"report/field/after": "après", "report/field/result": "résultat", "report/field/live": "vivants", "report/field/dead": "morts", "report/field/found": "constaté et fait",
	"report/field/closed_vehicle": "camion ou conteneur fermé", "report/field/follow_up": "suite", "report/field/owed": "de",

	"page/report-pdf": "pour le papier (PDF)", "page/report-json": "pour des programmes (JSON)",

	"form/treatment-started/dose_source": "Dose tirée de", "form/treatment-started/dose_source/hint": "L'étiquette, le guide national ou le plan qui le dit.",
	"form/treatment-started/fumigator": "Fumigateur agréé responsable", "form/treatment-started/second": "Seconde personne", "form/treatment-started/pests": "Fait contre",
	"form/treatment-started/bags": "Sacs", "form/treatment-started/lot": "Lot ou envoi", "form/treatment-started/destination": "Destination de la denrée",
	"form/treatment-started/length_m": "Longueur de la pile", "form/treatment-started/width_m": "Largeur de la pile", "form/treatment-started/height_m": "Hauteur de la pile",
	"form/treatment-started/sheet": "Bâche, et comment son bord est fermé",

	"form/dose-placed/batch": "Lot", "form/dose-placed/product": "Nom et numéro d'homologation du produit", "form/dose-placed/placement": "Où il a été posé, et sur quoi",
}
