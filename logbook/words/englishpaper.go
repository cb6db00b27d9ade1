package words

// englishPaper is what stands on every sheet of paper.
var englishPaper = map[string]string{
	"paper/page":   "page {page} of {pages}",
	"paper/script": "“{text}” holds the letter “{letter}” ({script}). Scripts that run from right to left, or join or reorder their letters, and letters that the font lacks are set on the page only: print the page instead.",
}
