package pdu

import (
	"encoding/hex"
	"strings"
	"unicode/utf16"
	"unicode/utf8"
)

// Alphabet is how the characters of a message are written. Its value is the
// message's data coding scheme (TS 23.038, section 4: general, no class).
type Alphabet byte

// The alphabets.
const (
	GSM7 Alphabet = 0x00 // GSM 7-bit default alphabet and its extension table
	UCS2 Alphabet = 0x08
)

// escape leads to the extension table.
const escape = 0x1B

// basic is the GSM 7-bit default alphabet, TS 23.038 section 6.2.1; the index is
// the code. U+FFFF holds the place of the escape code.
var basic = []rune("@£$¥èéùìòÇ\nØø\rÅåΔ_ΦΓΛΩΠΨΣΘΞ\uffffÆæßÉ !\"#¤%&'()*+,-./0123456789:;<=>?" +
	"¡ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§¿abcdefghijklmnopqrstuvwxyzäöñüà")

// extension is the extension table, TS 23.038 section 6.2.1.1.
var extension = map[byte]rune{0x0A: '\f', 0x14: '^', 0x28: '{', 0x29: '}', 0x2F: '\\', 0x3C: '[', 0x3D: '~', 0x3E: ']', 0x40: '|', 0x65: '€'}

// septetsOf holds the septets of every character of both tables.
var septetsOf = func() map[rune][]byte {
	m := make(map[rune][]byte, len(basic)+len(extension))
	for code, r := range basic {
		if code != escape {
			m[r] = []byte{byte(code)}
		}
	}
	for code, r := range extension {
		m[r] = []byte{escape, code}
	}
	return m
}()

// Best returns the alphabet that needs the fewest octets: GSM7 when it has every
// character of text, else UCS2.
func Best(text string) Alphabet {
	for _, r := range text {
		if _, ok := septetsOf[r]; !ok {
			return UCS2
		}
	}
	return GSM7
}

// Septet returns the code of r in the default alphabet, and whether it has one
// there; characters of the extension table have none.
func Septet(r rune) (byte, bool) {
	s := septetsOf[r]
	if len(s) != 1 {
		return 0, false
	}
	return s[0], true
}

// units is how many septets (GSM7) or 16-bit units (UCS2) r takes; 0 when the
// alphabet does not have it.
func (a Alphabet) units(r rune) int {
	if a == GSM7 {
		return len(septetsOf[r])
	}
	return max(utf16.RuneLen(r), 0)
}

// Units is how many septets (GSM7) or 16-bit units (UCS2) text takes. Characters
// that the alphabet does not have count nothing.
func (a Alphabet) Units(text string) int {
	n := 0
	for _, r := range text {
		n += a.units(r)
	}
	return n
}

// Room is how many units one part holds: a message of a single part, or one of
// several, which each carry a header of six octets (TS 23.040, 9.2.3.24.1).
func (a Alphabet) Room(several bool) int {
	switch {
	case a == GSM7 && several:
		return 153
	case a == GSM7:
		return 160
	case several:
		return 67
	}
	return 70
}

// septets writes text in the default alphabet; false when a character is missing there.
func septets(text string) ([]byte, bool) {
	out := make([]byte, 0, len(text))
	for _, r := range text {
		s, ok := septetsOf[r]
		if !ok {
			return nil, false
		}
		out = append(out, s...)
	}
	return out, true
}

// unseptets is the way back; false at an escape that leads nowhere.
func unseptets(codes []byte) (string, bool) {
	var b strings.Builder
	for i := 0; i < len(codes); i++ {
		r := basic[codes[i]&0x7F]
		if codes[i] == escape {
			i++
			if i == len(codes) {
				return "", false
			}
			var ok bool
			if r, ok = extension[codes[i]]; !ok {
				return "", false
			}
		}
		b.WriteRune(r)
	}
	return b.String(), true
}

// ucs2 writes text as big-endian UTF-16; false when it is no UTF-8.
func ucs2(text string) ([]byte, bool) {
	if !utf8.ValidString(text) {
		return nil, false
	}
	var out []byte
	for _, u := range utf16.Encode([]rune(text)) {
		out = append(out, byte(u>>8), byte(u))
	}
	return out, true
}

// unucs2 is the way back; false for half a unit or half a surrogate pair.
func unucs2(octets []byte) (string, bool) {
	if len(octets)%2 != 0 {
		return "", false
	}
	units := make([]uint16, len(octets)/2)
	for i := range units {
		units[i] = uint16(octets[2*i])<<8 | uint16(octets[2*i+1])
	}
	text := string(utf16.Decode(units))
	back, _ := ucs2(text)
	return text, string(back) == string(octets)
}

// pack puts septets into octets, lowest bit first, after fill empty bits (TS
// 23.038, section 6.1.2.1.1; the fill: TS 23.040, figure 9.2.3.24 (a)).
func pack(codes []byte, fill int) []byte {
	out := make([]byte, (len(codes)*7+fill+7)/8)
	for i, c := range codes {
		bit := fill + i*7
		out[bit/8] |= c << (bit % 8)
		if bit%8 > 1 {
			out[bit/8+1] |= c >> (8 - bit%8)
		}
	}
	return out
}

// unpack takes n septets out of octets after fill bits. There must be enough.
func unpack(octets []byte, n, fill int) []byte {
	codes := make([]byte, n)
	for i := range codes {
		bit := fill + i*7
		c := octets[bit/8] >> (bit % 8)
		if bit%8 > 1 {
			c |= octets[bit/8+1] << (8 - bit%8)
		}
		codes[i] = c & 0x7F
	}
	return codes
}

// Character returns the character of a code of the default alphabet; empty for
// the escape code and for codes above 127.
func Character(code byte) string {
	if code == escape || int(code) >= len(basic) {
		return ""
	}
	return string(basic[code])
}

// Hex writes text as the hexadecimal digits of its UTF-16 units, the character
// set UCS2 of TS 27.007 (+CSCS).
func Hex(text string) string {
	octets, _ := ucs2(strings.ToValidUTF8(text, "\uFFFD"))
	return strings.ToUpper(hex.EncodeToString(octets))
}
