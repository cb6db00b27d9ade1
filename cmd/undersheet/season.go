package main

import (
	"cmp"
	"context"
	"fmt"
	"io"
	"iter"
	"path/filepath"
	"slices"
	"strings"

	"undersheet/logbook"
	"undersheet/logbook/sqlite"
	"undersheet/report"
	"undersheet/report/season"
)

// seasonCmd sums up a period of a logbook.
type seasonCmd struct {
	recordFlags
	From string `placeholder:"DAY" help:"First day by the depot's clock, for example 2026-01-01. Without it, twelve months to the last day."`
	To   string `placeholder:"DAY" help:"Last day. Without it, the log's last day."`
	CSV  bool   `name:"csv" xor:"form" help:"A table, a fact a row."`
	PDF  bool   `name:"pdf" xor:"form" help:"A file of A4 pages."`
	JSON bool   `name:"json" xor:"form" help:"An object, for programs."`
	HTML bool   `name:"html" xor:"form" help:"One page that prints on A4. This is what is written without any of the four, but where FILE ends in .csv, .pdf or .json."`
	Out  string `short:"o" placeholder:"FILE" help:"File to write. Without it, standard output."`
	speaking
}

// Help teaches a newcomer.
func (*seasonCmd) Help() string {
	return `Sums up a season from the log alone: treatments with their verdicts and doses, the share that held, how fast each sheet
loses gas, places that leak again, the stock register, days lost, forecasts against what came, alarms a day. Shares of
few treatments stand with their interval. The same log gives the same bytes.

Each file says what it was made of: "undersheet verify --report FILE LOGBOOK" proves it. A summary that was made earlier comes
again with --until, the last entry that it names, and its days.

  undersheet season -l depot.db -o season.pdf
  undersheet season -l depot.db --from 2026-01-01 --to 2026-06-30 --csv > season.csv
  undersheet season --entries notes.jsonl --site depot.yaml --html -o season.html`
}

// Run implements the command.
func (c *seasonCmd) Run(con *console) error {
	form, err := c.form()
	if err != nil {
		return err
	}
	s, err := c.make(context.Background(), con)
	if err != nil {
		return err
	}
	write := func(w io.Writer) error { return s.Write(w, form, cmp.Or(c.Lang, s.Lang)) }
	if c.Out == "" {
		return write(con.out)
	}
	return writeWhole(c.Out, write)
}

// form is how the season is written: as asked for, else as the file's name ends. A name that
// ends as another form does is refused.
func (c *seasonCmd) form() (string, error) {
	asked := ""
	for form, is := range map[string]bool{"csv": c.CSV, "pdf": c.PDF, "json": c.JSON, "html": c.HTML} {
		if is {
			asked = form // the flags exclude each other
		}
	}
	named := strings.TrimPrefix(strings.ToLower(filepath.Ext(c.Out)), ".")
	if !slices.Contains(report.Forms(), named) {
		return cmp.Or(asked, "html"), nil
	}
	if asked != "" && asked != named {
		return "", fmt.Errorf("--%s and %q: the file's name says another form; leave the flag out, or give another name", asked, c.Out)
	}
	return named, nil
}

func (c *seasonCmd) make(ctx context.Context, con *console) (*season.Season, error) {
	period := season.Period{From: c.From, To: c.To}
	return readRecord(con, c.recordFlags,
		func(log *sqlite.Store) (*season.Season, error) {
			return season.OfLog(ctx, log, period, c.Until, version())
		},
		func(entries iter.Seq2[logbook.Entry, error], site *logbook.Site) (*season.Season, error) {
			return season.Make(entries, site, period, report.Source{Program: version()})
		})
}
