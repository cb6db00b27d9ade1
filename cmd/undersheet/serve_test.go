package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
	"github.com/stretchr/testify/require"

	"undersheet/configs"
	"undersheet/logbook"
	"undersheet/logbook/sqlite"
)

// process is "undersheet serve" on the wall clock, as a process of its own.
type process struct {
	t    *testing.T
	cmd  *exec.Cmd
	url  string // of its pages
	book string
	said chan string // all that it wrote after the address, once it has ended
}

// serve starts the daemon of a site file and waits until its pages answer.
func serve(t *testing.T, site string) *process {
	t.Helper()
	return serveBy(t, os.Args[0], site)
}

// serveBy is serve with another program.
func serveBy(t *testing.T, program, site string) *process {
	t.Helper()
	p := &process{t: t, book: filepath.Join(filepath.Dir(site), "depot.db"), said: make(chan string, 1)}
	p.cmd = exec.Command(program, "serve", "--site", site, "--listen", "127.0.0.1:0")
	p.cmd.Env = append(os.Environ(), childMain+"=1")
	errs, err := p.cmd.StderrPipe()
	require.NoError(t, err)
	require.NoError(t, p.cmd.Start())
	t.Cleanup(func() { p.cmd.Process.Kill(); p.cmd.Wait() })
	addr := make(chan string, 1)
	go func() {
		var all bytes.Buffer
		for lines := bufio.NewScanner(errs); lines.Scan(); {
			fmt.Fprintln(&all, lines.Text())
			if _, at, ok := strings.Cut(lines.Text(), "pages at "); ok {
				addr <- at
			}
		}
		close(addr)
		p.said <- all.String()
	}()
	select {
	case p.url = <-addr:
	case <-time.After(patience):
	}
	require.NotEmpty(t, p.url, "serve did not come up")
	require.Eventually(t, func() bool { return p.get("/healthz") == http.StatusOK }, patience, tick, "serve is not healthy")
	return p
}

// get returns the status of a page, or 0 when there is none.
func (p *process) get(path string) int {
	client := &http.Client{Timeout: 5 * time.Second}
	r, err := client.Get(p.url + path)
	if err != nil {
		return 0
	}
	r.Body.Close()
	return r.StatusCode
}

// page returns what a page holds.
func (p *process) page(path string) string {
	p.t.Helper()
	r, err := http.Get(p.url + path)
	require.NoError(p.t, err)
	defer r.Body.Close()
	b, err := io.ReadAll(r.Body)
	require.NoError(p.t, err)
	return string(b)
}

// end sends a signal and returns the exit status and what it said.
func (p *process) end(s os.Signal) (status int, said string) {
	require.NoError(p.t, p.cmd.Process.Signal(s))
	timer := time.AfterFunc(patience, func() { p.cmd.Process.Kill() })
	defer timer.Stop()
	said = <-p.said
	p.cmd.Wait() // its error is the status
	return p.cmd.ProcessState.ExitCode(), said
}

// entries reads the logbook beside the daemon.
func (p *process) entries() []logbook.Entry {
	p.t.Helper()
	s, err := sqlite.Open(p.book, sqlite.Options{ReadOnly: true})
	require.NoError(p.t, err)
	defer s.Close()
	var es []logbook.Entry
	for e, err := range s.Entries(context.Background(), 1) {
		require.NoError(p.t, err)
		es = append(es, e)
	}
	return es
}

// findings waits until the findings hold one with each of codes.
func (p *process) findings(codes ...string) {
	p.t.Helper()
	var missing []string
	require.Eventually(p.t, func() bool {
		there := map[string]bool{}
		for _, e := range p.entries() {
			if f, ok := e.(*logbook.Finding); ok {
				there[f.Code] = true
			}
		}
		missing = nil
		for _, c := range codes {
			if !there[c] {
				missing = append(missing, c)
			}
		}
		return len(missing) == 0
	}, patience, 100*time.Millisecond, "no findings %v", codes)
}

