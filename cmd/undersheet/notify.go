package main

import (
	"context"
	"fmt"
	"log/slog"
	"net"
	"os"
	"strconv"
	"time"

	"undersheet/rules/gate"
	"undersheet/watch"
)

// notifyEvery is how often the notifier looks when nobody set a watchdog.
const notifyEvery = 10 * time.Second

// notifyStopping is said once, when the daemon begins to stop.
const notifyStopping = "STOPPING=1\nSTATUS=stopping"

// notifier tells the service manager how the daemon stands: sd_notify(3) of
// systemd, one datagram a look on the unix socket that NOTIFY_SOCKET names.
//
// It says READY=1 once the fold has caught up and people and instruments are let
// in, and until then asks for more time while the fold moves. WATCHDOG=1 goes out
// only while the fold works, so that a daemon that stands still is ended and
// started anew. A disk that cannot be written is no reason: a new start would not
// mend it, and would take away the pages that say so.
type notifier struct {
	socket   string        // empty: nobody wants to know
	every    time.Duration // between two looks: a third of what the watchdog allows
	status   func() watch.Status
	head     func(context.Context) (seq uint64, received time.Time, err error)
	logError func() string // why the logbook takes no entries; empty: it does
	ready    <-chan struct{}
	logger   *slog.Logger

	folded uint64 // as of the last look
	silent bool   // a message could not be sent, and that was logged
}

// newNotifier returns the notifier of a daemon, set up by the environment that
// the service manager gave this process.
func newNotifier(d *daemon) *notifier {
	return &notifier{socket: os.Getenv("NOTIFY_SOCKET"), every: watchdogOf(os.Getenv, os.Getpid()), status: d.loop.Status, head: d.head,
		logError: func() string { return d.ingest.Stats().LogError }, ready: d.caughtUp, logger: d.opts.Logger}
}

// watchdogOf returns how often to look, by WATCHDOG_USEC and WATCHDOG_PID of
// sd_watchdog_enabled(3).
func watchdogOf(env func(string) string, pid int) time.Duration {
	usec, err := strconv.ParseInt(env("WATCHDOG_USEC"), 10, 64)
	if p := env("WATCHDOG_PID"); err != nil || usec < 3 || p != "" && p != strconv.Itoa(pid) {
		return notifyEvery
	}
	return time.Duration(usec) * time.Microsecond / 3
}

// Run tells until ctx is done; from stopping on it says that the daemon stops.
func (n *notifier) Run(ctx context.Context, stopping <-chan struct{}) error {
	if n.socket == "" {
		return nil
	}
	tick := time.NewTicker(n.every)
	defer tick.Stop()
	ready := n.ready
	for {
		select {
		case <-ready:
			ready = nil
			n.send("READY=1\n" + n.look(ctx, true))
		case <-stopping:
			stopping = nil
			n.send(notifyStopping)
		case <-tick.C:
			n.send(n.look(ctx, ready == nil))
		case <-ctx.Done():
			if stopping != nil {
				n.send(notifyStopping)
			}
			return nil
		}
	}
}

// look returns what is to be said now.
func (n *notifier) look(ctx context.Context, ready bool) string {
	st := n.status()
	trouble := n.trouble(ctx, st)
	n.folded = st.Folded
	switch {
	case trouble != "":
		return fmt.Sprintf("STATUS=%s; entry %d folded", trouble, st.Seq)
	case !ready: // as long as the fold moves; microseconds, from now
		return fmt.Sprintf("EXTEND_TIMEOUT_USEC=%d\nSTATUS=catching up; entry %d folded", 3*n.every.Microseconds(), st.Seq)
	case st.Shut != "":
		return fmt.Sprintf("WATCHDOG=1\nSTATUS=every gate is shown shut: %s; entry %d folded", st.Shut, st.Seq)
	}
	return fmt.Sprintf("WATCHDOG=1\nSTATUS=watching; entry %d folded", st.Seq)
}

// trouble says why a new start is wanted; "" when it is not.
func (n *notifier) trouble(ctx context.Context, st watch.Status) string {
	switch st.Shut {
	case gate.FoldFailed, gate.WatchStopped:
		return "the watch has stopped"
	case gate.LogbookFailing:
		return ""
	case gate.NoEntries: // not even that time passes is written
		if n.logError() == "" {
			return "nothing is written to the logbook"
		}
		return ""
	}
	head, _, err := n.head(ctx)
	if err == nil && head > st.Seq && st.Folded == n.folded {
		return "the fold stands still"
	}
	return ""
}

// send hands one message to the service manager. What cannot be told is logged
// once: the daemon's work goes on.
func (n *notifier) send(text string) {
	err := n.hand(text)
	if err != nil && !n.silent {
		n.logger.Warn("tell the service manager how the daemon stands", "error", err)
	}
	n.silent = err != nil
}

// hand writes one datagram; a name that begins with @ is of the abstract space.
func (n *notifier) hand(text string) error {
	conn, err := net.DialTimeout("unixgram", n.socket, time.Second)
	if err != nil {
		return err
	}
	defer conn.Close()
	if err := conn.SetWriteDeadline(time.Now().Add(time.Second)); err != nil {
		return err
	}
	_, err = conn.Write([]byte(text))
	return err
}
