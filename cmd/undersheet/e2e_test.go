package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
	"github.com/stretchr/testify/require"

	"undersheet/configs"
	"undersheet/logbook"
	"undersheet/logbook/sqlite"
	"undersheet/logbook/sqlite/door"
	"undersheet/sensor/port/porttest"
	"undersheet/sensor/sim"
)

// childSite names the site file of a daemon that this test binary runs as a child
// process, so that it can be killed; childStart is its depot time.
const (
	childSite  = "UNDERSHEET_TEST_SITE"
	childStart = "UNDERSHEET_TEST_START"
)

// TestMain runs the tests, or the daemon of an end-to-end test.
func TestMain(m *testing.M) {
	if site := os.Getenv(childSite); site != "" {
		if err := childDaemon(site); err != nil {
			fmt.Fprintln(os.Stderr, "child:", err)
			os.Exit(1)
		}
		os.Exit(0)
	}
	os.Exit(m.Run())
}

// childDaemon is what serve runs, with a depot clock that moves to each time that
// comes on standard input. It answers "moved", and "folded" when every channel was read and
// folded at that time, and ends with standard input.
func childDaemon(path string) error {
	site, _, err := configs.Load(path)
	if err != nil {
		return err
	}
	site.Logbook = pathOf(site, path)
	at, err := time.Parse(time.RFC3339, os.Getenv(childStart))
	if err != nil {
		return err
	}
	clock := sim.NewClock(at)
	d, err := newDaemon(site, daemonOptions{Clock: clock, Listen: "127.0.0.1:0", Stale: time.Hour, Logger: slog.New(slog.NewTextHandler(os.Stderr, &slog.HandlerOptions{Level: slog.LevelError}))})
	if err != nil {
		return err
	}
	ctx, stop := context.WithCancel(context.Background())
	defer stop()
	ended := make(chan error, 1) // room for the one result
	go func() { ended <- d.run(ctx) }()
	<-d.caughtUp
	fmt.Println("ready")
	dm := &demo{d: d, clock: clock}
	for in := bufio.NewScanner(os.Stdin); in.Scan(); {
		if at, err = time.Parse(time.RFC3339, in.Text()); err != nil {
			return err
		}
		if err := clock.Waiters(ctx, onClock); err != nil {
			return err
		}
		clock.Move(at)
		fmt.Println("moved") // what is published from here on is not of the future
		for dm.unread(at) != "" {
			changed := d.loop.Changed()
			if dm.unread(at) == "" {
				break
			}
			<-changed
		}
		fmt.Println("folded")
	}
	stop()
	return <-ended
}

// letters is where the mail server writes what it takes.
type letters struct {
	mu sync.Mutex
	b  bytes.Buffer
}

// Write implements io.Writer.
func (l *letters) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

func (l *letters) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}

// depotTest is a whole depot on real wires.
type depotTest struct {
	t       *testing.T
	depot   *sim.Depot
	client  paho.Client
	site    string
	book    string
	at      time.Time
	mail    letters
	sent    map[string]bool // "channel time" that the broker acknowledged
	child   *exec.Cmd
	stdin   io.WriteCloser
	answers *bufio.Scanner
}

var e2eStart = time.Date(2026, 5, 4, 6, 0, 0, 0, time.UTC)

const e2eStep = 20 * time.Minute

var (
	e2eRack = []string{"top", "middle", "door"} // on the serial line
	e2eMQTT = []string{"low", "gangway"}        // on the broker
)

