package main

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"os"
	"time"

	"golang.org/x/sync/errgroup"

	"undersheet/alert"
	"undersheet/alert/beacon"
	"undersheet/alert/sms"
	"undersheet/forward"
	"undersheet/ingest"
	"undersheet/logbook"
	"undersheet/logbook/sqlite"
	"undersheet/logbook/sqlite/door"
	"undersheet/rules/gate"
	"undersheet/watch"
)

// depotClock is the time of the depot: schedules, stamps and deadlines. Timeouts
// on wires never use it.
type depotClock interface {
	Now() time.Time
	After(d time.Duration) <-chan time.Time
}

// wallClock is the machine's clock.
type wallClock struct{}

func (wallClock) Now() time.Time                         { return time.Now() }
func (wallClock) After(d time.Duration) <-chan time.Time { return time.After(d) }

// running is how long this machine has run, the time that it slept included, by proc_uptime(5); 0
// where that is not known.
func running() time.Duration {
	text, err := os.ReadFile("/proc/uptime")
	var seconds float64
	if err == nil {
		_, err = fmt.Sscan(string(text), &seconds)
	}
	if err != nil {
		return 0
	}
	return time.Duration(seconds * float64(time.Second))
}

// daemonOptions say how a daemon runs.
type daemonOptions struct {
	Clock   depotClock
	Running func() time.Duration // see ingest.ClockOptions
	Listen  string               // address of the pages; only loopback
	Stale   time.Duration        // see watch.Options; 0 = its default
	Logger  *slog.Logger
}

// daemon is everything that serve runs.
type daemon struct {
	site     *logbook.Site
	opts     daemonOptions
	store    *sqlite.Store
	loop     *watch.Loop
	ingest   *ingest.Ingest
	sender   *alert.Sender
	ticker   *ingest.Clockwork
	ways     []runner       // in
	outs     []runner       // out
	modem    *sms.Modem     // nil: none
	beacon   *beacon.Beacon // nil: none
	forwards []*forward.Forwarder
	door     net.Listener
	pages    net.Listener
	handler  http.Handler
	caughtUp chan struct{} // closed when the site is configured and acts may come
}

// newDaemon opens the logbook and the ways in and out; it starts nothing.
func newDaemon(site *logbook.Site, o daemonOptions) (d *daemon, err error) {
	if o.Logger == nil {
		o.Logger = slog.Default()
	}
	d = &daemon{site: site, opts: o, caughtUp: make(chan struct{})}
	defer func() {
		if err != nil {
			err = errors.Join(err, d.close())
		}
	}()
	if d.store, err = sqlite.Open(site.Logbook, sqlite.Options{Now: o.Clock.Now}); err != nil {
		return d, err
	}
	if d.door, err = door.Listen(sqlite.SocketPath(d.store.Path())); err != nil {
		return d, err
	}
	if d.pages, err = listenLoopback(o.Listen); err != nil {
		return d, err
	}
	d.ingest = ingest.New(keptAloud(d.append, o.Logger), ingest.Options{Now: o.Clock.Now, Unit: d.unit})
	d.ticker = ingest.NewClockwork(d.ingest, d.head, ingest.ClockOptions{Clock: o.Clock, Running: o.Running})
	d.ways, err = waysIn(site, &aloud{Sink: d.ingest, logger: o.Logger}, o.Clock)
	err = errors.Join(err, d.messengers())
	d.loop = watch.New(d.store, watch.Options{Program: version(), Build: build(), ConfigHash: siteHash(site), Clock: o.Clock.Now, Stale: o.Stale,
		NewPlanner: func() watch.Planner { return alert.NewPlanner(alert.PlannerOptions{}) }, Planned: d.sender.Wake, Logger: o.Logger})
	if err = errors.Join(err, d.waysOut()); err != nil {
		return d, err
	}
	d.handler = newPages(d)
	return d, nil
}

// append commits es, and returns what was there under an id of theirs.
func (d *daemon) append(ctx context.Context, es []logbook.Entry) ([]logbook.Entry, error) {
	stored, err := d.store.Append(ctx, es)
	if err != nil {
		return nil, err
	}
	return d.store.Known(ctx, stored)
}

func (d *daemon) unit(channel string) (string, bool) {
	ch, ok := d.site.Channels[channel]
	return ch.Unit, ok
}

func (d *daemon) head(ctx context.Context) (uint64, time.Time, error) {
	h, err := d.store.Head(ctx)
	return h.Seq, h.Received.Std(), err
}

// newest is the received time of the newest entry; the zero time where it cannot be read.
func (d *daemon) newest() time.Time {
	_, received, err := d.head(context.Background())
	if err != nil {
		return time.Time{}
	}
	return received
}

