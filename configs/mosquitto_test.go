package configs

import (
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"undersheet/peer"

	paho "github.com/eclipse/paho.mqtt.golang"
	"github.com/stretchr/testify/require"
)

// broker is a real mosquitto with the shipped configuration.
type broker struct {
	t    *testing.T
	conf string
	addr string
	cmd  *exec.Cmd
}

// newBroker writes the shipped file with port and paths replaced; a password file
// of its own lets "gateway" and "undersheet" in.
func newBroker(t *testing.T) *broker {
	passwd := peer.Need(t, "mosquitto_passwd", "mosquitto")
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer l.Close()
	_, port, err := net.SplitHostPort(l.Addr().String())
	require.NoError(t, err)
	dir := t.TempDir()
	b := &broker{t: t, addr: l.Addr().String()}
	users := written(t, dir, "passwd", "")
	for _, name := range []string{"gateway", "undersheet"} {
		out, err := exec.Command(passwd, "-b", users, name, "under test").CombinedOutput()
		require.NoError(t, err, string(out))
	}
	own := ""
	if os.Geteuid() == 0 { // mosquitto gives root up for an account that could not write here
		own = "\nuser root\n"
	}
	b.conf = written(t, dir, "mosquitto.conf", own+shippedText(t, "mosquitto/mosquitto.conf",
		"listener 1883 127.0.0.1", "listener "+port+" 127.0.0.1", "/etc/mosquitto/passwd", users, "persistence_location /var/lib/mosquitto/", "persistence_location "+dir+"/"))
	return b
}

func (b *broker) start() {
	b.cmd = exec.Command(peer.Need(b.t, "mosquitto", "mosquitto"), "-c", b.conf)
	require.NoError(b.t, b.cmd.Start())
	cmd := b.cmd
	b.t.Cleanup(func() { _ = cmd.Process.Kill(); _ = cmd.Wait() })
	require.Eventually(b.t, func() bool {
		c, err := net.Dial("tcp", b.addr)
		if err == nil {
			c.Close()
		}
		return err == nil
	}, 20*time.Second, 20*time.Millisecond, "mosquitto did not come up with the shipped file")
}

// kill ends the broker as a power cut does, save for what the kernel still holds.
func (b *broker) kill() {
	require.NoError(b.t, b.cmd.Process.Kill())
	require.Error(b.t, b.cmd.Wait())
}

func (b *broker) options(user string) *paho.ClientOptions {
	return paho.NewClientOptions().AddBroker("tcp://" + b.addr).SetClientID(user).SetUsername(user).SetPassword("under test").
		SetCleanSession(false).SetAutoReconnect(false).SetConnectTimeout(10 * time.Second)
}

func (b *broker) connect(o *paho.ClientOptions) paho.Client {
	c := paho.NewClient(o)
	require.NoError(b.t, done(c.Connect()))
	return c
}

func done(t paho.Token) error {
	if !t.WaitTimeout(20 * time.Second) {
		return fmt.Errorf("no answer")
	}
	return t.Error()
}

// TestBrokerLosesNothing: while the program is away, a gateway publishes and the
// broker is killed (SIGKILL) amid its work, three times. A message that it has
// acknowledged (PUBACK of MQTT 3.1.1, section 3.4) reaches the program when it is
// back, unless it is the newest of its writer: mosquitto 2.0 saves after it has
// acknowledged, before it takes the next packet of that connection, and this test
// kills it right in between. So a gateway that keeps a reading until the one after
// it is acknowledged too, or repeats its newest when it connects again, loses
// nothing. The power of the machine was not cut.
func TestBrokerLosesNothing(t *testing.T) {
	b := newBroker(t)
	b.start()
	c := b.connect(b.options("undersheet"))
	require.NoError(t, done(c.Subscribe("depot/#", 1, nil)))
	c.Disconnect(100)
	var kept, newest []string
	for round := range 3 {
		k, n := b.publishAndKill(round)
		kept, newest = append(kept, k...), append(newest, n...)
		b.start()
	}
	require.Greater(t, len(kept), 500)
	var mu sync.Mutex
	came := map[string]bool{}
	o := b.options("undersheet").SetDefaultPublishHandler(func(_ paho.Client, m paho.Message) {
		mu.Lock()
		defer mu.Unlock()
		came[string(m.Payload())] = true
	})
	c = b.connect(o)
	defer c.Disconnect(100)
	lost := func(of []string) (n int) {
		mu.Lock()
		defer mu.Unlock()
		for _, m := range of {
			if !came[m] {
				n++
			}
		}
		return n
	}
	require.Eventually(t, func() bool { return lost(kept) == 0 }, 30*time.Second, 20*time.Millisecond, "acknowledged messages did not arrive")
	t.Logf("of %d acknowledged messages %d were lost, each the newest of its writer at a kill", len(kept)+len(newest), lost(newest))
}

