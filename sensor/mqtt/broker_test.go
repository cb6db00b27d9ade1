package mqtt_test

import (
	"fmt"
	"io"
	"log/slog"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"undersheet/peer"

	paho "github.com/eclipse/paho.mqtt.golang"
	broker "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/listeners"
	"github.com/mochi-mqtt/server/v2/packets"
	"github.com/stretchr/testify/require"
)

// patience is how long a test waits for what must happen.
const patience = 15 * time.Second

// eventually waits until ok holds.
func eventually(t *testing.T, ok func() bool, what string, args ...any) {
	t.Helper()
	require.Eventually(t, ok, patience, 5*time.Millisecond, fmt.Sprintf(what, args...))
}

// freePort returns a port of 127.0.0.1 that nobody listens on.
func freePort(t *testing.T) int {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer l.Close()
	return l.Addr().(*net.TCPAddr).Port
}

// allowAll lets everybody do everything but read the topic "secret".
type allowAll struct{ broker.HookBase }

func (*allowAll) ID() string { return "allow-all" }

func (*allowAll) Provides(b byte) bool {
	return b == broker.OnConnectAuthenticate || b == broker.OnACLCheck
}

func (*allowAll) OnConnectAuthenticate(*broker.Client, packets.Packet) bool { return true }

func (*allowAll) OnACLCheck(_ *broker.Client, topic string, _ bool) bool { return topic != "secret" }

// inProcess starts a broker in this process and returns its address. It keeps
// everything in memory.
func inProcess(t *testing.T) string {
	t.Helper()
	s := broker.New(&broker.Options{InlineClient: false, Logger: slog.New(slog.NewTextHandler(io.Discard, nil))})
	require.NoError(t, s.AddHook(new(allowAll), nil))
	port := freePort(t)
	require.NoError(t, s.AddListener(listeners.NewTCP(listeners.Config{ID: "t", Address: fmt.Sprintf("127.0.0.1:%d", port)})))
	require.NoError(t, s.Serve())
	t.Cleanup(func() { _ = s.Close() })
	return fmt.Sprintf("tcp://127.0.0.1:%d", port)
}

// mosquitto is a broker process of Debian package mosquitto.
type mosquitto struct {
	t    *testing.T
	conf string
	port int
	cmd  *exec.Cmd
	tls  bool
}

// startMosquitto starts the broker with more lines of configuration.
func startMosquitto(t *testing.T, lines ...string) *mosquitto {
	t.Helper()
	peer.Need(t, "mosquitto", "mosquitto")
	dir := t.TempDir()
	m := &mosquitto{t: t, conf: filepath.Join(dir, "mosquitto.conf"), port: freePort(t)}
	conf := append([]string{fmt.Sprintf("listener %d 127.0.0.1", m.port), "persistence true", "persistence_location " + dir + "/"}, lines...)
	if os.Getuid() == 0 {
		conf = append(conf, "user root")
	}
	if !strings.Contains(strings.Join(lines, "\n"), "allow_anonymous") {
		conf = append(conf, "allow_anonymous true")
	}
	m.tls = strings.Contains(strings.Join(lines, "\n"), "certfile")
	require.NoError(t, os.WriteFile(m.conf, []byte(strings.Join(conf, "\n")+"\n"), 0o600))
	m.start()
	t.Cleanup(m.stop)
	return m
}

func (m *mosquitto) start() {
	m.t.Helper()
	m.cmd = exec.Command(peer.Need(m.t, "mosquitto", "mosquitto"), "-c", m.conf)
	require.NoError(m.t, m.cmd.Start())
	eventually(m.t, func() bool {
		c, err := net.Dial("tcp", fmt.Sprintf("127.0.0.1:%d", m.port))
		if err == nil {
			c.Close()
		}
		return err == nil
	}, "mosquitto listens")
}

// stop ends the broker, which saves its sessions.
func (m *mosquitto) stop() {
	if m.cmd == nil {
		return
	}
	_ = m.cmd.Process.Signal(syscall.SIGTERM)
	_ = m.cmd.Wait()
	m.cmd = nil
}

func (m *mosquitto) address() string {
	scheme := "tcp"
	if m.tls {
		scheme = "tls"
	}
	return fmt.Sprintf("%s://127.0.0.1:%d", scheme, m.port)
}

// onBrokers runs a test on each broker there is.
func onBrokers(t *testing.T, f func(t *testing.T, address string)) {
	t.Run("in process", func(t *testing.T) { f(t, inProcess(t)) })
	t.Run("mosquitto", func(t *testing.T) { f(t, startMosquitto(t).address()) })
}

// publisher is an instrument.
type publisher struct {
	t *testing.T
	c paho.Client
}

func newPublisher(t *testing.T, address string) *publisher {
	t.Helper()
	c := paho.NewClient(paho.NewClientOptions().AddBroker(address).SetClientID(fmt.Sprintf("instrument-%d", time.Now().UnixNano())).SetProtocolVersion(4))
	token := c.Connect()
	require.True(t, token.WaitTimeout(patience))
	require.NoError(t, token.Error())
	t.Cleanup(func() { c.Disconnect(100) })
	return &publisher{t, c}
}

func (p *publisher) publish(topic string, retained bool, payload []byte) {
	p.t.Helper()
	token := p.c.Publish(topic, 1, retained, payload)
	require.True(p.t, token.WaitTimeout(patience))
	require.NoError(p.t, token.Error())
}
