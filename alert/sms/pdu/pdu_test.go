package pdu_test

import (
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/stretchr/testify/require"

	"undersheet/alert/sms/pdu"
)

// submit builds a message of one part.
func submit(number, text string) pdu.Submit {
	return pdu.Submit{Number: number, Alphabet: pdu.Best(text), Text: text}
}

// known are PDUs from outside.
var known = []struct {
	source string
	of     pdu.Submit
	tpdu   string
	length int
}{
	// The submit example that AT command manuals and tutorials share; also in the tests of several PDU codecs.
	{"common practice", pdu.Submit{Number: "+46708251358", Text: "hellohello", Validity: 4 * 24 * time.Hour},
		"0011000B916407281553F80000AA0AE8329BFD4697D9EC37", 23},
	// A modem manual's UCS-2 example, AT+CMGS=23.
	{"a modem manual", pdu.Submit{Number: "13421839693", Alphabet: pdu.UCS2, Text: "hello"},
		"0001000B813124819396F300080A00680065006C006C006F", 23},
}

func TestKnownPDUs(t *testing.T) {
	for _, k := range known {
		got, length, err := k.of.Encode()
		require.NoError(t, err, k.source)
		require.Equal(t, k.tpdu, got, k.source)
		require.Equal(t, k.length, length, k.source)
		back, err := pdu.Decode(strings.ToLower(k.tpdu))
		require.NoError(t, err)
		require.Equal(t, k.of, back)
	}
}

// Packing of septets, TS 23.038 section 6.1.2.1.1; the strings are those that
// the tests of several codecs share (common practice). Eight septets fill seven
// octets without a rest.
func TestPacking(t *testing.T) {
	for text, want := range map[string]string{
		"hello": "05E8329BFD06", "Hello": "05C8329BFD06", "hellohello": "0AE8329BFD4697D9EC37",
		"How are you?": "0CC8F71D14969741F977FD07", "@@@@@@@@": "0800000000000000", "€": "029B32",
		"": "00", "àààààààà": "08FFFFFFFFFFFFFF",
	} {
		got, _, err := submit("12345", text).Encode()
		require.NoError(t, err)
		require.Equal(t, "0001000581"+"2143F5"+"0000"+want, got, text)
	}
}

// Rows of the default alphabet, TS 23.038 section 6.2.1, and of the extension
// table, section 6.2.1.1.
func TestAlphabet(t *testing.T) {
	for r, code := range map[rune]byte{'@': 0x00, '£': 0x01, '$': 0x02, 'Ç': 0x09, '\n': 0x0A, '\r': 0x0D, 'Δ': 0x10, '_': 0x11, 'Ξ': 0x1A,
		'Æ': 0x1C, 'É': 0x1F, ' ': 0x20, '¤': 0x24, '?': 0x3F, '¡': 0x40, 'A': 0x41, 'Z': 0x5A, 'Ä': 0x5B, '§': 0x5F, '¿': 0x60, 'a': 0x61, 'z': 0x7A, 'à': 0x7F} {
		got, ok := pdu.Septet(r)
		require.True(t, ok, "%q", r)
		require.Equal(t, code, got, "%q", r)
	}
	for _, r := range "^{}\\[~]|€\f" {
		_, ok := pdu.Septet(r)
		require.False(t, ok, "%q is in the extension table alone", r)
		require.Equal(t, 2, pdu.GSM7.Units(string(r)))
	}
	for _, r := range "ç`°–ж😀\x1b" {
		require.Equal(t, pdu.UCS2, pdu.Best("a"+string(r)), "%q", r)
	}
}

// Room of a part, TS 23.040 section 9.2.3.24.1 and 9.2.3.16: 140 octets.
func TestSplitNeverCutsACharacter(t *testing.T) {
	for n, parts := range map[int]int{0: 1, 160: 1, 161: 2, 306: 2, 307: 3} {
		require.Len(t, pdu.Split(strings.Repeat("a", n), pdu.GSM7, 1), parts, "%d septets", n)
	}
	for n, parts := range map[int]int{70: 1, 71: 2, 134: 2, 135: 3} {
		require.Len(t, pdu.Split(strings.Repeat("ж", n), pdu.UCS2, 1), parts, "%d units", n)
	}
	text := strings.Repeat("a", 152) + "€" + strings.Repeat("b", 100)
	got := pdu.Split(text, pdu.GSM7, 9)
	require.Equal(t, strings.Repeat("a", 152), got[0].Text, "the escape goes with its character")
	require.Equal(t, pdu.Submit{Text: "€" + strings.Repeat("b", 100), Reference: 9, Part: 2, Parts: 2}, got[1])
	got = pdu.Split(strings.Repeat("ж", 66)+"😀"+strings.Repeat("ж", 10), pdu.UCS2, 9)
	require.Equal(t, strings.Repeat("ж", 66), got[0].Text, "the surrogates stay together")
	require.Len(t, pdu.Split(strings.Repeat("ж", 67*300), pdu.UCS2, 1), pdu.MostParts)
}

