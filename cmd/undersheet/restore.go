package main

import (
	"context"
	"fmt"
	"time"

	"undersheet/logbook/sqlite"
)

// restoreCmd makes a logbook of a backup.
type restoreCmd struct {
	Src  string `arg:"" help:"The backup."`
	Dest string `arg:"" help:"Path of the logbook to make; it must not exist yet."`
}

// Help implements kong.HelpProvider.
func (restoreCmd) Help() string {
	return `Makes a logbook of a backup, to go on with after a disk or a machine was lost. The backup is verified first and stays as
it is. The new logbook holds all of the backup's entries and goes on under a new log id, chained to the old one; its
first new entry says that it was restored.

What happened after the backup was taken is not in it, so every store's gate is shut, and every clearance has to be
gone through anew. Messages that were waiting may be sent a second time and then say so.

Stop the daemon and move the damaged logbook away first (keep it, with the files beside it):

    undersheet restore /media/stick/depot-2026-03-01.db depot.db`
}

// Run makes the logbook.
func (c *restoreCmd) Run(con *console) error {
	show, end := progress(con, "checking the backup")
	report, err := sqlite.Restore(context.Background(), c.Src, c.Dest, time.Now, show)
	end()
	if err != nil {
		return err
	}
	fmt.Fprintf(con.out, "%s goes on from %s. Every gate is shut, and every clearance has to be gone through anew.\n", c.Dest, c.Src)
	tellReport(con.out, report)
	return nil
}