func newDepotTest(t *testing.T) *depotTest {
	d := &depotTest{t: t, at: e2eStart, sent: map[string]bool{}, depot: sim.NewDepot(e2eStart, 7)}
	d.depot.AddStore("Store 1", sim.Store{Air: []sim.Air{{Channel: "door", Share: 0.3}, {Channel: "gangway", Share: 1}}})
	d.depot.AddSheet("A", sim.Sheet{Store: "Store 1", Yield: 1500, Release: 1.2, Lag: 2 * time.Hour, Loss: 0.14, Sorb: 0.1,
		Lines: map[string]float64{"top": 0.98, "middle": 1.01, "low": 1.02}})
	d.depot.Advance(e2eStart.Add(time.Second))
	dir := t.TempDir()
	ctx, cancel := context.WithCancel(context.Background())
	line := &sim.Line{Depot: d.depot, Units: map[byte][]string{1: e2eRack}}
	device, err := line.Open()
	require.NoError(t, err)
	post, err := newPostbox(&d.mail)
	require.NoError(t, err)
	var wg sync.WaitGroup
	wg.Go(func() { line.Run(ctx) })
	wg.Go(func() { post.run(ctx) })
	t.Cleanup(func() { cancel(); wg.Wait() })
	url := startMosquitto(t, dir)
	d.client = paho.NewClient(paho.NewClientOptions().AddBroker(url).SetClientID("gateway"))
	require.NoError(t, wait(d.client.Connect()))
	t.Cleanup(func() { d.client.Disconnect(100) })
	d.site, d.book = filepath.Join(dir, "site.yaml"), filepath.Join(dir, "depot.db")
	require.NoError(t, os.WriteFile(d.site, fmt.Appendf(nil, e2eSite, device, url, post.port()), 0o600))
	return d
}

// e2eSite is an invented depot.
const e2eSite = `site: Alder Wharf
timezone: Europe/Lisbon
limits: EU
logbook: depot.db
emergency: "Call 112."
mail: {host: 127.0.0.1, port: %[3]d, from: depot@alder.example, tls: none}
people: [{name: Ana Brook, email: ana.brook@alder.example, from: medium}]
instruments:
  - name: rack
    modbus:
      port: %[1]s
      baud: 115200
      parity: none
      units:
        - {address: 1, every: 20m, timeout: 2s, retries: 3, registers: [{channel: top, register: 0, type: float32}, {channel: middle, register: 2, type: float32}, {channel: door, register: 4, type: float32}]}
  - name: gateway
    mqtt: {broker: "%[2]s", sources: [{topic: depot/+, payload: senml, channel: "{2}"}]}
channels:
  top: {unit: ppm, range: 2000, resolution: 1, detection_limit: 1, accuracy: 0.05}
  middle: {unit: ppm, range: 2000, resolution: 1, detection_limit: 1, accuracy: 0.05}
  low: {unit: ppm, range: 2000, resolution: 1, detection_limit: 1, accuracy: 0.05}
  door: {unit: ppm, range: 20, resolution: 0.01, detection_limit: 0.02, accuracy: 0.1}
  gangway: {unit: ppm, range: 20, resolution: 0.01, detection_limit: 0.02, accuracy: 0.1}
stores:
  - name: Store 1
    air: [{name: door, channel: door, where: door}, {name: gangway, channel: gangway}]
    stacks: [{name: A, lines: [{name: top, channel: top}, {name: middle, channel: middle}, {name: low, channel: low}]}]
`

