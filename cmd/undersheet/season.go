package main

import (
	"cmp"
	"context"
	"errors"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"undersheet/configs"
	"undersheet/logbook"
	"undersheet/logbook/sqlite"
	"undersheet/report"
	"undersheet/report/season"
)

// seasonCmd sums up a period of a logbook.
type seasonCmd struct {
	Logbook string `short:"l" placeholder:"PATH" env:"UNDERSHEET_LOGBOOK" help:"Logbook to sum up; it may be in use."`
	Entries string `placeholder:"FILE" help:"Instead of a logbook: JSON Lines of entries."`
	Site    string `placeholder:"FILE" help:"Site file, for entries that hold no site-configured."`
	From    string `placeholder:"DAY" help:"First day by the depot's clock, for example 2026-01-01. Without it, twelve months to the last day."`
	To      string `placeholder:"DAY" help:"Last day. Without it, the log's last day."`
	CSV     bool   `name:"csv" xor:"form" help:"A table, a fact a row."`
	PDF     bool   `name:"pdf" xor:"form" help:"A file of A4 pages."`
	JSON    bool   `name:"json" xor:"form" help:"An object, for programs."`
	HTML    bool   `name:"html" xor:"form" help:"One page that prints on A4. This is what is written without any of the four, but where FILE ends in .csv, .pdf or .json."`
	Until   uint64 `placeholder:"SEQ" help:"Only what the logbook held up to this entry, as a summary says that was made then."`
	Out     string `short:"o" placeholder:"FILE" help:"File to write. Without it, standard output."`
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
	s, err := c.make(context.Background(), con)
	if err != nil {
		return err
	}
	if c.Out == "" {
		return c.form(s)(con.out)
	}
	return writeWhole(c.Out, c.form(s))
}

// form is how the season is written.
func (c *seasonCmd) form(s *season.Season) func(io.Writer) error {
	form := strings.TrimPrefix(strings.ToLower(filepath.Ext(c.Out)), ".")
	switch {
	case c.CSV:
		form = "csv"
	case c.PDF:
		form = "pdf"
	case c.JSON:
		form = "json"
	case c.HTML || !slices.Contains(report.Forms(), form):
		form = "html"
	}
	return func(w io.Writer) error { return s.Write(w, form, cmp.Or(c.Lang, s.Lang)) }
}

func (c *seasonCmd) make(ctx context.Context, con *console) (*season.Season, error) {
	period := season.Period{From: c.From, To: c.To}
	if c.Entries != "" && c.Logbook == os.Getenv("UNDERSHEET_LOGBOOK") {
		c.Logbook = "" // the environment's logbook is only a default
	}
	switch {
	case c.Logbook != "" && c.Entries == "" && c.Site != "":
		return nil, errors.New("read site: a logbook holds its own site; --site goes with --entries")
	case (c.Logbook == "") == (c.Entries == ""):
		return nil, errors.New("name either --logbook or --entries")
	case c.Logbook != "":
		store, err := sqlite.Open(c.Logbook, sqlite.Options{ReadOnly: true})
		if err != nil {
			return nil, err
		}
		defer store.Close()
		return season.OfLog(ctx, store, period, c.Until, version())
	}
	var site *logbook.Site
	if c.Site != "" {
		var err error
		if site, _, err = configs.Load(c.Site); err != nil {
			return nil, err
		}
	}
	file := entriesFile{path: c.Entries}
	s, err := season.Make(report.Until(file.all(), c.Until), site, period, report.Source{Program: version()})
	if err == nil {
		file.warn(con.err)
	}
	return s, err
}