// publishAndKill publishes from several goroutines and kills the broker when some
// hundred messages are acknowledged, with others under way. It returns those that
// were acknowledged, and apart from them the newest one of each writer.
func (b *broker) publishAndKill(round int) (kept, newest []string) {
	const writers, enough = 4, 250
	c := b.connect(b.options("gateway"))
	defer c.Disconnect(0)
	var mu sync.Mutex
	var wg sync.WaitGroup
	full, dead := make(chan struct{}), make(chan struct{})
	acked, last := 0, make([]string, writers)
	for w := range writers {
		wg.Go(func() {
			for i := 0; ; i++ {
				text := fmt.Sprintf("round %d writer %d message %d", round, w, i)
				tok := c.Publish("depot/line", 1, false, text)
				select {
				case <-tok.Done():
				case <-dead:
					return
				}
				if tok.Error() != nil {
					return
				}
				mu.Lock()
				if last[w] != "" {
					kept = append(kept, last[w])
				}
				last[w] = text
				if acked++; acked == enough {
					close(full)
				}
				mu.Unlock()
			}
		})
	}
	select {
	case <-full:
	case <-time.After(60 * time.Second):
		b.t.Error("the broker did not acknowledge enough")
	}
	b.kill()
	close(dead)
	wg.Wait()
	return kept, last
}

// TestBrokerRefusesStrangers: nobody without a name and password, and only from
// this machine.
func TestBrokerRefusesStrangers(t *testing.T) {
	b := newBroker(t)
	b.start()
	require.Error(t, done(paho.NewClient(b.options("gateway").SetUsername("").SetPassword("").SetConnectRetry(false)).Connect()))
	require.Error(t, done(paho.NewClient(b.options("gateway").SetPassword("guessed")).Connect()))
	require.NotRegexp(t, `(?m)^listener \d+\s*$`, shippedText(t, "mosquitto/mosquitto.conf"), "no listener on every address unless somebody wants it")
}

// TestAccessList: mosquitto takes the example list, and a gateway cannot write
// what is not its own.
func TestAccessList(t *testing.T) {
	b := newBroker(t)
	acl := written(t, t.TempDir(), "acl", shippedText(t, "mosquitto/acl.example", "user gateway-long-store", "user gateway"))
	text, err := os.ReadFile(b.conf)
	require.NoError(t, err)
	b.conf = written(t, filepath.Dir(b.conf), "with-acl.conf", string(text)+"\nacl_file "+acl+"\n")
	b.start()
	got := make(chan string, 4) // three messages at most are published
	c := b.connect(b.options("undersheet").SetDefaultPublishHandler(func(_ paho.Client, m paho.Message) { got <- string(m.Payload()) }))
	defer c.Disconnect(100)
	require.NoError(t, done(c.Subscribe("depot/#", 1, nil)))
	for _, m := range [][2]string{{"depot/long-store/top", "its own"}, {"depot/round-store/top", "another's"}, {"depot/long-store/top", "its own again"}} {
		g := b.connect(b.options("gateway"))
		err := done(g.Publish(m[0], 1, false, m[1]))
		require.True(t, err == nil || m[1] == "another's", "%s: %v", m[1], err)
		g.Disconnect(100)
	}
	for _, want := range []string{"its own", "its own again"} {
		select {
		case m := <-got:
			require.Equal(t, want, m)
		case <-time.After(20 * time.Second):
			t.Fatalf("%q did not arrive", want)
		}
	}
}

// TestBrokerIsBounded: what waits for an absent program is bounded by bytes, and
// not by a number of messages.
func TestBrokerIsBounded(t *testing.T) {
	const bound, size, sent = 40_000, 100, 1000
	b := newBroker(t)
	text, err := os.ReadFile(b.conf)
	require.NoError(t, err)
	require.Contains(t, string(text), "\nmax_queued_bytes 16777216\n")
	b.conf = written(t, filepath.Dir(b.conf), "small.conf", strings.ReplaceAll(string(text), "max_queued_bytes 16777216", fmt.Sprint("max_queued_bytes ", bound)))
	b.start()
	c := b.connect(b.options("undersheet"))
	require.NoError(t, done(c.Subscribe("depot/#", 1, nil)))
	c.Disconnect(100)
	g := b.connect(b.options("gateway"))
	for i := range sent {
		require.NoError(t, done(g.Publish("depot/line", 1, false, fmt.Sprintf("%0*d", size, i))))
	}
	g.Disconnect(100)
	came, last := make(chan int, 2*sent), "the last one" // room for all
	c = b.connect(b.options("undersheet").SetDefaultPublishHandler(func(_ paho.Client, m paho.Message) {
		n, err := strconv.Atoi(string(m.Payload()))
		if err != nil {
			n = -1
		}
		came <- n
	}))
	defer c.Disconnect(100)
	require.Eventually(t, func() bool { return len(came) >= 150 }, 20*time.Second, 10*time.Millisecond, "more than mosquitto's usual bound of 100 messages")
	g = b.connect(b.options("gateway"))
	defer g.Disconnect(100)
	require.NoError(t, done(g.Publish("depot/line", 1, false, last)))
	n := 0
	for m := range came {
		if m < 0 {
			break
		}
		require.Equal(t, n, m, "the oldest are kept, in order")
		n++
	}
	require.InDelta(t, bound/size, n, 25, "and no more than the bound; some are in flight")
}
