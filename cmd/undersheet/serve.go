package main

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"os"
	"os/signal"
	"path/filepath"
	"runtime/debug"
	"syscall"

	"undersheet/configs"
	"undersheet/logbook"
	"undersheet/logbook/sqlite"
	"undersheet/web"
)

// serveCmd runs the daemon.
type serveCmd struct {
	Site   string `required:"" placeholder:"FILE" type:"existingfile" help:"Site file."`
	Listen string `default:"127.0.0.1:8080" help:"Address of the pages. Only this machine: nobody signs in yet."`
}

// Help teaches a newcomer.
func (*serveCmd) Help() string {
	return `Reads the site's instruments, keeps every reading and act in the logbook, watches the treatments, keeps each store's
gate, tells people and programs of alarms, and shows it all at http://127.0.0.1:8080. It runs until it gets SIGINT or
SIGTERM; a second signal stops it at once. What was acknowledged before a power cut is there after it.

  undersheet check depot.yaml          first: is the site file right?
  undersheet serve --site depot.yaml

Say what people do by the forms on the pages, or with "undersheet act"; read the stored record with "undersheet export" and "undersheet report".`
}

// errNoLogbook says that a site file names none.
var errNoLogbook = errors.New("logbook: is missing: add the line \"logbook: depot.db\"")

// Run implements the command.
func (c *serveCmd) Run(con *console) error {
	site, warnings, err := configs.Load(c.Site)
	if err != nil {
		return err
	}
	for _, w := range warnings {
		fmt.Fprintln(con.err, "warning:", w)
	}
	if site.Logbook == "" {
		return fmt.Errorf("%s: %w", c.Site, errNoLogbook)
	}
	settle(site, c.Site)
	logger := slog.New(slog.NewTextHandler(con.err, nil))
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	context.AfterFunc(ctx, stop) // from here on a second signal ends the process
	d, err := awaitDaemon(ctx, site, daemonOptions{Clock: wallClock{}, Running: running, Listen: c.Listen, Logger: logger})
	if err != nil {
		return err
	}
	fmt.Fprintf(con.err, "watching %s; pages at http://%s\n", site.Name, d.pages.Addr())
	return d.run(ctx)
}

// awaitDaemon is newDaemon, which waits a bounded while for a logbook that another command has.
// For another daemon it does not wait.
func awaitDaemon(ctx context.Context, site *logbook.Site, o daemonOptions) (*daemon, error) {
	var d *daemon
	c, err := whileHeld(ctx, func() (err error) {
		d, err = newDaemon(site, o)
		return err
	}, func(held *sqlite.LockedError) {
		o.Logger.Warn("another command has the logbook; nothing is watched until it ends", "logbook", held.Path, "process", held.PID, "waits at most", heldAtMost)
	})
	if c != nil {
		return nil, errors.Join(err, c.Close())
	}
	return d, err
}

// listenLoopback listens on an address of this machine only.
func listenLoopback(addr string) (net.Listener, error) {
	if err := web.CheckLoopback(addr); err != nil {
		return nil, err
	}
	l, err := net.Listen("tcp", addr)
	if errors.Is(err, syscall.EADDRINUSE) {
		return nil, fmt.Errorf("listen on %q: another program uses it; choose another with --listen, for example 127.0.0.1:8081", addr)
	}
	if err != nil {
		return nil, fmt.Errorf("listen: %w", err)
	}
	return l, nil
}

// What a version holds where it names no single state of the source.
const (
	unknownVersion = "unknown"  // nothing was noted when the program was built
	develVersion   = "(devel)"  // what the go command says of a tree without version control
	changedSource  = "+changed" // after the revision, of a tree that was changed since
)

// version names this build: the module's version, or the commit it was built of.
func version() string {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return unknownVersion
	}
	v, dirty := info.Main.Version, ""
	for _, s := range info.Settings {
		switch s.Key {
		case "vcs.revision":
			v = s.Value[:min(12, len(s.Value))]
		case "vcs.modified":
			if s.Value == "true" {
				dirty = changedSource
			}
		}
	}
	return v + dirty
}

// build names the program that runs, as no other one, by the SHA-256 of its file; a version may
// stand for many. It is empty where that cannot be read. The link names the file that was
// started, even if another one stands in its place by now.
func build() string {
	f, err := os.Open("/proc/self/exe")
	if err != nil {
		return ""
	}
	defer f.Close()
	sum := sha256.New()
	if _, err := io.Copy(sum, f); err != nil {
		return ""
	}
	return hex.EncodeToString(sum.Sum(nil))
}

// settle makes what a site file at path writes absolute: a relative path is meant
// from where the file is.
func settle(site *logbook.Site, path string) {
	if site.Logbook != "" {
		site.Logbook = beside(path, site.Logbook)
	}
	for i := range site.Forward {
		if f := &site.Forward[i]; f.File != "" {
			f.File = beside(path, f.File)
		}
	}
}

// beside returns name, from where the file at path is when it is relative.
func beside(path, name string) string {
	if filepath.IsAbs(name) {
		return name
	}
	return filepath.Join(filepath.Dir(path), name)
}
