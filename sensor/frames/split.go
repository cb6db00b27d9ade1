package frames

import (
	"bytes"
	"time"
)

// line is what came up to a line end.
type line struct {
	text []byte    // without its end; the first MaxLine bytes when it was longer
	long bool      // it was longer
	torn bool      // no end came
	at   time.Time // depot time of its last byte
}

// splitter cuts a stream of bytes into lines. It holds no more than MaxLine bytes and two.
type splitter struct {
	end, other byte // what ends a line, and what is dropped beside it
	held       []byte
	skip       bool // drop what comes up to the next line end
	whole      bool // the beginning of the line that is held was seen
}

// newSplitter makes a splitter of a stream that was opened amid a line.
func newSplitter(end string) *splitter {
	if end == EndCR {
		return &splitter{end: '\r', other: '\n'}
	}
	return &splitter{end: '\n', other: '\r'}
}

// quiet says at the given time that nothing came for so long that what comes next
// is the beginning of a line. It returns what is held of a line without an end.
func (s *splitter) quiet(at time.Time) (l line, torn bool) {
	torn = s.whole && !s.skip && len(s.held) > 0
	if torn {
		l = line{text: bytes.Clone(s.held), torn: true, at: at}
	}
	s.held, s.skip, s.whole = s.held[:0], false, true
	return l, torn
}

// take adds b, which came at the given time, and returns the lines that it ends.
// A line whose beginning was not seen is dropped.
func (s *splitter) take(b []byte, at time.Time) []line {
	var lines []line
	for len(b) > 0 {
		n := bytes.IndexByte(b, s.end)
		part, rest := b, []byte(nil)
		if n >= 0 {
			part, rest = b[:n], b[n+1:]
		}
		if l, ok := s.add(part, at); ok {
			lines = append(lines, l)
		}
		if n >= 0 {
			if l, ok := s.finish(at); ok {
				lines = append(lines, l)
			}
		}
		b = rest
	}
	return lines
}

// add holds a part of a line, and returns the line's start when it has become too
// long: then it is no torn line either, whether its beginning was seen or not.
func (s *splitter) add(part []byte, at time.Time) (l line, long bool) {
	if s.skip {
		return line{}, false
	}
	if room := MaxLine + 2 - len(s.held); len(part) > room {
		l = line{text: bytes.Clone(append(s.held, part[:room]...)[:MaxLine]), long: true, at: at}
		s.held, s.skip = s.held[:0], true
		return l, true
	}
	s.held = append(s.held, part...)
	return line{}, false
}

// finish ends the line that is held.
func (s *splitter) finish(at time.Time) (l line, ok bool) {
	ok = s.whole && !s.skip
	if ok {
		l = line{text: bytes.Clone(bytes.Trim(s.held, string(rune(s.other)))), at: at}
	}
	s.held, s.skip, s.whole = s.held[:0], false, true
	return l, ok
}
