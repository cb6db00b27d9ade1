package alert

import (
	"strings"

	"undersheet/alert/sms/pdu"
)

// The most parts that are written for one SMS, in the GSM 7-bit alphabet (153
// letters each when there are several: 3GPP TS 23.040, 9.2.3.24.1), and in UCS-2
// (67), where that alphabet does not hold a name's letters.
const (
	mostParts     = 2
	mostPartsUCS2 = 4
)

// plainer puts letters of the GSM 7-bit alphabet (3GPP TS 23.038, 6.2.1) in the place
// of those that sentences, units and French words use beyond it.
var plainer = strings.NewReplacer("°", "", "–", "-", "—", "-", "−", "-", "‑", "-", "’", "'", "‘", "'", "“", "\"", "”", "\"", "„", "\"",
	"…", "...", "·", ".", "×", "x", "±", "+/-", "≥", ">=", "≤", "<=", "µ", "u", "μ", "u", "`", "'", "\t", " ",
	"«\u00a0", "\"", "\u00a0»", "\"", "«", "\"", "»", "\"", "â", "a", "ê", "e", "ë", "e", "î", "i", "ï", "i", "ô", "o", "û", "u", "ÿ", "y", "ç", "c", "œ", "oe", "æ", "ae",
	"À", "A", "Â", "A", "È", "E", "Ê", "E", "Ë", "E", "Î", "I", "Ï", "I", "Ô", "O", "Ù", "U", "Û", "U", "Œ", "OE",
	"→", "->", "\u00a0", " ", "\u202f", " ", "\u2009", " ", "₂", "2", "₃", "3", "²", "2", "³", "3", "[", "(", "]", ")", "{", "(", "}", ")")

// fits reports whether s is as short as an SMS should be.
func fits(s string) bool {
	alphabet := pdu.Best(s)
	parts := len(pdu.Split(s, alphabet, 0))
	if alphabet == pdu.GSM7 {
		return parts <= mostParts
	}
	return parts <= mostPartsUCS2
}

// cut shortens s to at most n letters, at a word's end where there is one near.
func cut(s string, n int) string {
	r := []rune(s)
	if len(r) <= n {
		return s
	}
	head := string(r[:max(n-3, 0)])
	if i := strings.LastIndexByte(head, ' '); i > len(head)*2/3 {
		head = head[:i]
	}
	return strings.TrimRight(head, " ,;:.") + "..."
}
