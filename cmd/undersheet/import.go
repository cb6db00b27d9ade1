package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"undersheet/logbook"
	"undersheet/logbook/sqlite"
	"undersheet/logbook/sqlite/door"
)

// importCmd adds entries of a JSON Lines file to a logbook.
type importCmd struct {
	Logbook string `arg:"" help:"Path of the logbook; it is created when there is none."`
	File    string `arg:"" help:"JSON Lines file of entries; - reads standard input."`
}

// Help implements kong.HelpProvider.
func (importCmd) Help() string {
	return `Adds readings and acts that were written down elsewhere to a logbook: one JSON object a line. The whole file is
checked first; when a line is wrong, the error names it and nothing is imported. Entries that are in the logbook
already are dropped, so the same file can be imported again, also after an interruption.

Every entry keeps its "time" (when it happened) and gets a new "seq" and "received" (when it was kept). What only the
program itself writes, that is verdicts, gates, alarms and other records, and the site's configuration unless the
logbook is empty, is passed over and counted: the logbook's own rules judge what was imported. To move a whole
logbook use "undersheet backup" and "undersheet restore".

A correction or a photo of an export names the entry that it is about by its "seq" there: it is led to the same entry
here, which must stand before it in the file. One written by hand, without a "seq", names an entry of this logbook.

While a daemon holds the logbook, the entries go to it through the socket beside the logbook.

A line by hand:

    {"time":"2026-03-01T08:00:00Z","kind":"reading","channel":"b-north-top","value":412,"unit":"ppm"}

    undersheet import depot.db notes.jsonl`
}

// sender takes a batch of entries and says what became of each.
type sender func(ctx context.Context, batch []logbook.Entry) ([]door.Answer, error)

// tally counts what became of the entries of a file.
type tally struct {
	read, added, there, passed, refused, clashed int
	became                                       map[uint64]uint64 // seq of acts in the logbook, by that in the file
}

// Run checks the file, then adds its entries.
func (c *importCmd) Run(con *console) error {
	f, name, err := c.open(con.in)
	if err != nil {
		return err
	}
	defer f.Close()
	lines, err := checkEntries(con, name, f)
	if err != nil {
		return fmt.Errorf("nothing was imported: %w", err)
	}
	send, empty, closing, err := reach(con, c.Logbook)
	if err != nil {
		return err
	}
	if _, err := f.Seek(0, io.SeekStart); err != nil {
		return errors.Join(err, closing())
	}
	t := &tally{became: map[uint64]uint64{}}
	err = errors.Join(t.add(con, logbook.NewReader(name, f), lines, empty, send), closing())
	fmt.Fprintf(con.err, "%d entries read: %d added, %d were there already, %d passed over (only the program itself writes them)\n",
		t.read, t.added, t.there, t.passed)
	if err == nil && t.refused+t.clashed > 0 {
		err = errReported
	}
	return err
}

// open returns the file to read twice; standard input is kept in a temporary one.
func (c *importCmd) open(in io.Reader) (*os.File, string, error) {
	if c.File != "-" {
		f, err := os.Open(c.File)
		return f, c.File, err
	}
	f, err := os.CreateTemp("", "undersheet-import-*")
	if err != nil {
		return nil, "", err
	}
	os.Remove(f.Name()) // it lives as long as it is open
	if _, err = io.Copy(f, in); err == nil {
		_, err = f.Seek(0, io.SeekStart)
	}
	if err != nil {
		f.Close()
		return nil, "", fmt.Errorf("read standard input: %w", err)
	}
	return f, "standard input", nil
}

// checkEntries reads the whole file and returns the number of its last line.
func checkEntries(con *console, name string, f io.Reader) (int, error) {
	show, end := progress(con, "checking")
	defer end()
	r := logbook.NewReader(name, f)
	for n := uint64(1); ; n++ {
		e, err := r.Next()
		if err == io.EOF {
			return r.Line(), nil
		}
		if err == nil {
			if err = logbook.Check(e); err != nil {
				err = fmt.Errorf("%s:%d: %w", name, r.Line(), err)
			}
		}
		if err != nil {
			return 0, err
		}
		show(n, n+1)
	}
}

