package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"undersheet/configs"
	"undersheet/logbook"
	"undersheet/report"
)

// checkCmd validates a site file and says what the program makes of it.
type checkCmd struct {
	File    string `arg:"" optional:"" help:"The site file to check."`
	Site    string `placeholder:"FILE" help:"The same, in the way of the other commands."`
	Example bool   `help:"Print a commented example site file and end."`
	Trial   bool   `help:"Also send every person a trial message, by mail and SMS as the site file says; stop \"serve\" first, for the modem."`
}

// Help implements kong.HelpProvider.
func (checkCmd) Help() string {
	return `A site file describes a depot: its stores, the stacks in them, the sampling lines and air points, the
instruments that read them, and who is told. "check" reads it as strictly as "serve" does, prints every fault at
once as FILE:LINE:COLUMN, and ends with status 1 when there is one. Without a fault it prints what it understood,
the occupational limits that the re-entry gates are held to, warnings, and all that "serve" would miss if it started
here: secrets, certificates, and a place to write the logbook. It opens no port and no logbook.

With --trial it also sends every person a message that says that nothing has happened, and prints what became of it:
an alarm that nobody gets is none.

To start a file of your own:

    undersheet check --example > site.yaml
    undersheet check site.yaml
    undersheet check --trial site.yaml`
}

// Run checks the file that was named.
func (c *checkCmd) Run(con *console) error {
	if c.Example {
		_, err := con.out.Write(configs.Example())
		return err
	}
	path := c.File
	if path == "" {
		path = c.Site
	}
	if path == "" || c.File != "" && c.Site != "" {
		return errors.New("name one site file (or --example)")
	}
	site, warnings, err := configs.Load(path)
	var faults configs.Faults
	if errors.As(err, &faults) {
		return tellFaults(con.err, path, faults, warnings)
	}
	if err != nil {
		return err
	}
	tellSite(con.out, path, site, warnings, time.Now())
	settle(site, path)
	tellNotReady(con.out, site)
	if c.Trial {
		fmt.Fprintln(con.out)
		return tellPeopleOnTrial(context.Background(), con.out, site)
	}
	return nil
}

// tellFaults prints what keeps a site file from being used.
func tellFaults(w io.Writer, path string, faults configs.Faults, warnings []configs.Warning) error {
	fmt.Fprintln(w, faults.Error())
	tellWarnings(w, warnings)
	fmt.Fprintf(w, "%s: %s: mend the file and check again\n", path, count(len(faults), "fault"))
	return errReported
}

func tellWarnings(w io.Writer, warnings []configs.Warning) {
	for _, r := range warnings {
		fmt.Fprintf(w, "warning: %s\n", r)
	}
}

// tellSite prints what a faultless site file says.
func tellSite(w io.Writer, path string, s *logbook.Site, warnings []configs.Warning, now time.Time) {
	fmt.Fprintf(w, "%s: no faults\n\n%s, times in %s\n", path, s.Name, s.Timezone)
	for i := range s.Stores {
		tellStore(w, &s.Stores[i])
	}
	tellInstruments(w, s)
	tellAround(w, s)
	tellLimits(w, s, now)
	tellPeople(w, s)
	if len(warnings) > 0 {
		fmt.Fprintf(w, "\n%s:\n", count(len(warnings), "warning"))
		tellWarnings(w, warnings)
	}
}

// tellNotReady prints for what "serve" would not start on this machine, as this user,
// though the file is right: secrets, certificates and a place for the logbook that are not there.
func tellNotReady(w io.Writer, s *logbook.Site) {
	d := &daemon{site: s, opts: daemonOptions{Clock: wallClock{}}} // without a logbook: nothing is started
	_, in := waysIn(s, nil, wallClock{})
	if err := errors.Join(logbookPlace(s.Logbook), in, d.messengers(), d.waysOut()); err != nil {
		fmt.Fprintf(w, "\nnot ready: on this machine, as this user, \"undersheet serve\" would not start:\n%v\n", err)
	}
}

