package words

// frenchPaper is what stands on every sheet of paper.
var frenchPaper = map[string]string{
	"paper/page": "page {page} sur {pages}",
}
