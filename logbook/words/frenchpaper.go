package words

// frenchPaper is what stands on every sheet of paper.
var frenchPaper = map[string]string{
	"paper/page":   "page {page} sur {pages}",
	"paper/script": "« {text} » contient la lettre « {letter} » ({script}). Les écritures de droite à gauche, ou dont les lettres se lient ou changent d'ordre, et les lettres absentes de la police ne sont composées que sur la page : imprimez la page.",
}
