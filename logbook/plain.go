package logbook

import (
	"bytes"
	"strconv"
)

// plainReading reads a reading in its plainest form, as nearly all lines of a long
// record are: an object without spaces, of the fields that every reading has or a
// logbook adds, each once, in texts of printable ASCII without escapes. It gives what
// the strict decoder gives, many times faster; false leaves the line to that.
func plainReading(line []byte) (*Reading, bool) {
	r := &Reading{}
	var seen [7]bool
	rest, ok := bytes.CutPrefix(line, []byte(`{`))
	for ok {
		var name, value []byte
		if name, rest, ok = plainText(rest); !ok || len(rest) < 2 || rest[0] != ':' {
			return nil, false
		}
		rest = rest[1:]
		quoted := rest[0] == '"'
		if quoted {
			value, rest, ok = plainText(rest)
		} else {
			end := bytes.IndexAny(rest, ",}")
			if end < 0 {
				return nil, false
			}
			value, rest = rest[:end], rest[end:]
		}
		at, took := r.plainField(string(name), string(value), quoted)
		if !ok || !took || seen[at] || len(rest) == 0 {
			return nil, false
		}
		seen[at] = true
		if len(rest) == 1 && rest[0] == '}' {
			return r, r.Kind == KindReading && r.Time != 0 && r.Validate() == nil
		}
		rest, ok = bytes.CutPrefix(rest, []byte(`,`))
	}
	return nil, false
}

// plainText cuts a quoted text from the front of b.
func plainText(b []byte) (text, rest []byte, ok bool) {
	if len(b) == 0 || b[0] != '"' {
		return nil, nil, false
	}
	for i, c := range b[1:] {
		switch {
		case c == '"':
			return b[1 : 1+i], b[2+i:], true
		case c < ' ' || c > '~' || c == '\\':
			return nil, nil, false
		}
	}
	return nil, nil, false
}

// plainField takes a field and returns its place among those that are known; false
// where it is none of them, or its value is not in the plainest form.
func (r *Reading) plainField(name, value string, quoted bool) (at int, ok bool) {
	var err error
	switch {
	case value == "":
		return 0, false
	case name == "value" && !quoted && isNumber(value):
		r.Value, err = strconv.ParseFloat(value, 64)
		return 0, err == nil
	case name == "seq" && !quoted && value[0] != '0' && value[0] != '+':
		r.Seq, err = strconv.ParseUint(value, 10, 64)
		return 1, err == nil
	case !quoted:
		return 0, false
	case name == "time":
		r.Time, err = ParseTime(value)
		return 2, err == nil
	case name == "received":
		r.Received, err = ParseTime(value)
		return 3, err == nil
	case name == "kind":
		r.Kind = KindReading
		return 4, value == string(KindReading)
	case name == "channel":
		r.Channel = value
		return 5, true
	case name == "unit":
		r.Unit = value
		return 6, true
	}
	return 0, false
}

// isNumber reports whether s is a number as JSON has it (RFC 8259, section 6).
func isNumber(s string) bool {
	digits := func() (n int) {
		for n < len(s) && s[n] >= '0' && s[n] <= '9' {
			n++
		}
		s = s[n:]
		return n
	}
	sign := func(of string) {
		if len(s) > 0 && (s[0] == '-' || s[0] == of[0]) {
			s = s[1:]
		}
	}
	sign("-")
	zero := len(s) > 0 && s[0] == '0'
	if n := digits(); n == 0 || zero && n > 1 {
		return false
	}
	if len(s) > 0 && s[0] == '.' {
		if s = s[1:]; digits() == 0 {
			return false
		}
	}
	if len(s) > 0 && (s[0] == 'e' || s[0] == 'E') {
		s = s[1:]
		if sign("+"); digits() == 0 {
			return false
		}
	}
	return s == ""
}