// A newcomer's first hour with the daemon: acts go to it, refusals are status 1,
// the logbook is read beside it, a second daemon is told of the first, SIGTERM is
// an orderly end, and after SIGKILL all that was answered is there.
func TestServeAndAct(t *testing.T) {
	site := write(t, "site.yaml", smallSite)
	p := serve(t, site)
	act := func(args ...string) (int, string) {
		status, out, errs := tried(t, "", append([]string{"act", "-l", p.book}, args...)...)
		return status, out + errs
	}
	status, said := act("no-gas-declared", "store=Store 1", "by=Ana Brook")
	require.Zero(t, status, said)
	require.Regexp(t, `^no-gas-declared accepted as entry \d+\n$`, said)
	status, said = act("entry-confirmed", "store=Store 1", "by=Ana Brook")
	require.Equal(t, 1, status)
	require.Contains(t, said, "undersheet act: refused: Not cleared: Store 1 is not ready")
	status, said = act("entry-confirmed", "store=Store 9", "by=Ana Brook")
	require.Equal(t, 1, status)
	require.Contains(t, said, "no store Store 9")
	status, said = act("dosing-started", "stack=A", "store_empty=true", "by=Ana Brook")
	require.Zero(t, status, said)
	status, said = act("treatment-started", "stack=A", "treatment=A-1", "protocol=five-day", "commodity=linseed", "tonnes=80",
		"volume_m3=120", "phosphine_g=100", "grain_temp_c=27", "by=Ana Brook")
	require.Zero(t, status, "what happened is a fact: "+said)
	p.findings("commodity-unsuited")

	status, _, errs := tried(t, "", "serve", "--site", site, "--listen", "127.0.0.1:0")
	require.Equal(t, 1, status)
	require.Contains(t, errs, fmt.Sprintf("in use by process %d", p.cmd.Process.Pid))
	require.NotContains(t, errs, "waits", "another daemon will not end by itself")
	status, _, errs = tried(t, "", "serve", "--site", write(t, "site.yaml", strings.ReplaceAll(smallSite, "depot.db", "other.db")),
		"--listen", strings.TrimPrefix(p.url, "http://"))
	require.Equal(t, 1, status)
	require.Contains(t, errs, "another program uses it")

	for _, path := range []string{"/", "/stack/A", "/metrics", "/healthz"} {
		require.Equal(t, http.StatusOK, p.get(path), path)
	}
	require.Equal(t, http.StatusNotFound, p.get("/stack/Z"))
	status, exported, errs := tried(t, "", "export", p.book)
	require.Zero(t, status, errs)
	require.Contains(t, exported, `"identity":"not verified"`)
	status, _, errs = tried(t, exported, "import", p.book, "-")
	require.Zero(t, status, errs)
	require.Contains(t, errs, " 0 added", "its own export adds nothing")

	seqs := len(p.entries())
	code, said := p.end(syscall.SIGTERM)
	require.Zero(t, code, said)
	p = serve(t, site)
	require.Len(t, p.entries(), seqs, "the same site is not configured twice, nothing is judged twice")
	status, said = act("hand-reading", "stack=A", "line=top", "value=160", "unit=ppm", "method=detector tube", "by=Ana Brook")
	require.Zero(t, status, said)
	answered := p.entries()
	code, _ = p.end(syscall.SIGKILL)
	require.Equal(t, -1, code)
	p = serve(t, site)
	require.Equal(t, answered, p.entries()[:len(answered)])
}

// An act that is sent again under its key counts once, also when it says no time
// of its own; another act under the same key is an error.
func TestActAgain(t *testing.T) {
	p := serve(t, write(t, "site.yaml", smallSite))
	said := make([]string, 2)
	for n := range said {
		status, out, errs := tried(t, "", "act", "-l", p.book, "--id", "k1", "dosing-started", "stack=A", "store_empty=true", "by=Ana Brook")
		require.Zero(t, status, errs)
		said[n] = out
	}
	require.Regexp(t, `^dosing-started accepted as entry \d+\n$`, said[0])
	require.Equal(t, said[0], said[1])
	status, _, errs := tried(t, "", "act", "-l", p.book, "--id", "k1", "dosing-started", "stack=A", "store_empty=true", "by=Ben Ash")
	require.Equal(t, 1, status)
	require.Contains(t, errs, `the id "k1" was used before`)
	p.end(syscall.SIGTERM)
	status, out, errs := tried(t, "", "act", "-l", p.book, "--id", "k1", "dosing-started", "stack=A", "store_empty=true", "by=Ana Brook")
	require.Zero(t, status, errs)
	require.Equal(t, said[0], out, "the same without a daemon")
	count := 0
	for _, e := range p.entries() {
		if e.Head().Kind == logbook.KindDosingStarted {
			count++
		}
	}
	require.Equal(t, 1, count)
}

// once calls a function at the first line of a log.
type once func()

func (o *once) Write(b []byte) (int, error) {
	if *o != nil {
		(*o)()
		*o = nil
	}
	return len(b), nil
}

// "act" has the logbook for a moment while no daemon runs. A daemon that is started in that moment
// says so and waits, until it is told to stop.
func TestDaemonWaitsForACommandThatHasTheLogbook(t *testing.T) {
	for name, ends := range map[string]bool{"the command ends": true, "the daemon is stopped": false} {
		t.Run(name, func(t *testing.T) {
			path := write(t, "site.yaml", smallSite)
			site, _, err := configs.Load(path)
			require.NoError(t, err)
			settle(site, path)
			held, err := sqlite.Open(site.Logbook, sqlite.Options{})
			require.NoError(t, err)
			defer held.Close()
			ctx, stop := context.WithCancel(t.Context())
			defer stop()
			said := once(stop)
			if ends {
				said = func() { require.NoError(t, held.Close()) }
			}
			d, err := awaitDaemon(ctx, site, daemonOptions{Clock: wallClock{}, Listen: "127.0.0.1:0", Logger: slog.New(slog.NewTextHandler(&said, nil))})
			if !ends {
				var locked *sqlite.LockedError
				require.ErrorAs(t, err, &locked)
				return
			}
			require.NoError(t, err)
			require.NoError(t, d.close())
		})
	}
}