func TestEncodeRefuses(t *testing.T) {
	for name, s := range map[string]pdu.Submit{
		"no number":            submit("", "x"),
		"a name":               submit("R. Amadi", "x"),
		"spaces":               submit("+44 7700", "x"),
		"21 digits":            submit("123456789012345678901", "x"),
		"bad centre":           {Number: "1", Centre: "+", Text: "x"},
		"161 septets":          submit("1", strings.Repeat("x", 161)),
		"154 with a header":    {Number: "1", Text: strings.Repeat("x", 154), Part: 1, Parts: 2},
		"71 units":             submit("1", strings.Repeat("ж", 71)),
		"not in the alphabet":  {Number: "1", Text: "ж"},
		"no UTF-8":             {Number: "1", Alphabet: pdu.UCS2, Text: "\xff"},
		"8-bit data":           {Number: "1", Alphabet: 4, Text: "x"},
		"part 0":               {Number: "1", Parts: 2},
		"part 3 of 2":          {Number: "1", Part: 3, Parts: 2},
		"one part, with a ref": {Number: "1", Reference: 4},
		"300 parts":            {Number: "1", Part: 1, Parts: 300},
	} {
		got, length, err := s.Encode()
		require.Error(t, err, name)
		require.Empty(t, got, name)
		require.Zero(t, length, name)
	}
}

// damaged are PDUs that no encoder writes.
var damaged = map[string]string{
	"empty":                    "",
	"half an octet":            "001",
	"no hexadecimal digits":    "hello",
	"cut off":                  "0011000B916407281553F80000AA0AE8329BFD4697D9EC",
	"too long":                 "0011000B916407281553F80000AA0AE8329BFD4697D9EC3700",
	"far too long":             strings.Repeat("00", 300),
	"a DELIVER":                "0004" + "0005812143F5" + "000000",
	"letters in the number":    "00010005812143FA000000",
	"no fill in the number":    "000100058121431500" + "0000",
	"unknown type of number":   "00010005D02143F5000000",
	"a protocol of machines":   "00010005812143F5400000",
	"8-bit data":               "00010005812143F5000400",
	"half a surrogate pair":    "00010005812143F5000802D83D",
	"half a unit":              "00010005812143F50008010041",
	"an escape at the end":     "00010005812143F50000011B",
	"an unknown escape":        "00010005812143F50000029B00",
	"fill bits that are set":   "00010005812143F5000005E8329BFD86",
	"a header of ports":        "00410005812143F500000805040B8423F0A1",
	"a header of one part":     "00410005812143F500000805000301010182",
	"part 3 of 2":              "00410005812143F500000805000301020382",
	"a header longer than all": "00410005812143F500000205000301",
	"centre without digits":    "0181010005812143F5000000",
}

func TestDecodeRefuses(t *testing.T) {
	for name, tpdu := range damaged {
		got, err := pdu.Decode(tpdu)
		require.Error(t, err, name)
		require.Zero(t, got, name)
	}
}

func TestNumber(t *testing.T) {
	for in, want := range map[string]string{"+44 7700 900-123": "+447700900123", "8080": "8080", "+420\u00a0601 234 567": "+420601234567"} {
		got, err := pdu.Number(in)
		require.NoError(t, err)
		require.Equal(t, want, got)
	}
	for _, in := range []string{"", "+", " ", "++1", "1+", "amadi@depot.example", "*100#", "+44(0)7700900123", "١٢٣", strings.Repeat("1", 21)} {
		got, err := pdu.Number(in)
		require.Error(t, err, in)
		require.Empty(t, got)
	}
}

// Whatever comes: an error gives nothing, and what is read writes the same digits.
func FuzzDecode(f *testing.F) {
	for _, k := range known {
		f.Add(k.tpdu)
	}
	for _, tpdu := range damaged {
		f.Add(tpdu)
	}
	for _, s := range pdu.Split(strings.Repeat("grain {wet} 45€ ", 20), pdu.GSM7, 3) {
		s.Number = "+447700900123"
		tpdu, _, err := s.Encode()
		require.NoError(f, err)
		f.Add(tpdu)
	}
	f.Fuzz(func(t *testing.T, tpdu string) {
		s, err := pdu.Decode(tpdu)
		if err != nil {
			require.Zero(t, s)
			return
		}
		again, _, err := s.Encode()
		require.NoError(t, err)
		require.Equal(t, strings.ToUpper(tpdu), again)
	})
}

// Whatever the text: its parts fit, decode, and together are the text.
func FuzzSplit(f *testing.F) {
	for _, text := range []string{"", "hello", strings.Repeat("€", 300), strings.Repeat("😀ж", 99), "\xff", "a\x00b\x1b"} {
		f.Add(text, byte(7))
	}
	f.Fuzz(func(t *testing.T, text string, reference byte) {
		a := pdu.Best(text)
		if !utf8.ValidString(text) || a.Units(text) > 5000 {
			return
		}
		var whole strings.Builder
		for _, s := range pdu.Split(text, a, reference) {
			s.Number = "+447700900123"
			tpdu, _, err := s.Encode()
			require.NoError(t, err)
			back, err := pdu.Decode(tpdu)
			require.NoError(t, err)
			require.Equal(t, s, back)
			whole.WriteString(back.Text)
		}
		require.Equal(t, text, whole.String())
	})
}
