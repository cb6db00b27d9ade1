package main

import (
	"context"
	"fmt"

	"undersheet/logbook/sqlite"
)

// backupCmd copies a logbook while it is in use.
type backupCmd struct {
	Logbook string `arg:"" help:"Path of the logbook."`
	Dest    string `arg:"" help:"Path of the copy; it must not exist yet."`
}

// Help implements kong.HelpProvider.
func (backupCmd) Help() string {
	return `Writes a whole copy of a logbook to a new file, while the daemon goes on, and verifies the copy before it gets its
name: a file with that name is a good backup. Put it on another disk or machine. A plain copy of the file of a running
daemon is not a backup: its newest entries are in files beside it.

    undersheet backup depot.db /media/stick/depot-2026-03-01.db`
}

// Run makes the copy.
func (c *backupCmd) Run(con *console) error {
	s, err := sqlite.Open(c.Logbook, sqlite.Options{ReadOnly: true})
	if err != nil {
		return err
	}
	defer s.Close()
	show, end := progress(con, "checking the copy")
	report, err := s.Backup(context.Background(), c.Dest, show)
	end()
	if err != nil {
		return err
	}
	fmt.Fprintf(con.out, "%s holds %s as it was now.\n", c.Dest, c.Logbook)
	tellReport(con.out, report)
	return nil
}
