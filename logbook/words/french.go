package words

// french is the catalogue of sentences in French, with the same keys and the same
// named values as english.
var french = catalogue{
	texts: joined(),
}
