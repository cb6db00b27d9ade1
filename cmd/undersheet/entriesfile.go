package main

import (
	"errors"
	"fmt"
	"io"
	"iter"
	"os"

	"undersheet/configs"
	"undersheet/logbook"
	"undersheet/logbook/sqlite"
	"undersheet/report"
)

// recordFlags say which record a command reads: a logbook, or a file of entries.
type recordFlags struct {
	Logbook string `short:"l" placeholder:"PATH" env:"UNDERSHEET_LOGBOOK" help:"Logbook to read; it may be in use."`
	Entries string `placeholder:"FILE" help:"Instead of a logbook: JSON Lines of entries."`
	Site    string `placeholder:"FILE" help:"Site file, for entries that hold no site-configured."`
	Until   uint64 `placeholder:"SEQ" help:"Only what the logbook held up to this entry, which a file that was made then names."`
}

// readRecord makes something of the record that the flags name: ofLog of a logbook, of of
// entries up to --until, with the site file if there is one.
func readRecord[T any](con *console, f recordFlags, ofLog func(*sqlite.Store) (T, error), of func(iter.Seq2[logbook.Entry, error], *logbook.Site) (T, error)) (made T, err error) {
	if f.Entries != "" && f.Logbook == os.Getenv("UNDERSHEET_LOGBOOK") {
		f.Logbook = "" // the environment's logbook is only a default
	}
	switch {
	case f.Logbook != "" && f.Entries == "" && f.Site != "":
		return made, errors.New("read site: a logbook holds its own site; --site goes with --entries")
	case (f.Logbook == "") == (f.Entries == ""):
		return made, errors.New("name either --logbook or --entries")
	case f.Logbook != "":
		store, err := sqlite.Open(f.Logbook, sqlite.Options{ReadOnly: true})
		if err != nil {
			return made, err
		}
		defer store.Close()
		return ofLog(store)
	}
	var site *logbook.Site
	if f.Site != "" {
		if site, _, err = configs.Load(f.Site); err != nil {
			return made, err
		}
	}
	file := entriesFile{path: f.Entries}
	if made, err = of(report.Until(file.all(), f.Until), site); err == nil {
		file.warn(con.err)
	}
	return made, err
}

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
