// Command undersheet watches phosphine treatments of bag-stacks: it reads the
// instruments, forecasts the end level, finds leaks, keeps the re-entry gate
// shut until the air is clear, and writes the concentration report.
package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	_ "time/tzdata" // depots run on boards without a zone database

	"github.com/alecthomas/kong"

	"undersheet/logbook/words"
)

// console is where a command reads from and writes to.
type console struct {
	in       io.Reader
	out, err io.Writer
}

// commands are the words after "undersheet".
type commands struct {
	Check   checkCmd   `cmd:"" help:"Check a site file, or print an example of one."`
	Demo    demoCmd    `cmd:"" help:"Eleven days of an invented depot in two to three minutes."`
	Serve   serveCmd   `cmd:"" help:"Watch a depot: read, judge, warn, show."`
	Plan    planCmd    `cmd:"" help:"Work out a treatment before it begins: dose, sheets, lines, times, checks to sign."`
	Listen  listenCmd  `cmd:"" help:"Show what instruments send, and prove sampling lines before dosing."`
	Act     actCmd     `cmd:"" help:"Say what people did, for example that airing started."`
	Due     dueCmd     `cmd:"" help:"Print what is owed after treatments and around them."`
	Report  reportCmd  `cmd:"" help:"Write the concentration report of a treatment."`
	Season  seasonCmd  `cmd:"" help:"Sum up a season: treatments, leaks, stock, days lost, forecasts, alarms."`
	Fit     fitCmd     `cmd:"" help:"Fit readings of one stack and forecast its end level."`
	Replay  replayCmd  `cmd:"" help:"Run the rules over recorded entries."`
	Export  exportCmd  `cmd:"" help:"Write a logbook's entries as JSON Lines."`
	Import  importCmd  `cmd:"" help:"Add entries of a file to a logbook."`
	Verify  verifyCmd  `cmd:"" help:"Prove that a logbook is whole and unchanged."`
	Backup  backupCmd  `cmd:"" help:"Copy a logbook while it is in use."`
	Restore restoreCmd `cmd:"" help:"Go on from a backup, under a new log id."`

	Version kong.VersionFlag `help:"Print the version, which every report names as its writer, and end."`
}

const about = `Watches phosphine treatments of bag-stacks under gas-proof sheets.

It can hurt people: phosphine kills. This program reads instruments and does sums; it never replaces the
licensed fumigator, the local law, the label, or the hand reading beside the stack.`

func main() {
	os.Exit(run(os.Args[1:], &console{in: os.Stdin, out: os.Stdout, err: os.Stderr}))
}

// errReported ends a command with status 1 when it has already said why.
var errReported = errors.New("reported")

// run parses args, runs the command and returns the exit status: 0 done, 1
// failed, 2 wrong arguments.
func run(args []string, con *console) int {
	var c commands
	exited := -1
	p, err := kong.New(&c, kong.Name("undersheet"), kong.Description(about), kong.Writers(con.out, con.err),
		kong.Exit(func(code int) { exited = code }), kong.UsageOnError(),
		kong.Vars{"version": version(), "guides": guideCountries(), "languages": strings.Join(words.Languages(), " or ")}, kong.ConfigureHelp(kong.HelpOptions{Compact: true, WrapUpperBound: 110}))
	if err != nil {
		fmt.Fprintln(con.err, "undersheet:", err)
		return 2
	}
	if len(args) == 0 {
		args = []string{"--help"}
	}
	if args[0] == "act" {
		args = flagsFirst(args)
	}
	ctx, err := p.Parse(args)
	if exited >= 0 {
		return exited
	}
	if err != nil {
		fmt.Fprintf(con.err, "undersheet: %v\n(undersheet --help lists the commands)\n", err)
		return 2
	}
	if err := ctx.Run(con); err != nil {
		if !errors.Is(err, errReported) {
			fmt.Fprintf(con.err, "undersheet %s: %v\n", strings.Fields(ctx.Command())[0], err)
		}
		return 1
	}
	return 0
}
