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

	"undersheet/configs"
	"undersheet/logbook"
	"undersheet/logbook/sqlite"
	"undersheet/report"
)

// reportCmd writes the concentration report of one treatment.
type reportCmd struct {
	Logbook   string `short:"l" placeholder:"PATH" env:"UNDERSHEET_LOGBOOK" help:"Logbook to report from; it may be in use."`
	Entries   string `placeholder:"FILE" help:"Instead of a logbook: JSON Lines of entries."`
	Site      string `placeholder:"FILE" help:"Site file, for entries that hold no site-configured."`
	Out       string `default:"." placeholder:"DIR" help:"Folder for the files."`
	Treatment string `arg:"" help:"Name of the treatment, for example B-7."`
}

// Help teaches a newcomer.
func (*reportCmd) Help() string {
	return `Writes report-TREATMENT.html (one page for paper: what was treated, every line day by day, end level, concentration-time
product, alarms, airing, the gate and its reasons, exposure, what people did) and report-TREATMENT.csv (the same facts as a
table: section, time, place, item, value, unit, text). Everything comes from the log; the same log gives the same bytes.

  undersheet report -l depot.db --out reports B-7
  undersheet report --entries notes.jsonl --site depot.yaml B-7`
}

// Run implements the command.
func (c *reportCmd) Run(con *console) error {
	files, err := c.write(context.Background())
	for _, f := range files {
		fmt.Fprintln(con.out, f)
	}
	return err
}

func (c *reportCmd) write(ctx context.Context) ([]string, error) {
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
		return writeReport(ctx, store, c.Treatment, c.Out)
	}
	return c.fromFile()
}

// fromFile reports from hand-written or exported entries.
func (c *reportCmd) fromFile() ([]string, error) {
	var site *logbook.Site
	if c.Site != "" {
		var err error
		if site, _, err = configs.Load(c.Site); err != nil {
			return nil, err
		}
	}
	r, err := report.Make(entriesOf(c.Entries), site, c.Treatment, report.Source{})
	if err != nil {
		return nil, err
	}
	return saveReport(r, c.Treatment, c.Out)
}

// entriesOf yields the entries of a file.
func entriesOf(path string) iter.Seq2[logbook.Entry, error] {
	return func(yield func(logbook.Entry, error) bool) {
		f, err := os.Open(path)
		if err != nil {
			yield(nil, fmt.Errorf("open entries: %w", err))
			return
		}
		defer f.Close()
		r := logbook.NewReader(path, f)
		for {
			e, err := r.Next()
			if errors.Is(err, io.EOF) || !yield(e, err) || err != nil {
				return
			}
		}
	}
}

// writeReport writes the report of a treatment in a logbook and returns the files.
func writeReport(ctx context.Context, store *sqlite.Store, treatment, dir string) ([]string, error) {
	head, err := store.Head(ctx)
	if err != nil {
		return nil, err
	}
	r, err := report.Make(store.Entries(ctx, 1), nil, treatment, report.Source{LogID: head.LogID})
	if err != nil {
		return nil, err
	}
	if r.Head, err = store.HashAt(ctx, r.LastSeq); err != nil {
		return nil, err
	}
	return saveReport(r, treatment, dir)
}

// saveReport writes both files, each whole or not at all.
func saveReport(r *report.Report, treatment, dir string) ([]string, error) {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return nil, fmt.Errorf("make folder: %w", err)
	}
	base := filepath.Join(dir, fileName(treatment))
	var files []string
	for _, f := range []struct {
		path  string
		write func(io.Writer) error
	}{{base + ".html", r.WriteHTML}, {base + ".csv", r.WriteCSV}} {
		if err := writeWhole(f.path, f.write); err != nil {
			return files, err
		}
		files = append(files, f.path)
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
			err = errors.Join(err, f.Close(), os.Remove(f.Name()))
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
