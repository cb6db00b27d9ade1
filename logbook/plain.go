package logbook

import (
	"bytes"
	"strconv"
	"time"
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
		at, took := r.plainField(name, value, quoted)
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
func (r *Reading) plainField(name, value []byte, quoted bool) (at int, ok bool) {
	if len(value) == 0 {
		return 0, false
	}
	var err error
	switch field := string(name); {
	case field == "value" && !quoted && isNumber(string(value)):
		r.Value, err = strconv.ParseFloat(string(value), 64)
		return 0, err == nil
	case field == "seq" && !quoted && value[0] != '0' && value[0] != '+':
		r.Seq, err = strconv.ParseUint(string(value), 10, 64)
		return 1, err == nil
	case !quoted:
		return 0, false
	case field == "time":
		r.Time, ok = plainTime(value)
		return 2, ok
	case field == "received":
		r.Received, ok = plainTime(value)
		return 3, ok
	case field == "kind":
		r.Kind = KindReading
		return 4, string(value) == string(KindReading)
	case field == "channel":
		r.Channel = string(value)
		return 5, true
	case field == "unit" && string(value) == PPM:
		r.Unit = PPM
		return 6, true
	case field == "unit":
		r.Unit = string(value)
		return 6, true
	}
	return 0, false
}

// plainTime reads an RFC 3339 time in UTC, to the microsecond at most; false leaves it
// to ParseTime.
func plainTime(b []byte) (Time, bool) {
	const form = "0000-00-00T00:00:00"
	if len(b) <= len(form) || b[len(b)-1] != 'Z' {
		return 0, false
	}
	whole, part := b[:len(form)], b[len(form):len(b)-1]
	for i, c := range whole {
		if digit := form[i] == '0'; digit && (c < '0' || c > '9') || !digit && c != form[i] {
			return 0, false
		}
	}
	number := func(from, to int) (n int) {
		for _, c := range whole[from:to] {
			n = 10*n + int(c-'0')
		}
		return n
	}
	nanos := 0
	if len(part) > 0 {
		if part[0] != '.' || len(part) < 2 || len(part) > 7 {
			return 0, false
		}
		scale := 100_000_000
		for _, c := range part[1:] {
			if c < '0' || c > '9' {
				return 0, false
			}
			nanos += int(c-'0') * scale
			scale /= 10
		}
	}
	year, month, day := number(0, 4), time.Month(number(5, 7)), number(8, 10)
	hour, minute, second := number(11, 13), number(14, 16), number(17, 19)
	t := time.Date(year, month, day, hour, minute, second, nanos, time.UTC)
	if y, m, d := t.Date(); y != year || year == 0 || m != month || d != day || hour > 23 || minute > 59 || second > 59 {
		return 0, false // time.Date took a 30 February for 2 March
	}
	return At(t), true
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
