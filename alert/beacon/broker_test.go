package beacon

import (
	"fmt"
	"io"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"undersheet/peer"

	paho "github.com/eclipse/paho.mqtt.golang"
	"github.com/stretchr/testify/require"
)

// patience is how long a test waits for what must happen.
const patience = 15 * time.Second

// eventually waits until ok holds.
func eventually(t *testing.T, ok func() bool, what string, args ...any) {
	t.Helper()
	require.Eventually(t, ok, patience, 5*time.Millisecond, fmt.Sprintf(what, args...))
}

// mosquitto is a broker process of Debian package mosquitto.
type mosquitto struct {
	t    *testing.T
	conf string
	port int
	cmd  *exec.Cmd
}

// freePort returns a port of 127.0.0.1 that nobody listens on.
func freePort(t *testing.T) int {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer l.Close()
	return l.Addr().(*net.TCPAddr).Port
}

// startMosquitto starts the broker with more lines of configuration; it saves
// what is retained at each change.
func startMosquitto(t *testing.T, lines ...string) *mosquitto {
	t.Helper()
	peer.Need(t, "mosquitto", "mosquitto")
	dir := t.TempDir()
	m := &mosquitto{t: t, conf: filepath.Join(dir, "mosquitto.conf"), port: freePort(t)}
	conf := append([]string{fmt.Sprintf("listener %d 127.0.0.1", m.port), "persistence true", "persistence_location " + dir + "/",
		"autosave_on_changes true", "autosave_interval 1"}, lines...)
	if os.Getuid() == 0 {
		conf = append(conf, "user root")
	}
	if !strings.Contains(strings.Join(lines, "\n"), "allow_anonymous") {
		conf = append(conf, "allow_anonymous true")
	}
	require.NoError(t, os.WriteFile(m.conf, []byte(strings.Join(conf, "\n")+"\n"), 0o600))
	m.start()
	t.Cleanup(m.kill)
	return m
}

func (m *mosquitto) start() {
	m.t.Helper()
	m.cmd = exec.Command(peer.Need(m.t, "mosquitto", "mosquitto"), "-c", m.conf)
	m.cmd.SysProcAttr = &syscall.SysProcAttr{Pdeathsig: syscall.SIGKILL}
	require.NoError(m.t, m.cmd.Start())
	eventually(m.t, func() bool {
		c, err := net.Dial("tcp", m.host())
		if err == nil {
			c.Close()
		}
		return err == nil
	}, "mosquitto listens")
}

// kill ends the broker at once (SIGKILL).
func (m *mosquitto) kill() {
	if m.cmd == nil {
		return
	}
	_ = m.cmd.Process.Kill()
	_ = m.cmd.Wait()
	m.cmd = nil
}

// forget removes what the broker has saved.
func (m *mosquitto) forget() {
	_ = os.Remove(filepath.Join(filepath.Dir(m.conf), "mosquitto.db"))
}

func (m *mosquitto) host() string { return fmt.Sprintf("127.0.0.1:%d", m.port) }

func (m *mosquitto) address() string { return "tcp://" + m.host() }

// panel is another program at the broker: it sees every message, and can publish.
type panel struct {
	t  *testing.T
	c  paho.Client
	mu sync.Mutex
	// all that came since it is there: topic, payload, marked retained, quality of service
	came  []paho.Message
	marks int
}

// newPanel connects and waits until all that is retained has come.
func newPanel(t *testing.T, address string) *panel {
	t.Helper()
	p := &panel{t: t}
	o := paho.NewClientOptions().AddBroker(address).SetClientID(fmt.Sprintf("panel-%d", time.Now().UnixNano())).SetUsername("panel").SetProtocolVersion(4)
	o.SetAutoReconnect(false).SetDefaultPublishHandler(func(_ paho.Client, m paho.Message) {
		p.mu.Lock()
		defer p.mu.Unlock()
		if m.Topic() == "mark" {
			p.marks++
			return
		}
		p.came = append(p.came, m)
	})
	p.c = paho.NewClient(o)
	p.done(p.c.Connect())
	t.Cleanup(func() { p.c.Disconnect(50) })
	p.done(p.c.Subscribe("#", 1, nil))
	p.sync()
	return p
}

func (p *panel) done(token paho.Token) {
	p.t.Helper()
	require.True(p.t, token.WaitTimeout(patience))
	require.NoError(p.t, token.Error())
}

// sync waits until everything that was published before has come.
func (p *panel) sync() {
	p.t.Helper()
	p.mu.Lock()
	was := p.marks
	p.mu.Unlock()
	p.done(p.c.Publish("mark", 1, false, "x"))
	eventually(p.t, func() bool { p.mu.Lock(); defer p.mu.Unlock(); return p.marks > was }, "the mark comes back")
}

func (p *panel) publish(topic, payload string) {
	p.t.Helper()
	p.done(p.c.Publish(topic, 1, true, payload))
}

// last returns what stands on a topic, as far as it came; "" = nothing.
func (p *panel) last(topic string) string {
	all := p.payloads(topic)
	if len(all) == 0 {
		return ""
	}
	return all[len(all)-1]
}

// payloads returns what came on a topic, in order.
func (p *panel) payloads(topic string) []string {
	p.mu.Lock()
	defer p.mu.Unlock()
	var all []string
	for _, m := range p.came {
		if m.Topic() == topic {
			all = append(all, string(m.Payload()))
		}
	}
	return all
}

// standing returns what is retained at the broker now, as a newcomer sees it.
func standing(t *testing.T, address string) map[string]string {
	t.Helper()
	p := newPanel(t, address)
	defer p.c.Disconnect(50)
	p.mu.Lock()
	defer p.mu.Unlock()
	got := map[string]string{}
	for _, m := range p.came {
		if m.Retained() {
			got[m.Topic()] = string(m.Payload())
		}
	}
	return got
}

// wire carries connections to a broker until it is cut.
type wire struct {
	l     net.Listener
	to    string
	mu    sync.Mutex
	conns []net.Conn
	down  bool
}

func newWire(t *testing.T, to string) *wire {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	w := &wire{l: l, to: to}
	go func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			w.carry(c)
		}
	}()
	t.Cleanup(func() { l.Close(); w.set(true) })
	return w
}

func (w *wire) carry(c net.Conn) {
	far, err := net.Dial("tcp", w.to)
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.down || err != nil {
		c.Close()
		if err == nil {
			far.Close()
		}
		return
	}
	w.conns = append(w.conns, c, far)
	go func() { _, _ = io.Copy(far, c) }()
	go func() { _, _ = io.Copy(c, far) }()
}

// set cuts the wire without a word to either side's program, or mends it.
func (w *wire) set(down bool) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.down = down
	if down {
		for _, c := range w.conns {
			c.Close()
		}
		w.conns = nil
	}
}

func (w *wire) address() string { return "tcp://" + w.l.Addr().String() }