// reach opens the logbook or, when another process holds it, that process's door.
func reach(con *console, path string) (send sender, empty bool, closing func() error, err error) {
	ctx := context.Background()
	s, c, err := openOrKnock(ctx, path, con.err)
	switch {
	case err != nil:
		return nil, false, nil, err
	case c != nil:
		return c.Send, false, c.Close, nil
	}
	head, err := s.Head(ctx)
	if err != nil {
		return nil, false, nil, errors.Join(err, s.Close())
	}
	if s.ClockBehind() {
		fmt.Fprintf(con.err, "warning: the clock of this machine stands before the newest entry of %s: set the clock; entries are kept with the time received of that entry\n",
			filepath.Base(path))
	}
	return appendTo(s), head.Seq == 0, s.Close, nil
}

// appendTo returns a sender to a logbook that this process holds.
func appendTo(s *sqlite.Store) sender {
	return func(ctx context.Context, batch []logbook.Entry) ([]door.Answer, error) {
		stored, err := s.Append(ctx, batch)
		answers := make([]door.Answer, len(stored))
		for i, st := range stored {
			answers[i] = door.Answer{Seq: st.Seq, Duplicate: st.Duplicate, Differs: st.Differs}
		}
		return answers, err
	}
}

// add sends the entries of r in batches. With takeSite the configuration is
// taken, too.
func (t *tally) add(con *console, r *logbook.Reader, lines int, takeSite bool, send sender) error {
	show, end := progress(con, "importing")
	defer end()
	var batch []logbook.Entry
	var at []int      // line of each
	var were []uint64 // and its seq in the file
	size := 0
	flush := func() error {
		if len(batch) == 0 {
			return nil
		}
		answers, err := send(context.Background(), batch)
		if err != nil {
			return fmt.Errorf("import up to line %d: %w\nWhat came before it is in the logbook; import the same file again when that is put right", at[len(at)-1], err)
		}
		t.count(con, batch, at, were, answers)
		show(uint64(r.Line()), uint64(lines))
		batch, at, were, size = nil, nil, nil, 0
		return nil
	}
	for {
		e, err := r.Next()
		if err == io.EOF {
			return flush()
		}
		if err != nil {
			return err
		}
		t.read++
		if door.Check(e) != nil && !(takeSite && e.Head().Kind == logbook.KindSiteConfigured) {
			t.passed++
			continue
		}
		h := e.Head()
		if of := names(e); of != nil && *of != 0 && h.Seq != 0 {
			if err := flush(); err != nil {
				return err
			}
			seq, ok := t.became[*of]
			if !ok {
				t.clashed++
				fmt.Fprintf(con.err, "line %d: not kept: it is about entry %d, which is not among the lines before it that were kept; an export of the whole logbook has it\n", r.Line(), *of)
				continue
			}
			*of = seq
		}
		was := h.Seq
		h.Seq, h.Received, h.V = 0, 0, 0
		b, err := logbook.Encode(e)
		if err != nil {
			return err
		}
		if len(batch) == door.MaxEntries || size+len(b) > door.MaxRequest/2 {
			if err := flush(); err != nil {
				return err
			}
		}
		batch, at, were, size = append(batch, e), append(at, r.Line()), append(were, was), size+len(b)+1
	}
}

// names is where an act holds the seq of the entry that it is about; nil where it
// names none.
func names(e logbook.Entry) *uint64 {
	switch e := e.(type) {
	case *logbook.Corrected:
		return &e.Of
	case *logbook.PhotoAttached:
		return &e.Of
	}
	return nil
}

// count adds the answers to a batch and tells what a person must know.
func (t *tally) count(con *console, batch []logbook.Entry, at []int, were []uint64, answers []door.Answer) {
	for i, a := range answers {
		if _, act := batch[i].(logbook.Acting); act && !a.Differs && were[i] != 0 {
			t.became[were[i]] = a.Seq
		}
		switch {
		case a.Differs:
			t.clashed++
			fmt.Fprintf(con.err, "line %d: not kept: its id %q was used before, for the other entry with seq %d\n", at[i], batch[i].Head().ID, a.Seq)
		case a.Duplicate:
			t.there++
		default:
			t.added++
		}
		if a.Verdict == logbook.KindRefused && !a.Duplicate {
			t.refused++
			fmt.Fprintf(con.err, "line %d: kept as seq %d, but refused: %s\n", at[i], a.Seq, whyRefused(a, a.Language))
		}
	}
}
