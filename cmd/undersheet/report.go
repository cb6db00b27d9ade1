package main

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"iter"
	"os"
	"path/filepath"
	"strings"

	"undersheet/logbook"
	"undersheet/logbook/sqlite"
	"undersheet/report"
)

// reportCmd writes the concentration report of one treatment.
type reportCmd struct {
	recordFlags
	Out       string `default:"." placeholder:"DIR" help:"Folder for the files."`
	PDF       bool   `name:"pdf" help:"Also report-TREATMENT.pdf, for print and archive."`
	JSON      bool   `name:"json" help:"Also report-TREATMENT.json, for programs."`
	Treatment string `arg:"" help:"Name of the treatment, for example B-7."`
	speaking
}

// Help teaches a newcomer.
func (*reportCmd) Help() string {
	return `Writes report-TREATMENT.html (a page for paper: what was treated and with what, instruments and their checks, every line day by
day, end level, concentration-time product, half-life, criteria for success, forecasts beside what came, leaks, airing, the
gate and its reasons, the air against the limits in force, what people did and signed, residue, where the fields of public
schemes stand) and report-TREATMENT.csv (the same facts as a table: section, time, place, item, value, unit, text); with
--pdf and --json those forms too. Everything comes from the log; the same log and program give the same bytes. What is
said of a treatment after it is over, as a late inspection, is in it too.

Each file says what it was made of: "undersheet verify --report FILE LOGBOOK" proves it. A report that was made earlier comes
again with --until and the last entry that it names.

  undersheet report -l depot.db --pdf --lang fr --out reports B-7
  undersheet report --entries notes.jsonl --site depot.yaml B-7`
}

// Run implements the command.
func (c *reportCmd) Run(con *console) error {
	files, err := c.write(context.Background(), con)
	for _, f := range files {
		fmt.Fprintln(con.out, f)
	}
	return err
}

func (c *reportCmd) write(ctx context.Context, con *console) ([]string, error) {
	r, err := readRecord(con, c.recordFlags,
		func(log *sqlite.Store) (*report.Report, error) {
			return report.OfLog(ctx, log, c.Treatment, c.Until, version())
		},
		func(entries iter.Seq2[logbook.Entry, error], site *logbook.Site) (*report.Report, error) {
			return report.Make(entries, site, c.Treatment, report.Source{Program: version()})
		})
	if err != nil {
		return nil, err
	}
	return saveReport(r, c.Out, c.of(&r.Site), c.forms()...)
}

// forms are those that are asked for.
func (c *reportCmd) forms() []string {
	forms := []string{"html", "csv"}
	if c.PDF {
		forms = append(forms, "pdf")
	}
	if c.JSON {
		forms = append(forms, "json")
	}
	return forms
}

// saveReport writes a report in some forms, each whole or not at all.
func saveReport(r *report.Report, dir, lang string, forms ...string) ([]string, error) {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return nil, fmt.Errorf("make folder: %w", err)
	}
	base := filepath.Join(dir, fileName(r.Course.Name))
	var files []string
	for _, form := range forms {
		path := base + "." + form
		if err := writeWhole(path, func(w io.Writer) error { return r.Write(w, form, lang) }); err != nil {
			return files, err
		}
		files = append(files, path)
	}
	return files, nil
}

// fileName makes a file name of a treatment's name: letters, digits, dots, dashes
// and underscores stay; nothing can leave the folder. A name that had to be changed
// ends with a mark of its own, so that the report of "B/7" never replaces "B_7"'s.
func fileName(treatment string) string {
	name := strings.Map(func(r rune) rune {
		switch {
		case r >= 'a' && r <= 'z', r >= 'A' && r <= 'Z', r >= '0' && r <= '9', r == '-', r == '_', r == '.':
			return r
		}
		return '_'
	}, treatment)
	if name = strings.TrimLeft(name, "."); name != treatment {
		sum := sha256.Sum256([]byte(treatment))
		name += "-" + hex.EncodeToString(sum[:4])
	}
	return "report-" + name
}

// writeWhole writes a file beside its place, syncs it, and gives it its name.
func writeWhole(path string, write func(io.Writer) error) (err error) {
	f, err := os.CreateTemp(filepath.Dir(path), ".writing-*")
	if err != nil {
		return fmt.Errorf("write %s: %w", path, err)
	}
	defer func() {
		if err != nil {
			_ = f.Close()           // it is given up, or closed already
			_ = os.Remove(f.Name()) // it is gone once it has its name
		}
	}()
	if err = write(f); err != nil {
		return err
	}
	if err = errors.Join(f.Chmod(0o644), f.Sync()); err != nil {
		return fmt.Errorf("write %s: %w", path, err)
	}
	if err = f.Close(); err != nil {
		return fmt.Errorf("write %s: %w", path, err)
	}
	if err = os.Rename(f.Name(), path); err != nil {
		return fmt.Errorf("write %s: %w", path, err)
	}
	d, err := os.Open(filepath.Dir(path))
	if err != nil {
		return fmt.Errorf("sync folder: %w", err)
	}
	return errors.Join(d.Sync(), d.Close())
}
