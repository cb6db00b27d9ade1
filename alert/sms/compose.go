package sms

import (
	"fmt"
	"sort"
	"strconv"
	"strings"
	"unicode/utf8"

	"undersheet/alert"
	"undersheet/alert/sms/pdu"
	"undersheet/logbook/words"
)

const (
	// mostParts is the most parts of one message: 918 characters of the GSM
	// alphabet or 402 of UCS-2. Every part is paid for and can be lost.
	mostParts = 6
	// ellipsis stands where a text was cut.
	ellipsis = "..."
	// counter is the room for "1/6 " before each message in text mode.
	counter = 4
)

// part is what one AT+CMGS takes.
type part struct {
	command string   // AT+CMGS and what it announces
	before  []string // commands that must have been answered with OK first
	body    string   // up to the Ctrl-Z
}

// sayable returns what the letter says on a telephone's screen.
func sayable(d *alert.Delivery) string {
	text, repeat := strings.TrimSpace(d.Short), words.Text(d.Language, "sms/repeat")+" "
	if text == "" {
		text, repeat = d.Heading(), "" // the heading says it by itself
	}
	if !d.Repeat {
		repeat = ""
	}
	late := ""
	if d.Late() {
		late = words.Text(d.Language, "sms/late", "{when}", d.WrittenAt()) + " "
	}
	return plain(strings.ToValidUTF8(repeat+late+strings.ReplaceAll(text, "\r\n", "\n"), "\uFFFD"))
}

// marks are typographic characters that the GSM alphabet does not have, and what
// says the same in it.
var marks = strings.NewReplacer("‐", "-", "‑", "-", "–", "-", "—", "-", "−", "-", "‘", "'", "’", "'", "“", `"`, "”", `"`, "„", `"`, "…", "...",
	"\u00a0", " ", "\u2009", " ", "\u202f", " ", "×", "x", "·", ".", "•", "*", "≥", ">=", "≤", "<=", "²", "2", "³", "3", "₃", "3", "°C", " C", "→", "->", "\t", " ", "\r", "\n")

// plain replaces typographic characters where that lets the whole text go in the
// GSM alphabet, which has more than twice the room.
func plain(text string) string {
	if p := marks.Replace(text); pdu.Best(p) == pdu.GSM7 {
		return p
	}
	return text
}

// shorten cuts text until fits takes it. The last line, which is the site's
// emergency line, is kept whole, unless it alone is too long.
func shorten(text string, fits func(string) bool) string {
	if fits(text) {
		return text
	}
	head, last := text, ""
	if i := strings.LastIndexByte(text, '\n'); i >= 0 && fits(ellipsis+text[i:]) {
		head, last = text[:i], text[i:]
	}
	cuts := []int{0}
	for i, r := range head {
		cuts = append(cuts, i+utf8.RuneLen(r))
	}
	cut := func(i int) string { return strings.TrimRight(head[:cuts[i]], " \n") + ellipsis + last }
	n := sort.Search(len(cuts), func(i int) bool { return !fits(cut(i)) })
	return cut(max(n-1, 0))
}

// inPDUs writes text for PDU mode.
func inPDUs(number, text string, reference byte) ([]part, error) {
	split := func(s string) []pdu.Submit { return pdu.Split(s, pdu.Best(s), reference) }
	text = shorten(text, func(s string) bool { return len(split(s)) <= mostParts })
	var parts []part
	for _, s := range split(text) {
		s.Number = number
		tpdu, length, err := s.Encode()
		if err != nil {
			return nil, err
		}
		parts = append(parts, part{command: "AT+CMGS=" + strconv.Itoa(length), body: tpdu})
	}
	return parts, nil
}

// inTexts writes text for text mode.
func inTexts(number, text string) []part {
	split := func(s string) []string {
		a := textAlphabet(s)
		if a.Units(s) <= a.Room(false) {
			return []string{s}
		}
		return pdu.Cut(s, a, a.Room(false)-counter)
	}
	text = shorten(text, func(s string) bool { return len(split(s)) <= mostParts })
	pieces := split(text)
	a := textAlphabet(text)
	parts := make([]part, len(pieces))
	for i, piece := range pieces {
		if len(pieces) > 1 {
			piece = fmt.Sprintf("%d/%d %s", i+1, len(pieces), piece)
		}
		parts[i] = inText(number, piece, a)
	}
	return parts
}

// inText writes one message for text mode. The parameters of +CSMP are those of
// an SMS-SUBMIT with the longest relative validity (TS 27.005, <fo> and <vp>).
func inText(number, text string, a pdu.Alphabet) part {
	kind := 129
	if strings.HasPrefix(number, "+") {
		kind = 145
	}
	p := part{body: strings.ReplaceAll(text, "\n", "\r"), before: []string{`AT+CSCS="GSM"`, "AT+CSMP=17,255,0,0"}}
	if a == pdu.UCS2 {
		number = pdu.Hex(number)
		p.body, p.before = pdu.Hex(text), []string{`AT+CSCS="UCS2"`, "AT+CSMP=17,255,0,8"}
	}
	p.command = fmt.Sprintf(`AT+CMGS="%s",%d`, number, kind)
	return p
}

// textAlphabet returns the alphabet for text in text mode. There the character
// set GSM has one octet for each character, and some of those octets steer the
// modem: 8 is its backspace, 26 and 27 end the message. So only characters with
// the same code in ASCII are sent so, and no line that reads like an answer,
// which an echo would turn into one.
func textAlphabet(text string) pdu.Alphabet {
	for _, r := range text {
		if code, ok := pdu.Septet(r); r != '\n' && (!ok || rune(code) != r) {
			return pdu.UCS2
		}
	}
	for line := range strings.SplitSeq(text, "\n") {
		line = strings.TrimSpace(line)
		if _, ok := final(line); ok || strings.HasPrefix(line, "+") {
			return pdu.UCS2
		}
	}
	return pdu.GSM7
}
