package main

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"time"

	"undersheet/configs"
	"undersheet/logbook"
	"undersheet/logbook/words"
	"undersheet/report"
	"undersheet/rules"
	"undersheet/rules/reading"
)

// replayCmd runs the daemon's rules over recorded entries.
type replayCmd struct {
	Site  string `placeholder:"FILE" help:"Site file that stands before the first entry. Without it the entries must hold a site-configured."`
	JSON  bool   `name:"json" help:"One JSON object a line instead of text."`
	Plot  string `placeholder:"FILE" help:"Also draw a stack at the end of the entries: readings with fit and forecast, residuals, leak test. SVG."`
	Stack string `placeholder:"NAME" help:"Which stack to draw, where the entries treat more than one."`
	speaking
	Entries string `arg:"" name:"entries" help:"JSON Lines file of entries; - reads standard input."`
}

// Help teaches a newcomer.
func (*replayCmd) Help() string {
	return `Reads entries (readings and acts, one JSON object a line, as "undersheet export" writes them or as you write them by
hand) and runs the daemon's own rules over them, as fast as it can: phases, gates, forecasts, alarms, refusals. Text gives
the time by the depot's clock, --json in UTC. It touches no logbook and creates no file but the one of --plot. The same
input gives the same output to the byte.

An entry by hand:
  {"time":"2026-03-01T08:00:00Z","kind":"reading","channel":"b-north-top","value":412,"unit":"ppm"}

  undersheet replay --site depot.yaml entries.jsonl
  undersheet export depot.db | undersheet replay --json -
  undersheet replay --plot stack-b.svg --stack B --site depot.yaml entries.jsonl`
}

// Run implements the command.
func (c *replayCmd) Run(con *console) error {
	var site *logbook.Site
	if c.Site != "" {
		s, warnings, err := configs.Load(c.Site)
		if err != nil {
			return err
		}
		for _, w := range warnings {
			fmt.Fprintln(con.err, "warning:", w)
		}
		site = s
	}
	var p plot
	if c.Plot != "" {
		if err := writable(c.Plot); err != nil {
			return err
		}
		p.readings = map[string][]reading.Judged{}
	} else if c.Stack != "" {
		return errors.New("--stack says what to draw: give --plot FILE with it")
	}
	in, name := con.in, "standard input"
	if c.Entries != "-" {
		f, err := os.Open(c.Entries)
		if err != nil {
			return fmt.Errorf("open entries: %w", err)
		}
		defer f.Close()
		in, name = f, c.Entries
	}
	w := bufio.NewWriterSize(con.out, 64<<10)
	player := rules.NewPlayer(site)
	player.Keep = true // standard input cannot be read again
	if f, ok := in.(*os.File); ok && c.Entries != "-" {
		var err error
		if player.Keep, err = corrects(f); err != nil {
			return err
		}
	}
	configured, err := c.replay(player, site, logbook.NewReader(name, in), w, &p)
	if site == nil && !configured {
		fmt.Fprintln(con.err, "warning: without a site nothing can be judged: give --site FILE, or entries with a site-configured")
	}
	if err = errors.Join(err, w.Flush()); err != nil || c.Plot == "" {
		return err
	}
	return p.draw(c.Plot, c.Stack, c.of(player.State.View().Config), player.State)
}

// corrects reports whether a file may hold corrections, for which its entries are kept
// in memory, and goes back to where it was.
func corrects(f *os.File) (bool, error) {
	if info, err := f.Stat(); err != nil || !info.Mode().IsRegular() {
		return true, nil // it cannot be read twice
	}
	found := false
	s := bufio.NewScanner(f)
	s.Buffer(nil, 16<<20)
	for !found && s.Scan() {
		found = bytes.Contains(s.Bytes(), []byte(logbook.KindCorrected))
	}
	if _, err := f.Seek(0, io.SeekStart); err != nil {
		return true, fmt.Errorf("go back to the start of %s: %w", f.Name(), err)
	}
	return found || s.Err() != nil, nil
}

// replay plays every entry and writes what the rules make of it. It reports
// whether the entries configured a site.
func (c *replayCmd) replay(p *rules.Player, site *logbook.Site, r *logbook.Reader, w *bufio.Writer, drawn *plot) (configured bool, err error) {
	lang, zone := c.of(site), report.Zone(site)
	for {
		e, err := r.Next()
		if err == io.EOF {
			return configured, nil
		}
		if err != nil {
			return configured, err
		}
		if s, ok := e.(*logbook.SiteConfigured); ok {
			configured, lang, zone = true, c.of(&s.Site), report.Zone(&s.Site)
		}
		for _, rec := range p.Play(e) {
			if err := c.writeRecord(w, rec, lang, zone); err != nil {
				return configured, err
			}
		}
		drawn.keep(e, p.State)
	}
}

// writeRecord writes one record with its sentences. Those of records for programs are
// English unless another language was asked for: their codes are what counts.
func (c *replayCmd) writeRecord(w *bufio.Writer, rec logbook.Recorded, lang string, zone *time.Location) error {
	if c.JSON {
		lang = c.of(nil)
	}
	words.Fill(lang, rec)
	rec.Rec().Of = 0
	if !c.JSON {
		_, err := fmt.Fprintln(w, recordLine(lang, rec, zone))
		return err
	}
	b, err := logbook.Encode(rec)
	if err != nil {
		return err
	}
	_, err = w.Write(append(b, '\n'))
	return err
}
