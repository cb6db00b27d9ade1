package main

import (
	"errors"
	"fmt"
	"io"
	"iter"
	"os"

	"undersheet/logbook"
)

// entriesFile is a file of entries that stands for a logbook.
type entriesFile struct {
	path     string
	numbered bool // acts in it have a seq, as in a logbook
	judged   bool // it holds records of what the program made of them
}

// all yields the entries of the file, and notes what they are like.
func (f *entriesFile) all() iter.Seq2[logbook.Entry, error] {
	return func(yield func(logbook.Entry, error) bool) {
		in, err := os.Open(f.path)
		if err != nil {
			yield(nil, fmt.Errorf("open entries: %w", err))
			return
		}
		defer in.Close()
		r := logbook.NewReader(f.path, in)
		for {
			e, err := r.Next()
			if errors.Is(err, io.EOF) {
				return
			}
			f.note(e)
			if !yield(e, err) || err != nil {
				return
			}
		}
	}
}

func (f *entriesFile) note(e logbook.Entry) {
	switch e.(type) {
	case logbook.Recorded:
		f.judged = true
	case logbook.Acting:
		f.numbered = f.numbered || e.Head().Seq != 0
	}
}

// warn says it when what was made of the file tells of nothing that happened: numbered
// entries are taken for those of a logbook, whose records stand among them.
func (f *entriesFile) warn(w io.Writer) {
	if f.numbered && !f.judged {
		fmt.Fprintf(w, "warning: %s numbers its entries (\"seq\") as a logbook does, but holds none of its records: no phase, gate, alarm, forecast or verdict is told. "+
			"Give all that \"undersheet export\" writes, or take \"seq\" out of each line, and the rules judge the entries anew\n", f.path)
	}
}
