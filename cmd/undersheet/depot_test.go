package main

import (
	"bufio"
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"io"
	"iter"
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

	"undersheet/alert/sms/modem"
	"undersheet/logbook"
	"undersheet/logbook/sqlite"
	"undersheet/logbook/sqlite/door"
	"undersheet/peer"
	"undersheet/sensor/sim"
)

// How long a test waits for what must come, and how often it looks.
const (
	patience = time.Minute
	tick     = 20 * time.Millisecond
)

// depotTest is a whole depot on real wires, and a daemon in a process of its own.
type depotTest struct {
	t       *testing.T
	depot   *sim.Depot
	client  paho.Client
	site    string // path of the site file
	book    string // path of the logbook
	at      time.Time
	mail    *mailbox
	modem   *modem.Modem
	paper   *sim.Printer
	hook    *hookServer
	sent    map[string]bool        // "channel time" that the broker acknowledged
	polled  map[string]bool        // "channel time" on the serial line that was folded
	acts    map[uint64]door.Answer // acts that the daemon answered, by seq
	child   *exec.Cmd
	stdin   io.WriteCloser
	answers *bufio.Scanner
}

var e2eStart = time.Date(2026, 5, 4, 6, 0, 0, 0, time.UTC)

const e2eStep = 20 * time.Minute

var (
	e2eRack = []string{"top", "middle", "door"} // on the serial line
	e2eMQTT = []string{"low", "gangway"}        // on the broker

	e2ePaper = []sim.Printed{{Name: "FLOW", Channel: "flow", Unit: "LPM"}, {Name: "EAST", Channel: "contact", Unit: "BOOL"}, {Name: "MAINS", Channel: "mains", Unit: "BOOL"}}
)

func newDepotTest(t *testing.T) *depotTest {
	d := &depotTest{t: t, at: e2eStart, sent: map[string]bool{}, polled: map[string]bool{}, acts: map[uint64]door.Answer{},
		depot: sim.NewDepot(e2eStart, 7), mail: newMailbox(t), hook: newHookServer(t)}
	d.depot.AddStore("Store 1", sim.Store{Air: []sim.Air{{Channel: "door", Share: 0.3}, {Channel: "gangway", Share: 1}}})
	d.depot.AddSheet("A", sim.Sheet{Store: "Store 1", Yield: 1500, Release: 1.2, Lag: 2 * time.Hour, Loss: 0.14, Sorb: 0.1,
		Lines: map[string]float64{"top": 0.98, "middle": 1.01, "low": 1.02}})
	for channel, value := range map[string]float64{"flow": 1.2, "contact": 0, "mains": 1} {
		d.depot.Set(channel, value)
	}
	d.depot.Advance(e2eStart.Add(time.Second))
	dir := t.TempDir()
	ctx, cancel := context.WithCancel(context.Background())
	line := &sim.Line{Depot: d.depot, Units: map[byte][]string{1: e2eRack}}
	device, err := line.Open()
	require.NoError(t, err)
	d.modem, err = modem.New(modem.Options{PIN: "4711", Missing: []string{"+CPINR"}})
	require.NoError(t, err)
	d.paper = &sim.Printer{Depot: d.depot, Values: e2ePaper}
	printer, err := d.paper.Open()
	require.NoError(t, err)
	pin := filepath.Join(dir, "pin")
	require.NoError(t, os.WriteFile(pin, []byte("4711\n"), 0o600))
	t.Setenv("E2E_HOOK_SECRET", hookSecret)
	var wg sync.WaitGroup
	wg.Go(func() { line.Run(ctx) })
	wg.Go(func() { d.modem.Run(ctx) })
	t.Cleanup(func() { cancel(); wg.Wait() })
	url := startMosquitto(t, dir)
	d.client = paho.NewClient(paho.NewClientOptions().AddBroker(url).SetClientID("gateway"))
	require.NoError(t, wait(d.client.Connect()))
	t.Cleanup(func() { d.client.Disconnect(100) })
	d.site, d.book = filepath.Join(dir, "site.yaml"), filepath.Join(dir, "depot.db")
	require.NoError(t, os.WriteFile(d.site, fmt.Appendf(nil, e2eSite, device, url, d.mail.port(), printer, d.modem.Device(), pin, d.hook.url()), 0o600))
	return d
}

// e2eSite is an invented depot.
const e2eSite = `site: Alder Wharf
timezone: Europe/Lisbon
limits: EU
logbook: depot.db
emergency: "Call 112."
mail: {host: 127.0.0.1, port: %[3]d, from: depot@alder.example, tls: none}
sms: {port: %[5]s, pin_file: %[6]s}
people: [{name: Ana Brook, email: ana.brook@alder.example, phone: "+351900000003", from: medium}]
webhooks: [{name: duty room, url: %[7]s, secret_env: E2E_HOOK_SECRET}]
beacon: {broker: "%[2]s", topic: beacon}
forward: [{name: archive, file: depot.lp}]
instruments:
  - name: rack
    modbus:
      port: %[1]s
      baud: 115200
      parity: none
      units:
        - {address: 1, every: 20m, timeout: 2s, retries: 3, registers: [{channel: top, register: 0, type: float32}, {channel: middle, register: 2, type: float32}, {channel: door, register: 4, type: float32}]}
  - name: printer
    frames: {port: %[4]s, pattern: '^(?P<channel>\w+) (?P<value>[0-9.]+) (?P<unit>\w+) (?P<status>\w+)$', channels: {FLOW: flow, EAST: contact, MAINS: mains}, units: {LPM: L/min, BOOL: state}, every: 20m}
  - name: gateway
    mqtt: {broker: "%[2]s", sources: [{topic: depot/+, payload: senml, channel: "{2}"}]}
channels:
  top: {unit: ppm, range: 2000, resolution: 1, detection_limit: 1, accuracy: 0.05}
  middle: {unit: ppm, range: 2000, resolution: 1, detection_limit: 1, accuracy: 0.05}
  low: {unit: ppm, range: 2000, resolution: 1, detection_limit: 1, accuracy: 0.05}
  door: {unit: ppm, range: 20, resolution: 0.01, detection_limit: 0.02, accuracy: 0.1}
  gangway: {unit: ppm, range: 20, resolution: 0.01, detection_limit: 0.02, accuracy: 0.1}
  flow: {unit: L/min, every: 20m}
  contact: {unit: state, every: 20m}
  mains: {unit: state, every: 20m}
mains: [{name: mains, channel: mains}]
pumps: [{name: pump, channel: flow, flow: 1.2, draws: [top, middle, low], returns: outside}]
stores:
  - name: Store 1
    air: [{name: door, channel: door, where: door}, {name: gangway, channel: gangway}]
    doors: [{name: east door, channel: contact}]
    stacks: [{name: A, lines: [{name: top, channel: top}, {name: middle, channel: middle}, {name: low, channel: low}]}]
`

