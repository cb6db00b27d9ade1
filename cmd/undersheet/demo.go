package main

import (
	"bytes"
	"context"
	_ "embed"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"os/signal"
	"path/filepath"
	"strings"
	"syscall"
	"text/template"
	"time"

	"golang.org/x/sync/errgroup"

	"undersheet/alert/sms/modem"
	"undersheet/configs"
	"undersheet/logbook"
	"undersheet/logbook/sqlite"
	"undersheet/logbook/sqlite/door"
	"undersheet/report"
	"undersheet/sensor/sim"
)

// demoCmd plays eleven days of an invented depot through the daemon.
type demoCmd struct {
	Out    string        `default:"undersheet-demo" placeholder:"DIR" help:"Where the logbook, the reports and the messages go."`
	Listen string        `default:"127.0.0.1:8080" help:"Address of the pages."`
	Pace   time.Duration `default:"80ms" help:"Least real time for ten minutes of depot time; 0 = as fast as it goes."`
	Once   bool          `help:"End after the last report instead of keeping the pages up."`
}

// Help teaches a newcomer.
func (*demoCmd) Help() string {
	return `Eleven days of an invented depot in two to three minutes: one stack whose line comes off, one whose sheet tears on day 3,
one with psocids on the eight-day protocol; a door opened at night, gas that comes back after a clearance, an airing that
the night interrupts. The gas is simulated; all else is what "serve" runs: serial lines (pseudo-terminals with Modbus RTU
units and an instrument that prints text), an MQTT broker, a mail server and a GSM modem in this process, the logbook,
the rules, the pages, the reports.
Open http://127.0.0.1:8080 while it runs. Nothing of it is advice for a real treatment.`
}

//go:embed demo-site.yaml
var demoSite string

// onClock is how many wait for depot time: the serial line's master, the reader
// of text and the one who writes that time has passed.
const onClock = 3

// demoStep is how far depot time moves at once: one poll.
const demoStep = 10 * time.Minute

// demo is the running demonstration.
type demo struct {
	con     *console
	clock   *sim.Clock
	depot   *sim.Depot
	line    *sim.Line
	paper   *sim.Printer
	broker  *sim.Broker
	modem   *modem.Modem
	post    *postbox
	letters *os.File // every message, as people read it
	d       *daemon
	socket  string
	zone    *time.Location // of the depot, in which the console tells the story
}

// Run implements the command.
func (c *demoCmd) Run(con *console) error {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	dm, err := newDemo(con, c)
	if err != nil {
		return err
	}
	defer dm.letters.Close()
	g, ctx := errgroup.WithContext(ctx)
	running, end := context.WithCancel(ctx)
	g.Go(func() error { return dm.line.Run(running) })
	g.Go(func() error { return dm.broker.Run(running) })
	g.Go(func() error { return dm.modem.Run(running) })
	g.Go(func() error { return dm.post.run(running) })
	g.Go(func() error { return dm.d.run(running) })
	g.Go(func() error { return dm.tell(running) })
	g.Go(func() error {
		defer end()
		return dm.play(running, c)
	})
	err = g.Wait()
	if errors.Is(err, context.Canceled) {
		return nil
	}
	return err
}

// newDemo opens the wires and the daemon behind them.
func newDemo(con *console, c *demoCmd) (*demo, error) {
	dm := &demo{con: con, clock: sim.NewClock(storyStart), depot: newStoryDepot()}
	dm.depot.Advance(storyStart.Add(time.Second))
	dm.line = &sim.Line{Depot: dm.depot, Units: rackUnits}
	device, err := dm.line.Open()
	if err != nil {
		return nil, err
	}
	if dm.broker, err = sim.NewBroker(); err != nil {
		return nil, err
	}
	book, err := freshLogbook(c.Out)
	if err != nil {
		return nil, err
	}
	if dm.letters, err = os.Create(filepath.Join(c.Out, "messages.txt")); err != nil {
		return nil, fmt.Errorf("open the file of messages: %w", err)
	}
	if dm.post, err = newPostbox(con.out, dm.letters); err != nil {
		return nil, err
	}
	if dm.modem, err = modem.New(modem.Options{Received: dm.post.text}); err != nil {
		return nil, err
	}
	dm.paper = &sim.Printer{Depot: dm.depot, Values: onPaper}
	printer, err := dm.paper.Open()
	if err != nil {
		return nil, err
	}
	dm.socket = sqlite.SocketPath(book)
	site, err := demoSiteOf(map[string]any{"Logbook": book, "Serial": device, "Printer": printer, "Broker": dm.broker.URL(), "MailPort": dm.post.port(), "Modem": dm.modem.Device()})
	if err != nil {
		return nil, err
	}
	if dm.zone, err = time.LoadLocation(site.Timezone); err != nil {
		return nil, err
	}
	logger := slog.New(slog.NewTextHandler(con.err, &slog.HandlerOptions{Level: slog.LevelError}))
	dm.d, err = newDaemon(site, daemonOptions{Clock: dm.clock, Listen: c.Listen, Stale: 2 * demoStep, Logger: logger})
	return dm, err
}

func demoSiteOf(values map[string]any) (*logbook.Site, error) {
	t, err := template.New("demo-site.yaml").Parse(demoSite)
	if err != nil {
		return nil, fmt.Errorf("read demo site: %w", err)
	}
	var b bytes.Buffer
	if err := t.Execute(&b, values); err != nil {
		return nil, fmt.Errorf("fill demo site: %w", err)
	}
	site, _, err := configs.Parse("demo-site.yaml", b.Bytes())
	return site, err
}

