package sms

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestLexer(t *testing.T) {
	for in, want := range map[string][]string{
		"\r\nOK\r\n":                        {"OK"},
		"AT+CSQ\r\r\n+CSQ: 17,99\r\n\r\nOK": {"AT+CSQ", "+CSQ: 17,99"}, // the OK is not complete
		"\r\n> ":                            {">"},
		">":                                 {">"},
		"> 0011AA\x1a\r\n+CMGS: 4\r\n":      {">", "0011AA", "+CMGS: 4"},
		"a > b\r\n":                         {"a > b"},
		"\x00\x07R\x00ING\r":                {"RING"},
		" \r\n \r\n":                        nil,
		strings.Repeat("x", mostLine+1) + "\r\nOK\r\n": {"OK"},
	} {
		var l lexer
		require.Equal(t, want, l.feed([]byte(in)), "%q", in)
	}
}

// Values of <stat>: TS 27.007 section 7.2; of <rssi>: section 8.5 (0 is -113 dBm
// or less, 31 is -51 dBm or more, 99 unknown); of +CPINR: section 8.65.
func TestAnswers(t *testing.T) {
	for line, want := range map[string]network{
		"+CREG: 0,1": 1, "+CREG: 2,5,\"00C3\",\"0A2F\"": 5, "+CREG:0,10": 10, "+CREG: 0, 6": 6,
		"+CREG: 1": -1, "+CREG: 1,\"00C3\",\"0A2F\"": -1, "+CREG: 1,00C3,0A2F": -1, "+CREG: 1,0123": -1, "+CREG: ": -1, "+CREG: 0,-1": -1, "+CGREG: 0,1": -1, "+CREG: x,1": -1,
	} {
		got, ok := readNetwork(line, "+CREG")
		require.Equal(t, want, got, line)
		require.Equal(t, want >= 0, ok, line)
	}
	for n, want := range map[network]bool{0: false, 1: true, 2: false, 3: false, 4: false, 5: true, 6: true, 7: true, 8: false, 9: false, 10: false, -1: false, 99: false} {
		require.Equal(t, want, n.registered(), n)
		require.NotEmpty(t, n.String())
	}
	for line, want := range map[string]int{"+CSQ: 0,0": -113, "+CSQ: 31,99": -51, "+CSQ:17,99": -79, "+CSQ: 99,99": 0, "+CSQ: ": 0, "+CSQ: -3": 0} {
		got, _ := readSignal(line)
		require.Equal(t, want, got, line)
	}
	for line, want := range map[string]int{"+CPINR: SIM PIN,2,3": 2, `+CPINR: "SIM PIN",1`: 1, "+CPINR: SIM PUK,10,10": -1, "+CPINR: SIM PIN": -1, "+CPINR: SIM PIN,x": -1} {
		require.Equal(t, want, readTries(line), line)
	}
}

func TestFinal(t *testing.T) {
	for line, want := range map[string]*refusal{
		"ERROR":                   {code: -1},
		"+CMS ERROR: 38":          {family: "CMS", code: 38},
		"+CME ERROR:16":           {family: "CME", code: 16},
		"+CME ERROR: SIM failure": {family: "CME", code: -1, words: "SIM failure"},
		"+CMS ERROR: -4":          {family: "CMS", code: -1, words: "-4"},
		"+CMS ERROR: 99999999":    {family: "CMS", code: -1, words: "99999999"},
	} {
		got, done := final(line)
		require.True(t, done, line)
		require.Equal(t, want, got, line)
		require.NotEmpty(t, got.Error())
	}
	for _, line := range []string{"RING", "", "OKAY", "+CMGS: 4", "ERRORS", "+CMS ERROR", "ok"} {
		_, done := final(line)
		require.False(t, done, line)
	}
}

// The tables name every code once, in plain words; what lasts is never in doubt,
// for a doubt makes a repeat.
func TestCauses(t *testing.T) {
	for family, table := range map[string]map[int]cause{"CMS": messageCauses, "CME": equipmentCauses} {
		for code, c := range table {
			require.NotEmpty(t, c.words)
			require.False(t, c.permanent && c.doubt, "%s %d", family, code)
			f := (&refusal{family: family, code: code}).failure(nil)
			require.Equal(t, !c.person, f.Everyone)
		}
	}
}

// Whatever a modem says and however it comes in pieces, the lines are the same,
// short, clean, and no reader of them fails.
func FuzzAnswers(f *testing.F) {
	for _, s := range []string{"\r\n+CREG: 0,1\r\n\r\nOK\r\n", "\r\n> ", "+CMGS: 5\r\n+CMS ERROR: 38\r", "+CPINR: SIM PIN,2,3\r\n+CPIN: SIM PUK\r\n", `+CREG: "a,b",,` + "\r", "\xff\x00>>\n"} {
		f.Add([]byte(s), uint8(3))
	}
	f.Fuzz(func(t *testing.T, in []byte, step uint8) {
		var whole, pieces lexer
		want := whole.feed(in)
		var got []string
		for rest := in; len(rest) > 0; {
			n := min(len(rest), int(step)%7+1)
			got = append(got, pieces.feed(rest[:n])...)
			rest = rest[n:]
		}
		require.Equal(t, want, got)
		for _, line := range want {
			require.LessOrEqual(t, len(line), mostLine)
			require.NotContains(t, line, "\r")
			require.Equal(t, strings.TrimSpace(line), line)
			if r, done := final(line); done && r != nil {
				require.NotEmpty(t, r.Error())
				require.GreaterOrEqual(t, r.code, -1)
			}
			name, rest, named := strings.Cut(line, ":")
			if fs := fields(line, name); named {
				require.Equal(t, strings.Count(rest, ","), strings.Count(strings.Join(fs, ","), ","), "no comma is lost")
			}
			n, ok := readNetwork(line, "+CREG")
			require.Equal(t, ok, n >= 0)
			if dBm, ok := readSignal(line); ok {
				require.True(t, dBm >= -113 && dBm <= -51)
			}
			require.GreaterOrEqual(t, readTries(line), -1)
		}
	})
}