// Two builds of a changed tree name the same version. What one of them keeps to start faster,
// the other does not take: it may mean something else by it.
func TestSnapshotOfAnotherBuild(t *testing.T) {
	site := write(t, "site.yaml", smallSite)
	program, err := os.ReadFile(os.Args[0])
	require.NoError(t, err)
	other := filepath.Join(t.TempDir(), "undersheet")
	require.NoError(t, os.WriteFile(other, append(program, '.'), 0o700)) // what stands behind a program's end does nothing
	p := serve(t, site)
	status, _, said := tried(t, "", "act", "-l", p.book, "no-gas-declared", "store=Store 1", "by=Ana Brook")
	require.Zero(t, status, said)
	p.end(syscall.SIGTERM)
	for _, run := range []struct {
		program string
		taken   bool
	}{{os.Args[0], true}, {other, false}, {other, true}} {
		p := serveBy(t, run.program, site)
		require.Equal(t, run.taken, !strings.Contains(p.page("/metrics"), "\nundersheet_snapshot_seq 0\n"))
		p.end(syscall.SIGTERM)
	}
}

// mqttSite is smallSite with a broker.
func mqttSite(url string) string {
	return smallSite + "instruments:\n  - {name: gateway, mqtt: {broker: \"" + url + "\", sources: [{topic: depot/+, payload: senml, channel: \"{2}\"}]}}\n"
}

// Payloads that cannot be right, over a real broker: each is on record or a
// finding, and the daemon goes on to read what follows.
func TestBadPayloads(t *testing.T) {
	dir := t.TempDir()
	url := startMosquitto(t, dir)
	p := serve(t, write(t, "site.yaml", mqttSite(url)))
	client := paho.NewClient(paho.NewClientOptions().AddBroker(url).SetClientID("gateway"))
	require.NoError(t, wait(client.Connect()))
	t.Cleanup(func() { client.Disconnect(100) })
	require.Eventually(t, func() bool { // what is published before the daemon has subscribed is nobody's
		for _, e := range p.entries() {
			if s, ok := e.(*logbook.InstrumentState); ok && s.Instrument == "gateway" && s.OK {
				return true
			}
		}
		return false
	}, patience, 100*time.Millisecond, "the daemon is not at the broker")
	now := time.Now().UTC().Truncate(time.Second)
	senml := func(n, unit string, v float64, at time.Time) []byte {
		b, err := json.Marshal([]map[string]any{{"n": n, "u": unit, "v": v, "t": at.Unix()}})
		require.NoError(t, err)
		return b
	}
	const huge = 10 << 20
	for _, m := range []struct {
		topic   string
		payload []byte
	}{
		{"depot/top", bytes.Repeat([]byte("9"), huge)},
		{"depot/top", []byte(`[{"n":"top","u":"ppm","v":4`)},
		{"depot/top", nil},
		{"depot/top", senml("top", "ppm", 400, now.AddDate(1, 0, 0))},
		{"depot/top", senml("top", "Cel", 27, now.Add(-2*time.Second))},
		{"depot/tip", senml("tip", "ppm", 3, now.Add(-2*time.Second))},
		{"depot/top", senml("top", "ppm", 412, now.Add(-time.Second))},
	} {
		require.NoError(t, wait(client.Publish(m.topic, 1, false, m.payload)))
	}
	p.findings("payload-refused", "future", "unit-mismatch", "unknown-channel")
	var refused []*logbook.PayloadRefused
	var values []float64
	require.Eventually(t, func() bool {
		refused, values = nil, nil
		for _, e := range p.entries() {
			switch e := e.(type) {
			case *logbook.PayloadRefused:
				refused = append(refused, e)
			case *logbook.Reading:
				values = append(values, float64(e.Value))
			}
		}
		return len(values) >= 4
	}, patience, 100*time.Millisecond, "the good reading does not come")
	require.Equal(t, []float64{400, 27, 3, 412}, values, "readings are kept, whatever is thought of them")
	require.Len(t, refused, 3)
	require.Equal(t, huge, refused[0].Size)
	for _, r := range refused {
		require.Equal(t, "depot/top", r.Topic)
		require.NotEmpty(t, r.Why)
	}
	require.Equal(t, http.StatusOK, p.get("/healthz"))
	code, said := p.end(syscall.SIGTERM)
	require.Zero(t, code, said)
}
