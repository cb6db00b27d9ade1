package words

// englishPaper is what stands on every sheet of paper.
var englishPaper = map[string]string{
	"paper/page": "page {page} of {pages}",
}