// startMosquitto starts a real broker that keeps sessions, on a port of its own.
func startMosquitto(t *testing.T, dir string) string {
	bin := "/usr/sbin/mosquitto"
	if _, err := os.Stat(bin); err != nil {
		porttest.Missing(t, "mosquitto", "mosquitto")
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	addr := l.Addr().String()
	require.NoError(t, l.Close())
	conf := filepath.Join(dir, "mosquitto.conf")
	_, p, _ := net.SplitHostPort(addr)
	require.NoError(t, os.WriteFile(conf, fmt.Appendf(nil, "listener %s 127.0.0.1\nallow_anonymous true\nmax_queued_messages 0\n", p), 0o600))
	c := exec.Command(bin, "-c", conf)
	require.NoError(t, c.Start())
	t.Cleanup(func() { c.Process.Kill(); c.Wait() })
	require.Eventually(t, func() bool {
		conn, err := net.Dial("tcp", addr)
		if err == nil {
			conn.Close()
		}
		return err == nil
	}, 30*time.Second, 20*time.Millisecond, "mosquitto did not come up")
	return "tcp://" + addr
}

func wait(tok paho.Token) error {
	if !tok.WaitTimeout(30 * time.Second) {
		return fmt.Errorf("the broker did not answer")
	}
	return tok.Error()
}

// start runs the daemon in a process of its own.
func (d *depotTest) start() {
	c := exec.Command(os.Args[0])
	c.Env = append(os.Environ(), childSite+"="+d.site, childStart+"="+d.at.Format(time.RFC3339))
	c.Stderr = os.Stderr
	in, err := c.StdinPipe()
	require.NoError(d.t, err)
	out, err := c.StdoutPipe()
	require.NoError(d.t, err)
	require.NoError(d.t, c.Start())
	d.child, d.stdin, d.answers = c, in, bufio.NewScanner(out)
	d.t.Cleanup(func() { c.Process.Kill(); c.Wait() })
	d.expect("ready")
}

func (d *depotTest) expect(word string) {
	timer := time.AfterFunc(time.Minute, func() { d.child.Process.Kill() }) // nothing waits for ever
	defer timer.Stop()
	require.True(d.t, d.answers.Scan(), "the daemon ended at %s instead of %q", d.at, word)
	require.Equal(d.t, word, d.answers.Text())
}

// publish sends what the gateway reads now, and notes what the broker has
// acknowledged.
func (d *depotTest) publish() {
	for _, ch := range e2eMQTT {
		v, err := d.depot.Read(ch)
		require.NoError(d.t, err)
		b, err := json.Marshal([]map[string]any{{"n": ch, "u": "ppm", "v": v, "t": d.at.Unix()}})
		require.NoError(d.t, err)
		require.NoError(d.t, wait(d.client.Publish("depot/"+ch, 1, false, b)))
		d.sent[ch+" "+logbook.At(d.at).String()] = true
	}
}

// until lets depot time pass to at, one poll after the other.
func (d *depotTest) until(at time.Time) {
	for d.at.Before(at) {
		d.poll()
		d.expect("folded")
	}
}

// poll moves depot time by one poll, and publishes.
func (d *depotTest) poll() {
	d.at = d.at.Add(e2eStep)
	d.depot.Advance(d.at)
	_, err := fmt.Fprintln(d.stdin, d.at.Format(time.RFC3339))
	require.NoError(d.t, err)
	d.expect("moved")
	d.publish()
}

// kill ends the daemon as a power cut does, in the middle of its work.
func (d *depotTest) kill() {
	d.poll()
	require.NoError(d.t, d.child.Process.Kill()) // SIGKILL
	d.child.Wait()
	d.at = d.at.Add(e2eStep) // the broker goes on without it
	d.depot.Advance(d.at)
	d.publish()
}

// act hands an act over by the socket, and returns the verdict.
func (d *depotTest) act(act string) door.Answer {
	e, err := entryOf(act, d.at)
	require.NoError(d.t, err)
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	a, err := sendByDoor(ctx, d.book, e)
	require.NoError(d.t, err, act)
	return a
}

func (d *depotTest) accepted(act string) {
	require.Equal(d.t, logbook.KindAccepted, d.act(act).Verdict, act)
}

// entries reads the logbook as it is.
func (d *depotTest) entries() []logbook.Entry {
	s, err := sqlite.Open(d.book, sqlite.Options{ReadOnly: true})
	require.NoError(d.t, err)
	defer s.Close()
	var es []logbook.Entry
	for e, err := range s.Entries(context.Background(), 1) {
		require.NoError(d.t, err)
		es = append(es, e)
	}
	return es
}

// gate returns the newest gate state of the store.
func (d *depotTest) gate() string {
	state := ""
	for _, e := range d.entries() {
		if g, ok := e.(*logbook.Gate); ok {
			state = g.State
		}
	}
	return state
}

// From dosing to the report on a real broker, a real pseudo-terminal and a real
// mail server: a tear is found and told by mail, the process is killed (SIGKILL)
// twice and loses nothing that the broker had acknowledged, nothing is raised or
// mailed twice, a confirmation is refused before its time and accepted in its time.
// The times are those of the five-day protocol and of the gate (common practice).
func TestFromDosingToReport(t *testing.T) {
	if testing.Short() {
		t.Skip("a whole treatment: run without -short")
	}
	d := newDepotTest(t)
	d.start()
	d.accepted("no-gas-declared|store=Store 1|by=Ana Brook")
	d.until(e2eStart.Add(time.Hour))
	d.accepted("dosing-started|stack=A|store_empty=true|by=Ana Brook")
	d.depot.Dose("A")
	d.accepted("treatment-started|stack=A|treatment=A-1|protocol=five-day|commodity=milled rice|tonnes=180|volume_m3=260|phosphine_g=285|grain_temp_c=27|by=Ana Brook")
	require.Equal(t, logbook.GateShut, d.gate())
	d.until(e2eStart.Add(40 * time.Hour))
	d.kill()
	d.start()
	d.until(e2eStart.Add(49 * time.Hour))
	d.depot.Tear("A", "low", 0.9)
	d.until(e2eStart.Add(61 * time.Hour))
	require.Contains(t, d.mail.String(), "Leak: stack A")
	d.kill()
	d.start()
	d.depot.Mend("A")
	d.until(e2eStart.Add(122 * time.Hour))
	d.depot.Lift("A")
	d.depot.OpenDoors("Store 1", true)
	d.accepted("airing-started|stack=A|by=Ana Brook")
	d.until(d.at.Add(time.Hour))
	early := d.act("entry-confirmed|store=Store 1|by=Ana Brook")
	require.Equal(t, logbook.KindRefused, early.Verdict)
	require.Contains(t, early.Why, "aired for 60 of 120 minutes")
	d.until(d.at.Add(3 * time.Hour))
	require.Equal(t, logbook.GateCheckOwed, d.gate())
	d.accepted("hand-reading|store=Store 1|point=beside A|value=0.02|unit=ppm|method=hand meter|detection_limit=0.02|by=Ana Brook")
	d.accepted("entry-confirmed|store=Store 1|by=Ana Brook")
	require.Equal(t, logbook.GateCleared, d.gate())
	require.NoError(t, d.stdin.Close())
	require.NoError(t, d.child.Wait(), "an orderly end")
	d.nothingLost()
	d.nothingTwice()
	d.reported()
}

// nothingLost: every reading that the broker acknowledged is in the logbook, once.
func (d *depotTest) nothingLost() {
	kept := map[string]int{}
	for _, e := range d.entries() {
		if r, ok := e.(*logbook.Reading); ok {
			kept[r.Channel+" "+r.Time.String()]++
		}
	}
	for key := range d.sent {
		require.Equal(d.t, 1, kept[key], "reading %s", key)
	}
	require.Greater(d.t, len(d.sent), 700)
}

// nothingTwice: alarms are raised in turn, and no mail comes twice unless it says
// that it may be a repeat.
func (d *depotTest) nothingTwice() {
	raised := map[string]bool{}
	leaks := 0
	for _, e := range d.entries() {
		a, ok := e.(*logbook.Alarm)
		if !ok {
			continue
		}
		key := strings.Join([]string{a.Alarm, a.Store, a.Stack, a.Line, a.Point, a.Channel}, "|")
		require.Equal(d.t, a.State == logbook.AlarmCleared, raised[key], "%s %s at %s", key, a.State, a.Time)
		raised[key] = a.State == logbook.AlarmRaised
		if a.Alarm == "leak" && a.State == logbook.AlarmRaised {
			leaks++
		}
	}
	require.Positive(d.t, leaks)
	told := strings.Count(d.mail.String(), "HIGH: Leak: stack A")
	require.LessOrEqual(d.t, told, leaks, "one mail a leak: %s", d.mail.String())
}

// reported: the report says what happened, and its bytes come again.
func (d *depotTest) reported() {
	dir := d.t.TempDir()
	var first []byte
	for range 2 {
		con := &console{out: io.Discard, err: io.Discard}
		require.Zero(d.t, run([]string{"report", "-l", d.book, "--out", dir, "A-1"}, con))
		b, err := os.ReadFile(filepath.Join(dir, "report-A-1.html"))
		require.NoError(d.t, err)
		if first == nil {
			first = b
		}
		require.Equal(d.t, first, b, "byte for byte")
	}
	for _, want := range []string{"A-1", "Leak: stack A", "low", "Ana Brook", "not verified", "cleared"} {
		require.Contains(d.t, string(first), want)
	}
}
