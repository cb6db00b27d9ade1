package pdu

// MostParts is the most parts that [Split] makes: the count is one octet.
const MostParts = 255

// Split cuts text into parts of one message, each as full as it can be; a text
// that one part holds becomes one part without reference. Characters that the
// alphabet does not have are left out, and so is what MostParts cannot hold:
// see [Best]. There is always at least one part.
func Split(text string, a Alphabet, reference byte) []Submit {
	texts := Cut(text, a, a.Room(false))
	if len(texts) == 1 {
		return []Submit{{Alphabet: a, Text: texts[0]}}
	}
	texts = Cut(text, a, a.Room(true))
	texts = texts[:min(len(texts), MostParts)]
	parts := make([]Submit, len(texts))
	for i, t := range texts {
		parts[i] = Submit{Alphabet: a, Text: t, Reference: reference, Part: i + 1, Parts: len(texts)}
	}
	return parts
}

// Cut cuts text into pieces of at most room units of alphabet a, never within a
// character. Characters that the alphabet does not have are left out. There is
// always at least one piece. room must be 2 or more.
func Cut(text string, a Alphabet, room int) []string {
	var pieces []string
	var piece []rune
	used := 0
	for _, r := range text {
		n := a.units(r)
		if n == 0 {
			continue
		}
		if used+n > room {
			pieces = append(pieces, string(piece))
			piece, used = piece[:0], 0
		}
		piece = append(piece, r)
		used += n
	}
	return append(pieces, string(piece))
}
