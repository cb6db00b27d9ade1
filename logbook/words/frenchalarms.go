package words

// Parts of the French advice that several alarms share.
const (
	frenchMendLeak = frenchTwoPeople +
		"Mesurez d'abord l'air à la porte. À l'armoire de prélèvement, hors du magasin, voyez si la pompe de prélèvement tourne : si elle est arrêtée, remettez-la en marche et voyez si les lignes baissent encore. Si elle tourne, tenez la bâche pour ouverte et gardez le magasin fermé. Demandez au fumigateur agréé si le traitement peut encore tenir sa concentration finale, et quand deux personnes cherchent un passage le long du bord de la bâche, à ses joints et aux sorties des lignes, et le lestent."
	frenchIfInside = "Si la panne est à l'intérieur : " + frenchTwoPeople
	frenchFire     = "Personne n'entre. N'allumez et n'éteignez rien dans le magasin, éloignez les flammes, n'utilisez pas d'eau, laissez la bâche fermée. "
)

// frenchAlarms say what englishAlarms say. No line of advice sends anybody in.
var frenchAlarms = map[string]sentence{
	"leak":          {"Fuite : {place} perd du gaz à raison de {value} par jour, contre {limit} auparavant.", frenchMendLeak},
	"leak/0":        {"Fuite : {place} perd du gaz plus vite qu'auparavant.", frenchMendLeak},
	"leak/half-day": {"Fuite : {place} perd du gaz à raison de {value} par jour depuis une demi-journée, plus que n'en perd une bâche fermée. Elle est peut-être ouverte depuis la pose du phosphure.", frenchMendLeak},
	"leak/or-drift": {"Fuite, ou instrument qui dérive : {place} perd du gaz à raison de {value} par jour, contre {limit} auparavant ; les autres lignes ne suivent pas.", frenchTwoPeople +
		"Tenez-le pour une fuite tant qu'une mesure manuelle n'a pas dit le contraire. Mesurez d'abord l'air à la porte. À l'armoire de prélèvement, hors du magasin, voyez si cette ligne aspire : débit, filtre, piège à eau. Une ligne qui n'aspire presque plus garde un gaz ancien, et une mesure manuelle ne fait qu'y trouver le même. Si elle aspire, faites-y une mesure manuelle : si elle s'accorde avec l'instrument, du gaz se perd près de cette ligne ; si elle est plus élevée, l'instrument dérive. Gardez le magasin fermé. Demandez au fumigateur agréé si le traitement peut encore tenir sa concentration finale."},
	"line-off": {"Ligne sortie : {place} lit l'air du magasin ; son extrémité est probablement sortie de sous la bâche.", frenchTwoPeople +
		"Les autres lignes disent si la pile elle-même a perdu du gaz. Tant que la ligne n'est pas remise en place, seule une mesure manuelle peut montrer sa concentration finale."},
	"line-off/never-on": {"Ligne hors service : {place} n'a presque rien montré du gaz depuis le dosage ; elle n'est pas raccordée, ou son extrémité se trouve à côté de la bâche.",
		frenchTwoPeople + "Regardez d'abord son tuyau et sa vanne à l'armoire de prélèvement, hors du magasin. " +
			"Les autres lignes disent si la pile elle-même contient du gaz. Tant que la ligne n'est pas remise en place, seule une mesure manuelle peut montrer sa concentration finale."},
	"line-blocked": {"Ligne bouchée : {place} ne suit plus ses voisines.", frenchTwoPeople +
		"Contrôlez d'abord la pompe, le filtre et le piège à eau, hors du magasin. Tant que la ligne n'est pas débouchée, seule une mesure manuelle peut montrer sa concentration finale."},
	"lines-swapped": {"Lignes interverties : {place} ; depuis un même instant, chacune lit là où était l'autre.",
		"Deux tuyaux, ou deux voies, sont raccordés à l'envers. Contrôlez les raccords à l'armoire de prélèvement, hors du magasin, et éprouvez les deux lignes. Jusqu'à leur remise en ordre, ce qui est montré pour l'une est le gaz de l'autre ; la concentration finale de la pile est jugée comme avant. " + frenchIfInside},
	"instrument-drift": {"L'instrument dérive : {place} montre chaque jour {percent} % de plus par rapport aux autres lignes.",
		"Aucune fuite ne fait monter une seule ligne, mais la dérive peut en cacher une. Ses valeurs ne sont pas utilisées, et une fuite sur cette ligne ne peut pas être vue. À l'armoire de prélèvement, hors du magasin, faites une mesure manuelle sur cette ligne, contrôlez le zéro et la sensibilité, et faites régler l'instrument. Jusque-là, seule une mesure manuelle peut montrer sa concentration finale. " + frenchIfInside},
	"instrument-drift/-": {"L'instrument dérive : {place} montre de moins en moins par rapport aux autres lignes, et une mesure manuelle a montré que le gaz est là.",
		"Ses valeurs ne sont pas utilisées, et une fuite sur cette ligne ne peut pas être vue. À l'armoire de prélèvement, hors du magasin, faites une autre mesure manuelle sur cette ligne, contrôlez le zéro et la sensibilité, et faites régler l'instrument. Jusque-là, seule une mesure manuelle peut montrer sa concentration finale. " + frenchIfInside},
	"end-level-at-risk": {"En péril : la pile {stack} a une probabilité de {chance} de tenir sa concentration finale.", frenchTwoPeople +
		"Consultez le fumigateur agréé rapidement, tant que cela peut être rattrapé : une exposition plus longue, davantage de phosphure, ou l'autre protocole. Davantage de phosphure repousse l'aération au plus tôt."},
	"end-level-at-risk/collapsing": {"Effondrement : la pile {stack} a une probabilité de {chance} de tenir sa concentration finale, tombée d'une bonne valeur en moins de 6 heures.", frenchTwoPeople +
		"Elle peut être perdue en quelques heures. Dans les premières heures d'une fuite, le chiffre varie encore : ne l'attendez pas. Appelez le fumigateur agréé maintenant, pour décider ensemble de ce qui sera fait de jour ; personne n'entre la nuit."},
	"end-level-missed": {"Manquée : la pile {stack} montrait {value} ppm à sa ligne la plus basse à la fin de l'exposition minimale ; il fallait {limit} ppm.",
		"Ne commencez pas encore l'aération. Demandez au fumigateur agréé si une exposition plus longue peut encore l'atteindre, ou si la pile doit être traitée de nouveau. La pile reste sous gaz tant qu'elle n'a pas été aérée."},
	"uneven-gas": {"Gaz mal réparti : la ligne la plus basse de la pile {stack} contient {percent} % de la plus haute.",
		"Des insectes peuvent survivre là où le gaz est rare. Demandez au fumigateur agréé une exposition plus longue. S'il faut intervenir à la pile : " + frenchTwoPeople},
	"untold-dose": {"Le gaz a monté : chaque ligne de la pile {stack} montre plus qu'à tout moment du jour précédent, d'au moins {percent} %, et aucune dose consignée ne l'explique.",
		"De la phosphine a-t-elle été ajoutée ? Consignez alors la dose, avec ses grammes et son heure : tant qu'elle n'est pas consignée, les prévisions promettent peut-être trop. Si personne n'en a ajouté, demandez si un instrument a été réglé de nouveau, et prévenez le fumigateur agréé : du phosphure mouillé dégage aussi du gaz. S'il faut intervenir à la pile : " + frenchTwoPeople},
	"air-gas": {"Gaz dans l'air : {value} ppm à {place} ; la limite est de {limit} ppm.",
		"Tout le monde dehors, du côté d'où vient le vent, maintenant ; comptez les personnes et tenez les autres à l'écart. Appelez le numéro d'urgence si quelqu'un se sent mal. Personne n'y retourne sans protection respiratoire. " + frenchTwoPeople},
	"air-gas/office": {"Gaz là où des personnes travaillent : {value} ppm à {place} ; la limite est de {limit} ppm.",
		"Tout le monde hors du bureau, du côté d'où vient le vent, maintenant ; comptez les personnes et n'ouvrez portes et fenêtres que de l'extérieur. Appelez le numéro d'urgence si quelqu'un se sent mal. " + frenchTwoPeople},
	"air-gas/dwelling": {"Gaz là où des personnes habitent : {value} ppm à {place} ; la limite est de {limit} ppm.",
		"Réveillez et faites sortir tout le monde, du côté d'où vient le vent, maintenant, à toute heure ; comptez les personnes. Appelez le numéro d'urgence. Personne n'y retourne avant que l'air n'ait été mesuré. " + frenchTwoPeople},
	"gate-rebound": {"Le gaz est revenu : l'interdiction avait été levée pour {store}, dont l'air peut de nouveau contenir {value} ppm ; la limite est de {limit} ppm.",
		"Tout le monde dehors, maintenant ; comptez les personnes, fermez et gardez la porte. La levée de l'interdiction est tombée. Personne n'y retourne sans protection respiratoire. " + frenchTwoPeople},
	"line-silent": {"Silence ({place}) : rien n'a été lu depuis {whole} minutes.",
		"Contrôlez l'instrument, son alimentation et son câble, hors du magasin. Entre-temps une fuite sur cette ligne ne peut pas être vue. " + frenchIfInside},
	"point-silent": {"Silence ({place}) : rien n'a été lu depuis {whole} minutes.",
		"Contrôlez l'instrument, son alimentation et son câble, hors du magasin. Entre-temps l'accès reste fermé. " + frenchIfInside},
	"point-silent/0": {"Silence ({place}) : rien n'a encore été lu.",
		"Contrôlez l'instrument, son alimentation et son câble, hors du magasin. Entre-temps l'accès reste fermé. " + frenchIfInside},
	"sensor-silent": {"Silence ({place}) : rien n'a été lu depuis {whole} minutes.",
		"Contrôlez le capteur, son alimentation et son câble, hors du magasin. Ce qu'il montrerait n'est pas surveillé entre-temps ; faites surveiller l'extérieur du magasin par quelqu'un. Un capteur qui ne parle que lorsque quelque chose change a besoin de la clé every dans le fichier du site. " + frenchIfInside},
	"pump-off": {"Pompe arrêtée : {point}, voie {channel}, aspire {value} ; le minimum est {limit}.",
		"Ce qu'elle aspire n'est pas lu : aucune fuite ne peut être vue sur ses lignes, et l'accès à son magasin reste fermé. Contrôlez la pompe, son fusible et son filtre, hors du magasin, et remettez-la en marche. " + frenchIfInside},
	"pump-off/by-gas": {"Pompe arrêtée ({place}) : toutes les lignes sont tombées ensemble en moins d'une heure, ou restent immobiles alors que le gaz devrait baisser ; rien ne semble en être aspiré.",
		"Ce qui stagne dans les tuyaux n'est pas le gaz sous la bâche, et aucune fuite ne peut être vue. Contrôlez la pompe de prélèvement, son fusible et son filtre à l'armoire, hors du magasin, et remettez-la en marche. Si la pompe tourne, tenez cela pour une bâche ouverte : gardez le magasin fermé et mesurez l'air à la porte. " + frenchIfInside},
	"watch-stopped": {"Le programme a cessé de juger : il s'est arrêté sur une inscription du registre.",
		"Tous les accès sont fermés et rien n'est surveillé. Relancez le programme, signalez la panne, et surveillez le dépôt comme avant qu'il y ait un programme. " + frenchTwoPeople},
	"clock-ahead": {"Horloge en avance : ce qu'envoie {channel} est daté de {whole} minutes en avance sur l'horloge de cet ordinateur.",
		"C'est conservé sans être utilisé : ce qu'il mesure n'est donc pas surveillé entre-temps, et un accès qui en dépend reste fermé. Comparez les deux horloges à l'heure exacte, fuseau horaire et heure d'été compris, et réglez celle qui est fausse ; celle de l'instrument, hors du magasin. Si l'instrument est à l'intérieur : " + frenchTwoPeople},
	"clock-behind": {"L'horloge de l'ordinateur retarde de {whole} minutes sur la dernière inscription du registre : rien n'est jugé.",
		"Tous les accès sont fermés, et ni fuite, ni gaz dans l'air, ni silence ne seront signalés avant que l'horloge ait dépassé cette inscription. Mettez l'horloge à l'heure, par son serveur de temps ou à la main ; si elle est juste maintenant, c'est qu'elle avançait auparavant, et cela finira de soi-même. Entre-temps, surveillez le dépôt comme avant qu'il y ait un programme. " + frenchTwoPeople},
	"instrument-silent": {"Silence : l'instrument {channel} n'a pas répondu depuis {whole} minutes.",
		"Contrôlez son alimentation, son câble et son port, hors du magasin. Ce qu'il lit n'est pas surveillé entre-temps. " + frenchIfInside},
	"instrument-fault": {"Instrument non fiable : {place} signale un défaut.",
		"Ses valeurs ne sont pas utilisées. Faites-le contrôler par la personne chargée des instruments. S'il est à l'intérieur : " + frenchTwoPeople},
	"instrument-fault/stuck": {"Instrument non fiable : {place} montre sans cesse {value}.",
		"Ses valeurs ne sont pas utilisées. Contrôlez sa pompe et ses tuyaux, hors du magasin. S'il est à l'intérieur : " + frenchTwoPeople},
	"instrument-fault/below-zero": {"Instrument non fiable : {place} montre {value}, plus au-dessous de zéro que son erreur.",
		"D'autres gaz peuvent pousser une cellule au-dessous de zéro : ce n'est pas de l'air pur. Ses valeurs ne sont pas utilisées. S'il est à l'intérieur : " + frenchTwoPeople},
	"door-opened": {"Porte ouverte : {place} est ouverte alors que le magasin est sous gaz, et aucune entrée sous protection respiratoire n'est consignée.",
		"Faites sortir, en appelant depuis la porte, quiconque est entré ; fermez-la et gardez-la. Comptez les personnes. N'entrez pas pour voir. " + frenchTwoPeople},
	"door-opened/overdue": {"Porte ouverte : {place} est ouverte alors que le magasin est sous gaz, et ceux qui sont entrés sous protection respiratoire devraient être sortis.",
		"Appelez-les depuis la porte, maintenant. Pas de réponse : appelez aussitôt le numéro d'urgence. N'entrez pas pour voir. S'ils sont dehors, consignez la sortie et fermez la porte. " + frenchTwoPeople},
	"power-lost": {"Coupure de courant : {place}.",
		"Les instruments fonctionnent sur leurs batteries, puis plus rien n'est surveillé. Gardez les magasins fermés et sous garde jusqu'au retour du courant ; une pompe à air qui s'est arrêtée doit être remise en marche."},
	"fire-risk": {"Danger d'incendie : {place} lit {value} ppm ; le seuil est de {limit} ppm.",
		frenchFire + "Appelez les pompiers et le fumigateur agréé."},
	"fire-risk/over-range": {"Un danger d'incendie ne peut être exclu : {place} est en haut de son étendue de mesure, {limit} ppm ou plus.",
		frenchFire + "Demandez au fumigateur agréé si c'est ce que donne la dose ; sinon, appelez les pompiers."},
	"fire-risk/rise": {"Danger d'incendie : {place} a monté de {value} ppm en une heure ; la dose en explique {limit} ppm. De l'eau touche peut-être le phosphure.",
		frenchFire + "Appelez les pompiers et le fumigateur agréé."},
	"fire-risk/above-dose": {"Danger d'incendie : {place} lit {value} ppm ; la dose peut en expliquer {limit} ppm.",
		frenchFire + "Demandez au fumigateur agréé ce qui a réellement été posé ; si on ne le sait pas, appelez les pompiers."},
	"fire-risk/water": {"Danger d'incendie : de l'eau à {place} alors que du phosphure, ou ce qu'il en reste, est dans le magasin.",
		"Personne n'entre. L'eau sur le phosphure dégage un gaz qui s'enflamme de lui-même. N'allumez et n'éteignez rien dans le magasin, éloignez les flammes, n'utilisez pas d'eau, laissez la bâche fermée. Arrêtez l'eau de l'extérieur si cela est possible. Appelez les pompiers et le fumigateur agréé."},
	"fire-risk/attention": {"Attention : {place} lit {value} ppm ; {limit} ppm sont le dixième de ce qui peut brûler.",
		"Personne n'entre. Tenez flammes et interrupteurs à l'écart du magasin. Prévenez le fumigateur agréé et surveillez si cela monte."},
	"fire-risk/top-of-range": {"Attention : {place} est en haut de son étendue de mesure, {limit} ppm ou plus. La dose peut en donner autant ; ce qui s'y ajouterait ne se verrait pas ici.",
		"Personne n'entre. Tenez flammes et interrupteurs à l'écart du magasin. Prévenez le fumigateur agréé que cette ligne ne peut pas montrer un incendie, s'il y en avait un, tant qu'elle ne lit pas de nouveau dans son étendue de mesure."},
	"too-cold": {"Trop froid : le grain de la pile {stack} est à {value} °C ; au-dessous de {limit} °C, la phosphine n'est pas efficace.",
		"Des insectes survivront. Consultez le fumigateur agréé avant toute autre chose ; laissez entre-temps la pile sous sa bâche."},
	"masked-entry-overdue": {"Sortie en retard : quelqu'un est à l'intérieur de {store} avec protection respiratoire depuis {whole} minutes ; {wholelimit} sont permises.",
		"Appelez depuis la porte, maintenant. Pas de réponse : appelez aussitôt le numéro d'urgence ; quiconque suit sans protection respiratoire meurt du même gaz. " + frenchTwoPeople + "Si la sortie a eu lieu, consignez-la."},
}