// logbookPlace reports why no logbook could be written at path.
func logbookPlace(path string) error {
	if path == "" {
		return errNoLogbook
	}
	book, err := os.OpenFile(path, os.O_RDWR, 0)
	if err == nil {
		err = book.Close()
	} else if errors.Is(err, fs.ErrNotExist) {
		err = nil // "serve" makes it
	}
	if err != nil {
		return fmt.Errorf("logbook: it cannot be written by this user: %w", err)
	}
	probe, err := os.CreateTemp(filepath.Dir(path), ".undersheet-check-*") // as "serve" keeps its lock there
	if errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("logbook: there is no folder %q: make it, and let the user that runs \"serve\" write there", filepath.Dir(path))
	}
	if err != nil {
		return fmt.Errorf("logbook: this user cannot write into its folder: %w", err)
	}
	return errors.Join(probe.Close(), os.Remove(probe.Name()))
}

// tellStore prints one store, the air points that decide about its gate, and its
// stacks.
func tellStore(w io.Writer, s *logbook.Store) {
	var gate, other []string
	for _, p := range s.Air {
		if p.Gate() {
			gate = append(gate, p.Name)
		} else {
			other = append(other, p.Name+" ("+p.Where+")")
		}
	}
	fmt.Fprintf(w, "  %s: gate on %s", s.Name, listed(gate))
	if len(other) > 0 {
		fmt.Fprintf(w, "; also watched %s", listed(other))
	}
	fmt.Fprintln(w)
	if len(s.Doors)+len(s.Water) > 0 {
		fmt.Fprintf(w, "    %s, %s\n", count(len(s.Doors), "door contact"), count(len(s.Water), "water sensor"))
	}
	for _, k := range s.Stacks {
		fmt.Fprintf(w, "    stack %s: %s\n", k.Name, count(len(k.Lines), "line"))
	}
}

// tellInstruments prints how the site is read.
func tellInstruments(w io.Writer, s *logbook.Site) {
	fmt.Fprintf(w, "\n%s, %s\n", count(len(s.Channels), "channel"), count(len(s.Instruments), "instrument"))
	for _, in := range s.Instruments {
		if in.Modbus != nil {
			fmt.Fprintf(w, "  %s: Modbus RTU on %s, %d baud, %s\n", in.Name, in.Modbus.Port, in.Modbus.Baud, count(len(in.Modbus.Units), "unit"))
		}
		if f := in.Frames; f != nil {
			fmt.Fprintf(w, "  %s: lines of text on %s, %d baud\n", in.Name, f.Port, f.Baud)
		}
		if in.MQTT != nil {
			fmt.Fprintf(w, "  %s: MQTT from %s as %s, %s\n", in.Name, in.MQTT.Broker, in.MQTT.ClientID, count(len(in.MQTT.Sources), "topic"))
		}
	}
}

// tellLimits prints the figures that gates are held to, past, present and to come.
func tellLimits(w io.Writer, s *logbook.Site, now time.Time) {
	country := s.Limits
	if country == "" {
		country = "no country set"
	}
	fmt.Fprintf(w, "\nre-entry gates are held to (%s)\n", country)
	today := now.In(report.Zone(s)).Format(time.DateOnly)
	regimes := configs.Regimes(s)
	for i, r := range regimes {
		from, mark := "", ""
		if r.From != "" {
			from = " from " + r.From
		}
		switch {
		case r.From > today:
			mark = ", to come"
		case i+1 < len(regimes) && regimes[i+1].From <= today:
			mark = ", over"
		}
		fmt.Fprintf(w, "  %g ppm%s%s: %s\n", r.PPM, from, mark, r.Of)
	}
	if note := configs.LimitNote(s.Limits); note != "" {
		fmt.Fprintf(w, "  %s\n", note)
	}
}

// count writes a number and its noun.
func count(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}

// listed joins names, or says that there are none.
func listed(names []string) string {
	if len(names) == 0 {
		return "none"
	}
	return strings.Join(names, ", ")
}
