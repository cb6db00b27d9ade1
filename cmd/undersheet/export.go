package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"

	"undersheet/logbook"
	"undersheet/logbook/sqlite"
)

// exportCmd writes a logbook as JSON Lines.
type exportCmd struct {
	From    uint64 `default:"1" placeholder:"SEQ" help:"Begin with this entry."`
	Logbook string `arg:"" help:"Path of the logbook."`
}

// Help implements kong.HelpProvider.
func (exportCmd) Help() string {
	return `Prints every entry of a logbook, oldest first, as one JSON object a line: readings, what people did, and what the
program made of it (records: verdicts, gates, alarms, messages). "seq" is the entry's number, "received" is when it
was kept. It reads beside a running daemon and changes nothing.

To keep a copy of the whole logbook use "undersheet backup"; an export is for other programs, for "undersheet replay"
and for reading.

    undersheet export depot.db > depot.jsonl
    undersheet export depot.db | grep '"kind":"gate"'`
}

// Run writes the entries to standard output.
func (c *exportCmd) Run(con *console) error {
	s, err := sqlite.Open(c.Logbook, sqlite.Options{ReadOnly: true})
	if err != nil {
		return err
	}
	defer s.Close()
	w := bufio.NewWriterSize(con.out, 64<<10)
	return errors.Join(c.write(con, s, w), w.Flush())
}

// write writes the entries of s to w, one JSON object a line.
func (c *exportCmd) write(con *console, s *sqlite.Store, w *bufio.Writer) error {
	ctx := context.Background()
	head, err := s.Head(ctx)
	if err != nil {
		return err
	}
	show, end := progress(con, "exporting")
	defer end()
	for e, err := range s.Entries(ctx, c.From) {
		if err != nil {
			return err
		}
		b, err := logbook.Encode(e)
		if err != nil {
			return err
		}
		w.Write(b)
		if err := w.WriteByte('\n'); err != nil {
			return fmt.Errorf("write entries: %w", err)
		}
		seq := e.Head().Seq
		show(seq, max(seq, head.Seq))
	}
	return nil
}