// freshLogbook returns the path of the demonstration's logbook, after removing
// the one of an earlier demonstration.
func freshLogbook(dir string) (string, error) {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return "", fmt.Errorf("make folder: %w", err)
	}
	abs, err := filepath.Abs(filepath.Join(dir, "demo.db"))
	if err != nil {
		return "", fmt.Errorf("find folder: %w", err)
	}
	for _, suffix := range []string{"", "-wal", "-shm"} {
		if err := os.Remove(abs + suffix); err != nil && !errors.Is(err, os.ErrNotExist) {
			return "", fmt.Errorf("remove the logbook of an earlier demonstration: %w", err)
		}
	}
	return abs, nil
}

// play moves depot time through the story.
func (dm *demo) play(ctx context.Context, c *demoCmd) error {
	select {
	case <-dm.d.caughtUp:
	case <-ctx.Done():
		return ctx.Err()
	}
	fmt.Fprintf(dm.con.out, "Hazel Ford Depot, an invented place. Eleven days follow in two to three minutes.\nThe pages: http://%s\n\n", dm.d.pages.Addr())
	chapters := story()
	for at := storyStart; at.Sub(storyStart) <= storyEnd; at = at.Add(demoStep) {
		for len(chapters) > 0 && !storyStart.Add(chapters[0].after).After(at) {
			if err := dm.chapter(ctx, chapters[0]); err != nil {
				return err
			}
			chapters = chapters[1:]
		}
		pace := time.After(c.Pace)
		dm.depot.Advance(at)
		dm.clock.Move(at)
		if err := dm.settle(ctx, at); err != nil {
			return err
		}
		select {
		case <-pace:
		case <-ctx.Done():
			return ctx.Err()
		}
	}
	if err := dm.finish(ctx, c.Out); err != nil || c.Once {
		return err
	}
	fmt.Fprintf(dm.con.out, "\nThe pages stay up at http://%s until Ctrl-C.\n", dm.d.pages.Addr())
	<-ctx.Done()
	return nil
}

// chapter does what the story says at this moment.
func (dm *demo) chapter(ctx context.Context, c chapter) error {
	if c.say != "" {
		fmt.Fprintf(dm.con.out, "\n%s  * %s\n", dm.clock.Now().In(dm.zone).Format("Mon 2 Jan 15:04"), c.say)
	}
	if c.gas != nil {
		c.gas(dm.depot)
	}
	for _, act := range c.acts {
		e, err := entryOf(act, dm.clock.Now())
		if err != nil {
			return fmt.Errorf("act %q: %w", act, err)
		}
		if err := dm.send(ctx, e); err != nil {
			return fmt.Errorf("act %q: %w", act, err)
		}
	}
	return nil
}

// send hands an act to the daemon, by the socket that "undersheet act" uses.
func (dm *demo) send(ctx context.Context, e logbook.Entry) error {
	client, err := door.Dial(ctx, dm.socket)
	if err != nil {
		return err
	}
	defer client.Close()
	_, err = client.Send(ctx, []logbook.Entry{e})
	return err
}

func splitAct(act string) []string { return strings.Split(act, "|") }

// settle waits until every channel was read at depot time at and folded. The
// wait is on the wires' own time, so it is bounded by it.
func (dm *demo) settle(ctx context.Context, at time.Time) error {
	const again, patience = time.Second, 2 * time.Minute // a disk may take long where others work, too
	deadline := time.After(patience)
	for {
		if err := dm.broker.Publish(dm.depot, onMQTT, at); err != nil {
			return err
		}
		if err := dm.paper.Print(); err != nil {
			return err
		}
		retry := time.After(again)
		for waiting := true; waiting; {
			changed := dm.d.loop.Changed()
			missing := dm.unread(at)
			if missing == "" {
				return dm.clock.Waiters(ctx, onClock)
			}
			select {
			case <-changed:
			case <-retry: // the client was not there yet: what is sent twice is kept once
				waiting = false
			case <-deadline:
				return fmt.Errorf("the demonstration stands still: nothing of %s for %v at %s", missing, patience, at)
			case <-ctx.Done():
				return ctx.Err()
			}
		}
	}
}

// unread names a channel that was not folded at depot time at; "" when all were.
func (dm *demo) unread(at time.Time) string {
	for _, ch := range dm.d.loop.View().Channels {
		if ch.Last.At < logbook.At(at) {
			return ch.Name
		}
	}
	return ""
}

// finish writes the reports and says where they are.
func (dm *demo) finish(ctx context.Context, dir string) error {
	if err := dm.post.empty(ctx, dm.d.sender); err != nil {
		return err
	}
	fmt.Fprintf(dm.con.out, "\nEleven days are over. The reports:\n")
	for _, t := range storyTreatments {
		r, err := report.OfLog(ctx, dm.d.store, t, 0, version())
		if err != nil {
			return err
		}
		files, err := saveReport(r, dir, "en", report.Forms()...)
		if err != nil {
			return err
		}
		for _, f := range files {
			fmt.Fprintf(dm.con.out, "  %s\n", f)
		}
	}
	fmt.Fprintf(dm.con.out, "Every mail and SMS, as people read it: %s\n", dm.letters.Name())
	return nil
}