// startMosquitto starts a real broker that keeps sessions, on a port of its own.
func startMosquitto(t *testing.T, dir string) string {
	bin := peer.Need(t, "mosquitto", "mosquitto")
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
	}, patience, tick, "mosquitto did not come up")
	return "tcp://" + addr
}

func wait(tok paho.Token) error {
	if !tok.WaitTimeout(patience) {
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
	timer := time.AfterFunc(patience, func() { d.child.Process.Kill() }) // nothing waits for ever
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
		d.publishOne(ch, v, d.at)
	}
}

func (d *depotTest) publishOne(ch string, v float64, at time.Time) {
	b, err := json.Marshal([]map[string]any{{"n": ch, "u": "ppm", "v": v, "t": at.Unix()}})
	require.NoError(d.t, err)
	require.NoError(d.t, wait(d.client.Publish("depot/"+ch, 1, false, b)))
	d.sent[ch+" "+logbook.At(at).String()] = true
}

// until lets depot time pass to at, one poll after the other.
func (d *depotTest) until(at time.Time) {
	for d.at.Before(at) {
		d.poll()
		d.printed()
		for _, ch := range e2eRack {
			d.polled[ch+" "+logbook.At(d.at).String()] = true
		}
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

// printed waits until all was folded. Meanwhile the instrument prints again and
// again: a reader that has just opened the line throws away what stood on it.
func (d *depotTest) printed() {
	done := make(chan struct{})
	var wg sync.WaitGroup
	wg.Go(func() {
		for again := time.Tick(time.Second); ; {
			if err := d.paper.Print(); err != nil {
				d.t.Error(err)
				return
			}
			select {
			case <-again:
			case <-done:
				return
			}
		}
	})
	d.expect("folded")
	close(done)
	wg.Wait()
}

// kill ends the daemon as a power cut does.
func (d *depotTest) kill() {
	require.NoError(d.t, d.child.Process.Kill()) // SIGKILL
	require.Error(d.t, d.child.Wait())
}

// killAtWork kills the daemon when it has work that it cannot commit yet: what it
// has received by then is only in its memory. The broker goes on without it for
// one poll.
func (d *depotTest) killAtWork() {
	d.poll()
	db, err := sql.Open("sqlite", "file:"+d.book+"?_txlock=immediate&_pragma=busy_timeout(60000)")
	require.NoError(d.t, err)
	defer db.Close()
	tx, err := db.Begin() // from here on nothing can be committed
	require.NoError(d.t, err)
	defer tx.Rollback()
	for i := range 200 { // what a gateway sends that was cut off for a while
		d.publishOne("gangway", 0.01, d.at.Add(time.Duration(i-300)*time.Second))
	}
	d.kill()
	d.at = d.at.Add(e2eStep)
	d.depot.Advance(d.at)
	d.publish()
}

// act hands an act over by the socket, and returns the verdict.
func (d *depotTest) act(act string) door.Answer {
	e, err := entryOf(act, d.at)
	require.NoError(d.t, err)
	ctx, cancel := context.WithTimeout(context.Background(), patience)
	defer cancel()
	c, err := door.Dial(ctx, sqlite.SocketPath(d.book))
	require.NoError(d.t, err, act)
	a, err := sendByDoor(ctx, c, e)
	require.NoError(d.t, err, act)
	d.acts[a.Seq] = a
	return a
}

func (d *depotTest) accepted(act string) {
	require.Equal(d.t, logbook.KindAccepted, d.act(act).Verdict, act)
}

// export returns the logbook as the command writes it, and its entries.
func (d *depotTest) export() (string, []logbook.Entry) {
	status, out, errs := tried(d.t, "", "export", d.book)
	require.Zero(d.t, status, errs)
	var es []logbook.Entry
	for e, err := range entriesIn(out) {
		require.NoError(d.t, err)
		es = append(es, e)
	}
	return out, es
}

// entriesIn yields the entries of a text.
func entriesIn(text string) iter.Seq2[logbook.Entry, error] {
	return func(yield func(logbook.Entry, error) bool) {
		for r := logbook.NewReader("text", strings.NewReader(text)); ; {
			e, err := r.Next()
			if err == io.EOF || !yield(e, err) || err != nil {
				return
			}
		}
	}
}

// gate returns the newest gate state of the store.
func (d *depotTest) gate() string {
	state := ""
	_, es := d.export()
	for _, e := range es {
		if g, ok := e.(*logbook.Gate); ok {
			state = g.State
		}
	}
	return state
}
