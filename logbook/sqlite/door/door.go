// Package door lets other processes hand entries to the one that holds the
// logbook, through a unix socket beside it.
//
// The process that holds the logbook calls [Listen] and [Serve]; `act` and
// `import` call [Dial] and [Client.Send]. Who may use the door is decided by the
// socket's file mode, 0660.
//
// Both ways go JSON Lines. A request is one entry a line and ends with an empty
// line; the answer is one [Answer] a line, in the same order, and an empty line.
// A request is taken whole or not at all: when anything in it is wrong, the
// answer is one line {"error":"..."}, and nothing of it was kept. Requests follow
// one another on one connection.
//
// The door refuses records and site-configured: those only the program itself
// writes. It refuses more than 1000 entries or 8 MiB in a request, and ends a
// connection that stays silent for a minute or does not read its answer.
package door

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"time"

	"undersheet/logbook"
)

// Limits of the door.
const (
	MaxEntries = 1000             // entries in a request
	MaxRequest = 8 << 20          // bytes in a request or an answer
	maxClients = 16               // connections at once; more wait
	idleTime   = time.Minute      // for a request to come whole
	answerTime = 10 * time.Second // for an answer to be taken
	workTime   = time.Minute      // for the entries to be committed and judged
)

// Answer says what became of one entry.
type Answer struct {
	Seq       uint64       `json:"seq"`                 // place in the logbook; of the first one when it is a duplicate
	Duplicate bool         `json:"duplicate,omitempty"` // the same entry was there already
	Differs   bool         `json:"differs,omitempty"`   // its id was used before for something else: it was not kept
	Verdict   logbook.Kind `json:"verdict,omitempty"`   // accepted or refused; empty for what is not judged, or not yet

	Refused  *logbook.Refused `json:"refused,omitempty"`  // the record of a refusal, with its sentences
	Language string           `json:"language,omitempty"` // of the site
}

// line is one line of an answer.
type line struct {
	Answer
	Error string `json:"error,omitempty"`
}

// errTooLarge says that a request or an answer is over the limit.
var errTooLarge = fmt.Errorf("it is larger than %d bytes", MaxRequest)

// Check reports whether an entry may come in by the door.
func Check(e logbook.Entry) error {
	if k := e.Head().Kind; logbook.IsRecord(k) || k == logbook.KindSiteConfigured || k == logbook.KindRestored {
		return fmt.Errorf("only the program itself writes %q", k)
	}
	return nil
}

// readBlock reads lines up to an empty one, without it. io.EOF means that the
// other side is done.
func readBlock(r *bufio.Reader) ([][]byte, error) {
	var lines [][]byte
	size := 0
	for {
		part, err := readLine(r, MaxRequest-size)
		if err == io.EOF && (len(lines) > 0 || len(part) > 0) {
			err = io.ErrUnexpectedEOF
		}
		if err != nil {
			return nil, err
		}
		if part = bytes.TrimSpace(part); len(part) == 0 {
			return lines, nil
		}
		size += len(part)
		lines = append(lines, part)
	}
}

// readLine reads up to a line end and with it, at most limit bytes (else errTooLarge).
func readLine(r *bufio.Reader, limit int) ([]byte, error) {
	var b []byte
	for {
		part, err := r.ReadSlice('\n')
		if b = append(b, part...); len(b) > limit {
			return nil, errTooLarge
		}
		if !errors.Is(err, bufio.ErrBufferFull) {
			return b, err
		}
	}
}

// writeBlock writes values, one a line, and an empty line.
func writeBlock[T any](w io.Writer, values []T, encode func(T) ([]byte, error)) error {
	var b bytes.Buffer
	for _, v := range values {
		text, err := encode(v)
		if err != nil {
			return err
		}
		b.Write(text)
		b.WriteByte('\n')
	}
	b.WriteByte('\n')
	if b.Len() > MaxRequest {
		return errTooLarge
	}
	_, err := w.Write(b.Bytes())
	return err
}

// encodeLine writes l without a line end.
func encodeLine(l line) ([]byte, error) { return json.Marshal(l) }
