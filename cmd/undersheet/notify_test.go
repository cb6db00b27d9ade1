package main

import (
	"context"
	"errors"
	"log/slog"
	"net"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/watch"
)

// manager is a service manager's end of the socket.
type manager struct {
	t    *testing.T
	conn *net.UnixConn
	path string
}

func newManager(t *testing.T) *manager {
	path := filepath.Join(t.TempDir(), "notify")
	conn, err := net.ListenUnixgram("unixgram", &net.UnixAddr{Name: path, Net: "unixgram"})
	require.NoError(t, err)
	t.Cleanup(func() { conn.Close() })
	return &manager{t, conn, path}
}

// next returns the next message.
func (m *manager) next() string {
	m.t.Helper()
	b := make([]byte, 4096)
	require.NoError(m.t, m.conn.SetReadDeadline(time.Now().Add(patience)))
	n, err := m.conn.Read(b)
	require.NoError(m.t, err)
	return string(b[:n])
}

// until returns the first message that holds a line.
func (m *manager) until(line string) string {
	m.t.Helper()
	for range 10_000 {
		if msg := m.next(); strings.Contains("\n"+msg+"\n", "\n"+line+"\n") {
			return msg
		}
	}
	m.t.Fatalf("%q never came", line)
	return ""
}

// stands is how an invented daemon stands.
type stands struct {
	mu   sync.Mutex
	st   watch.Status
	head uint64
	err  string
}

func (s *stands) set(st watch.Status, head uint64, logError string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.st, s.head, s.err = st, head, logError
}

func (s *stands) status() watch.Status {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.st
}

func (s *stands) logHead(context.Context) (uint64, time.Time, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.head, time.Time{}, nil
}

func (s *stands) logError() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.err
}

// TestNotifierWithholdsTheWatchdog: which states are told as alive, by the words
// of sd_notify(3). Three looks without WATCHDOG=1 make the manager restart.
func TestNotifierWithholdsTheWatchdog(t *testing.T) {
	disk := errors.New("no space left on device")
	for name, c := range map[string]struct {
		st    watch.Status
		head  uint64
		err   string
		alive bool
		says  string
	}{
		"at the head":         {watch.Status{Seq: 9, Folded: 9}, 9, "", true, "watching; entry 9 folded"},
		"stands still":        {watch.Status{Seq: 9, Folded: 9}, 10, "", false, "the fold stands still"},
		"clock behind":        {watch.Status{Seq: 9, Folded: 9, Shut: "clock-behind"}, 9, "", true, "clock-behind"},
		"disk full, records":  {watch.Status{Seq: 9, Folded: 9, Shut: "logbook-failing", Err: disk}, 12, "", true, "logbook-failing"},
		"disk full, readings": {watch.Status{Seq: 9, Folded: 9, Shut: "no-entries"}, 9, "disk full", true, "no-entries"},
		"nobody writes":       {watch.Status{Seq: 9, Folded: 9, Shut: "no-entries"}, 9, "", false, "nothing is written"},
		"fold broke":          {watch.Status{Seq: 9, Folded: 9, Shut: "fold-failed"}, 10, "", false, "the watch has stopped"},
		"watch stopped":       {watch.Status{Seq: 9, Folded: 9, Shut: "watch-stopped"}, 9, "", false, "the watch has stopped"},
	} {
		t.Run(name, func(t *testing.T) {
			m, s, ready := newManager(t), &stands{}, make(chan struct{})
			close(ready)
			s.set(c.st, c.head, c.err)
			n := &notifier{socket: m.path, every: 5 * time.Millisecond, status: s.status, head: s.logHead, logError: s.logError, ready: ready, logger: slog.Default()}
			ctx, stop := context.WithCancel(t.Context())
			var wg sync.WaitGroup
			wg.Go(func() { _ = n.Run(ctx, nil) })
			defer wg.Wait()
			defer stop()
			m.until("READY=1")
			m.next() // the first look has nothing to compare with
			for range 4 {
				msg := m.next()
				require.Equal(t, c.alive, strings.Contains(msg, "WATCHDOG=1"), msg)
				require.Contains(t, msg, c.says)
			}
		})
	}
}

// TestNotifierAsksForTimeWhileItCatchesUp: no READY=1 and no end of patience
// while a long logbook is folded; none is asked for when the fold stands still.
func TestNotifierAsksForTimeWhileItCatchesUp(t *testing.T) {
	s := &stands{}
	n := &notifier{every: 30 * time.Second, status: s.status, head: s.logHead, logError: s.logError}
	s.set(watch.Status{Seq: 256, Folded: 256, Shut: "catching-up"}, 9000, "")
	require.Equal(t, "EXTEND_TIMEOUT_USEC=90000000\nSTATUS=catching up; entry 256 folded", n.look(t.Context(), false))
	require.Equal(t, "STATUS=the fold stands still; entry 256 folded", n.look(t.Context(), false))
	s.set(watch.Status{Seq: 512, Folded: 512, Shut: "catching-up"}, 9000, "")
	require.Contains(t, n.look(t.Context(), true), "WATCHDOG=1", "behind, but it moves")
}

// TestNotifierWithoutManager: nobody asks, or nobody listens; the daemon works on.
func TestNotifierWithoutManager(t *testing.T) {
	require.NoError(t, (&notifier{}).Run(t.Context(), nil))
	n := &notifier{socket: filepath.Join(t.TempDir(), "none"), logger: slog.New(slog.DiscardHandler)}
	n.send("READY=1")
	require.True(t, n.silent)
}

func TestWatchdogOf(t *testing.T) {
	for _, c := range []struct {
		usec, pid string
		want      time.Duration
	}{
		{"90000000", "", 30 * time.Second}, {"90000000", "7", 30 * time.Second}, {"90000000", "8", notifyEvery},
		{"", "", notifyEvery}, {"soon", "", notifyEvery}, {"-3", "", notifyEvery}, {"0", "", notifyEvery},
	} {
		env := map[string]string{"WATCHDOG_USEC": c.usec, "WATCHDOG_PID": c.pid}
		require.Equal(t, c.want, watchdogOf(func(k string) string { return env[k] }, 7), "%+v", c)
	}
}

// TestServeTellsTheServiceManager: the program itself says READY=1 when it is,
// WATCHDOG=1 while it works, and STOPPING=1 before it ends.
func TestServeTellsTheServiceManager(t *testing.T) {
	m := newManager(t)
	t.Setenv("NOTIFY_SOCKET", m.path)
	t.Setenv("WATCHDOG_USEC", "300000")
	site := filepath.Join(t.TempDir(), "site.yaml")
	require.NoError(t, os.WriteFile(site, []byte(notifySite), 0o600))
	p := serve(t, site)
	m.until("READY=1")
	m.until("WATCHDOG=1")
	require.NoError(t, p.cmd.Process.Signal(syscall.SIGTERM))
	m.until("STOPPING=1")
	require.NoError(t, p.cmd.Wait())
}

// notifySite is an invented depot that nothing reads.
const notifySite = `site: Gorse Lane
timezone: Europe/Lisbon
limits: EU
logbook: depot.db
emergency: "Call 112."
instruments: []
channels:
  door: {unit: ppm, range: 20, resolution: 0.01, detection_limit: 0.02, accuracy: 0.1}
stores: [{name: Store 1, air: [{name: door, channel: door, where: door}], stacks: []}]
`
