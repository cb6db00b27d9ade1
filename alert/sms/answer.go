package sms

import (
	"fmt"
	"strconv"
	"strings"
)

// mostLine is the longest line that is kept of what a modem says; a longer one
// is none of the answers that matter here and is dropped whole.
const mostLine = 512

// promptToken stands for the prompt of +CMGS among lines.
const promptToken = ">"

// lexer cuts what comes from a modem into lines and prompts, however it comes in
// pieces.
type lexer struct {
	line []byte
	over bool // the line is longer than mostLine
}

// feed takes the next bytes and returns the lines that end in them, without
// control characters and outer spaces, none empty; and promptToken for each ">"
// at the beginning of a line, which is not ended by anything.
func (l *lexer) feed(b []byte) []string {
	var out []string
	for _, c := range b {
		switch {
		case c == '\r' || c == '\n':
			if line := strings.TrimSpace(string(l.line)); line != "" && !l.over {
				out = append(out, line)
			}
			l.line, l.over = l.line[:0], false
		case c < ' ' || c == 0x7F:
		case c == '>' && len(l.line) == 0:
			out = append(out, promptToken)
		case c == ' ' && len(l.line) == 0:
		case len(l.line) == mostLine:
			l.over = true
		default:
			l.line = append(l.line, c)
		}
	}
	return out
}

// refusal is a modem's final answer that is not OK.
type refusal struct {
	family string // "CMS" (TS 27.005, 3.2.5), "CME" (TS 27.007, 9.2), or empty for a plain ERROR
	code   int    // -1 when the modem gave words or nothing
	words  string // the modem's own words in place of a code
}

// Error implements error: the code, and what it means in plain words.
func (r *refusal) Error() string {
	switch {
	case r.family == "":
		return "the modem answered ERROR"
	case r.code < 0:
		return fmt.Sprintf("the modem answered %s error %q", r.family, r.words)
	}
	return fmt.Sprintf("%s (%s error %d)", r.cause().words, r.family, r.code)
}

// final reads a line that ends an answer: nil and true for OK, a refusal and true
// for an error, false for any other line.
func final(line string) (*refusal, bool) {
	switch line {
	case "OK":
		return nil, true
	case "ERROR":
		return &refusal{code: -1}, true
	}
	for _, family := range []string{"CMS", "CME"} {
		rest, ok := strings.CutPrefix(line, "+"+family+" ERROR:")
		if !ok {
			continue
		}
		r := &refusal{family: family, code: -1, words: strings.TrimSpace(rest)}
		if n, err := strconv.ParseUint(r.words, 10, 16); err == nil {
			r.code, r.words = int(n), ""
		}
		return r, true
	}
	return nil, false
}

// fields returns the parameters of an answer line such as `+CREG: 0,1`, quoted
// ones with their quotation marks; nil when the line is not of that name.
func fields(line, name string) []string {
	rest, ok := strings.CutPrefix(line, name+":")
	if !ok {
		return nil
	}
	var out []string
	quoted, from := false, 0
	for i := range len(rest) {
		switch {
		case rest[i] == '"':
			quoted = !quoted
		case rest[i] == ',' && !quoted:
			out = append(out, strings.TrimSpace(rest[from:i]))
			from = i + 1
		}
	}
	return append(out, strings.TrimSpace(rest[from:]))
}

// figure reads parameter i as a small number that is not negative; -1 when it is none.
func figure(fields []string, i int) int {
	if i >= len(fields) {
		return -1
	}
	n, err := strconv.ParseUint(fields[i], 10, 15)
	if err != nil {
		return -1
	}
	return int(n)
}

// network is <stat> of +CREG, TS 27.007 section 7.2; -1 = not known.
type network int

// registered reports whether messages can be sent: at home, roaming, or either
// for short messages only.
func (n network) registered() bool { return n == 1 || n == 5 || n == 6 || n == 7 }

// networks words every value of <stat>.
var networks = [...]string{"not registered and not searching", "registered at home", "searching for a network", "registration denied",
	"out of coverage or unknown", "registered, roaming", "registered at home for SMS only", "registered for SMS only, roaming", "emergency calls only",
	"registered at home for calls mainly", "registered for calls mainly, roaming"}

// String words it.
func (n network) String() string {
	if n < 0 || int(n) >= len(networks) {
		return "not known"
	}
	return networks[n]
}

// readNetwork reads the answer to AT+CREG? and its like: <n>,<stat>. The
// unsolicited line of the same name has <stat> first, alone or before a quoted
// or four-digit area code, and is told apart by that.
func readNetwork(line, name string) (network, bool) {
	f := fields(line, name)
	if len(f) < 2 || len(f[1]) > 2 || figure(f, 0) < 0 || figure(f, 1) < 0 {
		return -1, false
	}
	return network(figure(f, 1)), true
}

// readSignal reads +CSQ, TS 27.007 section 8.5, in dBm; false when the modem does not know.
func readSignal(line string) (dBm int, ok bool) {
	rssi := figure(fields(line, "+CSQ"), 0)
	if rssi < 0 || rssi > 31 {
		return 0, false
	}
	return 2*rssi - 113, true
}

// readTries reads +CPINR, TS 27.007 section 8.65: how often the PIN may still be
// tried; -1 when the line does not say.
func readTries(line string) int {
	f := fields(line, "+CPINR")
	if len(f) < 2 || strings.Trim(f[0], `"`) != "SIM PIN" {
		return -1
	}
	return figure(f, 1)
}
