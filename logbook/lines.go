package logbook

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
)

// MaxLine is the longest line of a JSON Lines file that is read, in bytes.
const MaxLine = 4 << 20

// Reader reads entries from JSON Lines. Empty lines are passed over.
type Reader struct {
	name string
	r    *bufio.Reader
	line int
	buf  []byte // of the last line
}

// NewReader returns a Reader of r; name stands in its errors.
func NewReader(name string, r io.Reader) *Reader {
	return &Reader{name: name, r: bufio.NewReaderSize(r, 64<<10)}
}

// Line returns the number of the last line read, from 1.
func (r *Reader) Line() int { return r.line }

// Next returns the next entry, or io.EOF. An error names the file and the line.
func (r *Reader) Next() (Entry, error) {
	for {
		b, err := r.text()
		if err == io.EOF && len(b) == 0 {
			return nil, io.EOF
		}
		if err != nil && err != io.EOF {
			return nil, fmt.Errorf("%s:%d: %w", r.name, r.line, err)
		}
		if b = bytes.TrimSpace(b); len(b) == 0 {
			continue
		}
		e, err := Decode(b)
		if err != nil {
			return nil, fmt.Errorf("%s:%d: %w", r.name, r.line, err)
		}
		return e, nil
	}
}

// text returns the next line whole, refusing one over MaxLine.
func (r *Reader) text() ([]byte, error) {
	r.line++
	b := r.buf[:0]
	for {
		part, err := r.r.ReadSlice('\n')
		b = append(b, part...)
		r.buf = b
		if len(b) > MaxLine {
			return nil, fmt.Errorf("the line is longer than %d bytes", MaxLine)
		}
		if !errors.Is(err, bufio.ErrBufferFull) {
			return b, err
		}
	}
}