// run runs everything until ctx ends. The ways in stop first, so that what they
// acknowledged is folded; then the rest.
func (d *daemon) run(ctx context.Context) (err error) {
	defer func() { err = errors.Join(err, d.close()) }()
	inner, stop := context.WithCancel(context.WithoutCancel(ctx))
	defer stop()
	core, inner := errgroup.WithContext(inner)
	core.Go(func() error { return d.follow(inner) })
	core.Go(func() error { return d.sender.Run(inner) })
	core.Go(func() error { return d.servePages(inner) })
	for _, out := range d.outs {
		core.Go(func() error { return out.Run(inner) })
	}
	core.Go(func() error { return newNotifier(d).Run(inner, ctx.Done()) })
	ways, outer := errgroup.WithContext(ctx)
	ways.Go(func() error {
		select { // a core part that fails takes the ways in down with it
		case <-inner.Done():
			return context.Cause(inner)
		case <-outer.Done():
			return nil
		}
	})
	ways.Go(func() error { return d.runWays(outer, ways) })
	errWays := ways.Wait()
	stop()
	errCore := core.Wait()
	if errors.Is(errWays, context.Canceled) {
		errWays = nil
	}
	return errors.Join(errCore, errWays)
}

// follow runs the loop. A fold that breaks does not end the daemon: people are still to
// be told, readings are still recorded, and the pages show every gate shut, until
// whoever looks after the service (or its watchdog) starts the daemon anew.
func (d *daemon) follow(ctx context.Context) error {
	err := d.loop.Run(ctx)
	if errors.Is(err, watch.ErrBroken) {
		d.loop.StillBroken(ctx)
	}
	return err
}

// runWays configures the site once the fold has caught up, then lets people and
// instruments in.
func (d *daemon) runWays(ctx context.Context, g *errgroup.Group) error {
	if err := d.configure(ctx); err != nil {
		if ctx.Err() != nil {
			return nil
		}
		return err
	}
	close(d.caughtUp)
	g.Go(func() error { return d.ticker.Run(ctx) })
	g.Go(func() error { return door.Serve(ctx, d.door, d.handle) })
	for _, w := range d.ways {
		g.Go(func() error { return w.Run(ctx) })
	}
	return nil
}

// configure appends the site to the logbook when it changed, unless the fold broke: then
// nobody knows what the logbook holds, and the next start that can fold it does so.
func (d *daemon) configure(ctx context.Context) error {
	for {
		changed := d.loop.Changed()
		if st := d.loop.Status(); st.Shut != gate.CatchingUp {
			break
		}
		select {
		case <-changed:
		case <-ctx.Done():
			return ctx.Err()
		}
	}
	v := d.loop.View()
	if d.loop.Status().Shut == gate.FoldFailed || v.Config != nil && sameSite(v.Config, d.site) {
		return nil
	}
	e := &logbook.SiteConfigured{Site: *d.site}
	e.Kind, e.Time = logbook.KindSiteConfigured, logbook.At(d.opts.Clock.Now())
	_, err := d.store.Append(ctx, []logbook.Entry{e})
	return err
}

// handle commits acts and readings that come by the door and has acts judged.
func (d *daemon) handle(ctx context.Context, es []logbook.Entry) ([]door.Answer, error) {
	answers := make([]door.Answer, len(es))
	stored, err := d.store.Append(ctx, es)
	if err != nil {
		return nil, err
	}
	for i, s := range stored {
		if _, act := es[i].(logbook.Acting); act {
			answers[i] = verdictOn(ctx, d.loop, s)
		} else {
			answers[i] = door.Answer{Seq: s.Seq, Duplicate: s.Duplicate, Differs: s.Differs}
		}
	}
	return answers, nil
}

// close gives back what newDaemon opened.
func (d *daemon) close() error {
	var errs []error
	for _, l := range []net.Listener{d.door, d.pages} {
		if l != nil {
			if err := l.Close(); err != nil && !errors.Is(err, net.ErrClosed) {
				errs = append(errs, err)
			}
		}
	}
	if d.store != nil {
		errs = append(errs, d.store.Close())
	}
	return errors.Join(errs...)
}

func sameSite(a, b *logbook.Site) bool {
	x, errX := json.Marshal(a)
	y, errY := json.Marshal(b)
	return errX == nil && errY == nil && bytes.Equal(x, y)
}

// siteHash names a configuration.
func siteHash(site *logbook.Site) string {
	b, err := json.Marshal(site)
	if err != nil {
		return "" // a hash that matches no snapshot
	}
	sum := sha256.Sum256(b)
	return hex.EncodeToString(sum[:])
}
