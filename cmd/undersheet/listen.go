package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/signal"
	"strings"
	"syscall"
	"time"

	"golang.org/x/sync/errgroup"

	"undersheet/configs"
	"undersheet/logbook"
	"undersheet/sensor/port"
)

// listenCmd shows what instruments send, and proves sampling lines.
type listenCmd struct {
	Site     string        `placeholder:"FILE" type:"existingfile" help:"Site file that names the instruments."`
	Port     string        `placeholder:"PATH" help:"Without a site file: the serial device to listen to."`
	Baud     int           `default:"9600" help:"Of --port."`
	DataBits int           `default:"8" help:"Of --port: 7 or 8."`
	Parity   string        `default:"none" enum:"none,even,odd" help:"Of --port: ${enum}."`
	StopBits int           `default:"1" help:"Of --port: 1 or 2."`
	Every    time.Duration `default:"5s" placeholder:"TIME" help:"How often instruments are asked that answer only when asked."`
	For      time.Duration `placeholder:"TIME" help:"End after this time, for example 30s; else Ctrl-C ends it."`
	JSON     bool          `name:"json" help:"One JSON object a line, for programs."`
	Prove    bool          `help:"Walk through proving each sampling line, before dosing, and record it."`
	Name     string        `arg:"" optional:"" name:"instrument" help:"Only this instrument of the site file."`
}

// Help teaches a newcomer.
func (*listenCmd) Help() string {
	return `Prints live what each instrument sends, raw and as it is understood, or why it is not, so that a depot can be wired
line by line. At the end, and every second on a terminal, it shows each channel: last value, readings a minute, age,
last error. It writes to no logbook. A serial port is held by one program at a time: stop "undersheet serve" first.

  undersheet listen --site depot.yaml                       every instrument
  undersheet listen --site depot.yaml "rack 1"              one
  undersheet listen --port /dev/ttyUSB0 --baud 9600         anything that comes, without a site file

In front of what was received stands "<", of what was sent ">", of what is wrong "!"; readings have none. Text is
quoted, other bytes are hexadecimal.

  undersheet listen --prove --site depot.yaml               before dosing: zero, flow and a test at the end of each line

Proving needs two people, stores in which nothing is under gas, and a logbook ("undersheet serve" makes it); it goes
on beside a running "undersheet serve" and then takes its readings from the logbook. Each proof is kept there.`
}

// Run implements the command.
func (c *listenCmd) Run(con *console) error {
	if err := c.check(); err != nil {
		return err
	}
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	context.AfterFunc(ctx, stop) // from here on a second signal ends the process
	if c.For > 0 {
		var end context.CancelFunc
		ctx, end = context.WithTimeout(ctx, c.For)
		defer end()
	}
	if c.Prove {
		return c.prove(ctx, con)
	}
	return c.listen(ctx, con)
}

// check refuses flags that contradict each other.
func (c *listenCmd) check() error {
	switch {
	case (c.Site == "") == (c.Port == ""):
		return errors.New("name either a site file (--site FILE) or a serial device (--port PATH)")
	case c.Port != "" && (c.Name != "" || c.Prove):
		return errors.New("an instrument's name and --prove need a site file (--site FILE)")
	case c.Prove && c.JSON:
		return errors.New("--prove asks questions: it goes with a person, not with --json")
	case c.Every < time.Second || c.Every > 24*time.Hour:
		return fmt.Errorf("--every: from 1s to 24h (got %v)", c.Every)
	case c.For < 0:
		return fmt.Errorf("--for: a time above 0 (got %v)", c.For)
	}
	return nil
}

// listen shows what comes until ctx ends.
func (c *listenCmd) listen(ctx context.Context, con *console) error {
	b := newBoard(con.out, c.JSON, time.Now)
	ctx, stop := context.WithCancelCause(ctx)
	defer stop(nil)
	g := &guest{heard: b, pace: c.Every, busy: stop}
	ways, err := c.ways(b, g)
	if err != nil {
		return err
	}
	if err := runAll(ctx, append(ways, b)); err != nil {
		return err
	}
	b.end()
	if err := context.Cause(ctx); errors.Is(err, port.ErrBusy) {
		return heldElsewhere(err)
	}
	return nil
}

// ways makes the readers of what is listened to.
func (c *listenCmd) ways(b *board, g *guest) ([]runner, error) {
	if c.Port != "" {
		pc := port.Config{Device: c.Port, Baud: c.Baud, DataBits: c.DataBits, Parity: c.Parity, StopBits: c.StopBits}
		if err := pc.Validate(); err != nil {
			return nil, err
		}
		return []runner{&bareLine{name: c.Port, port: port.New(pc, g.port(c.Port)), heard: b}}, nil
	}
	site, _, err := configs.Load(c.Site)
	if err != nil {
		return nil, err
	}
	chosen, err := chooseInstruments(site, c.Name)
	if err != nil {
		return nil, err
	}
	b.know(site, chosen)
	return guestWays(site, chosen, b, g)
}

// guestWays makes the readers of instruments for a guest.
func guestWays(site *logbook.Site, chosen []logbook.Instrument, b *board, g *guest) ([]runner, error) {
	var ways []runner
	for _, in := range chosen {
		r, err := wayIn(site, in, b, wallClock{}, g)
		if err != nil {
			return nil, fmt.Errorf("instrument %q: %w", in.Name, err)
		}
		if r != nil {
			ways = append(ways, r)
		}
	}
	return ways, nil
}

// chooseInstruments returns the instrument of a site that is named, or all.
func chooseInstruments(site *logbook.Site, name string) ([]logbook.Instrument, error) {
	if len(site.Instruments) == 0 {
		return nil, errors.New("the site file has no instruments to listen to")
	}
	if name == "" {
		return site.Instruments, nil
	}
	var names []string
	for i, in := range site.Instruments {
		if in.Name == name {
			return site.Instruments[i : i+1], nil
		}
		names = append(names, fmt.Sprintf("%q", in.Name))
	}
	return nil, fmt.Errorf("the site file has no instrument %q; it has %s", name, strings.Join(names, ", "))
}

// runAll runs rs until ctx ends or one fails.
func runAll(ctx context.Context, rs []runner) error {
	g, ctx := errgroup.WithContext(ctx)
	for _, r := range rs {
		g.Go(func() error { return r.Run(ctx) })
	}
	return g.Wait()
}

// heldElsewhere words that another program holds a serial port.
func heldElsewhere(err error) error {
	return fmt.Errorf("%w\nOnly one program at a time reads a serial port. If \"undersheet serve\" watches this depot, its pages show the readings;\n"+
		"to listen here, stop it first, and start it again afterwards: nothing is watched meanwhile", err)
}
