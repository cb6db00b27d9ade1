package main

import (
	"context"
	"fmt"
	"io"

	"undersheet/logbook/sqlite"
)

// verifyCmd checks that a logbook is whole.
type verifyCmd struct {
	Head    string `placeholder:"HASH" help:"Hash from a report or a mail: proves that the logbook still holds all that it held then."`
	Report  string `placeholder:"FILE" help:"Report or season's summary that was written of the logbook, in any form: proves that it is unchanged."`
	Logbook string `arg:"" help:"Path of the logbook."`
}

// Help implements kong.HelpProvider.
func (verifyCmd) Help() string {
	return `Reads a whole logbook and checks that nothing in it was changed, torn off or lost: every block of entries against its
checksum, every block against the one before it, and the numbers of the entries for gaps. It runs beside a daemon and
changes nothing. It prints what it found, or every fault with its place and what to do, with status 1.

A logbook alone cannot show that its newest entries were cut off cleanly. A hash that was printed on a report or a
mail can: give it with --head.

With --report it reads out of a report of a treatment or a summary of a season (HTML, PDF, CSV or JSON) what that was made of, proves that this logbook holds those
entries with that hash, makes the report again and compares byte for byte. It says what is otherwise: another logbook,
one that was cut or changed, or the part of the report that was changed; and whether the logbook has told more of that
treatment or season since. It proves that the report says what the logbook holds, not that instruments read true. Only the version that wrote a report can make it
again to the byte; another one says so, and proves the logbook alone.

    undersheet verify depot.db
    undersheet verify --head 6f3a...c09e depot.db
    undersheet verify --report report-B-7.pdf depot.db`
}

// Run checks the logbook.
func (c *verifyCmd) Run(con *console) error {
	s, err := sqlite.Open(c.Logbook, sqlite.Options{ReadOnly: true})
	if err != nil {
		return err
	}
	defer s.Close()
	show, end := progress(con, "verifying")
	report, err := s.Verify(context.Background(), c.Head, show)
	end()
	if err != nil {
		return err
	}
	fmt.Fprintf(con.out, "%s is whole.\n", c.Logbook)
	tellReport(con.out, report)
	if c.Head != "" {
		fmt.Fprintln(con.out, "It holds the block with the hash that was given, and all before it.")
	}
	if c.Report != "" {
		return verifyReport(context.Background(), s, report, c.Report, con.out)
	}
	return nil
}

// tellReport prints what a logbook holds.
func tellReport(w io.Writer, r *sqlite.Report) {
	fmt.Fprintf(w, "entries   %d, of them %d readings, in %d blocks\n", r.Entries, r.Readings, r.Blocks)
	for _, l := range r.Logs {
		fmt.Fprintf(w, "log id    %s, seq %d to %d\n", l.LogID, l.First, l.Last)
	}
	if r.Entries > 0 {
		fmt.Fprintf(w, "newest    received %v\nhead      %s\n", r.Head.Received, r.Head.Hash)
	}
}
