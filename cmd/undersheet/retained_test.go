package main

import (
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
	"github.com/stretchr/testify/require"

	"undersheet/logbook"
	"undersheet/peer"
)

// retainedSite has a door whose payloads hold no time and a gangway whose payloads do.
const retainedSite = `site: Alder Wharf
timezone: UTC
limits: EU
logbook: depot.db
emergency: "Call 112."
instruments:
  - name: gateway
    mqtt:
      broker: %s
      sources:
        - {topic: depot/door, payload: number, channel: door}
        - {topic: depot/gangway, payload: json, channel: gangway, value: ppm, time: at, time_unit: s}
channels:
  top: {unit: ppm, range: 2000, resolution: 1, detection_limit: 1, accuracy: 0.05}
  door: {unit: ppm, range: 20, resolution: 0.01, detection_limit: 0.02, accuracy: 0.1}
  gangway: {unit: ppm, range: 20, resolution: 0.01, detection_limit: 0.02, accuracy: 0.1}
stores:
  - name: Store 1
    air: [{name: door, channel: door, where: door}, {name: gangway, channel: gangway}]
    stacks: [{name: A, lines: [{name: top, channel: top}]}]
`

// keeper is a real broker that keeps retained messages and sessions over its restarts.
type keeper struct {
	t          *testing.T
	conf, addr string
	cmd        *exec.Cmd
}

func newKeeper(t *testing.T) *keeper {
	peer.Need(t, "mosquitto", "mosquitto")
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	dir, addr := t.TempDir(), l.Addr().String()
	require.NoError(t, l.Close())
	_, port, _ := net.SplitHostPort(addr)
	k := &keeper{t: t, conf: filepath.Join(dir, "mosquitto.conf"), addr: addr}
	conf := fmt.Sprintf("listener %s 127.0.0.1\nallow_anonymous true\npersistence true\npersistence_location %s/\n", port, dir)
	if os.Getuid() == 0 {
		conf += "user root\n"
	}
	require.NoError(t, os.WriteFile(k.conf, []byte(conf), 0o600))
	k.start()
	t.Cleanup(k.stop)
	return k
}

func (k *keeper) start() {
	k.cmd = exec.Command(peer.Need(k.t, "mosquitto", "mosquitto"), "-c", k.conf)
	require.NoError(k.t, k.cmd.Start())
	require.Eventually(k.t, func() bool {
		c, err := net.Dial("tcp", k.addr)
		if err == nil {
			c.Close()
		}
		return err == nil
	}, patience, tick, "mosquitto did not come up")
}

// stop ends the broker, which saves what it keeps.
func (k *keeper) stop() {
	_ = k.cmd.Process.Signal(syscall.SIGTERM)
	_ = k.cmd.Wait()
}

// publish sends what an instrument sends that always asks the broker to keep its newest value.
func (k *keeper) publish(topic, payload string) {
	k.t.Helper()
	c := paho.NewClient(paho.NewClientOptions().AddBroker("tcp://" + k.addr).SetClientID("instrument"))
	require.NoError(k.t, wait(c.Connect()))
	require.NoError(k.t, wait(c.Publish(topic, 1, true, payload)))
	c.Disconnect(100)
}

// readings are those of a channel, oldest first.
func (p *process) readings(channel string) (rs []*logbook.Reading) {
	for _, e := range p.entries() {
		if r, ok := e.(*logbook.Reading); ok && r.Channel == channel {
			rs = append(rs, r)
		}
	}
	return rs
}

// connected is how often the connection for some topics has come.
func (p *process) connected(topics string) (n int) {
	for _, e := range p.entries() {
		if s, ok := e.(*logbook.InstrumentState); ok && s.Unit == topics && s.OK {
			n++
		}
	}
	return n
}

// What a broker has kept says nothing of the air now, whether it holds a time or not, and however
// often broker and daemon come back: it is on record as kept, and the gate goes on asking for a
// reading. What comes from the same instrument while the daemon listens is fresh.
func TestKeptReadingsDoNotCountForTheGate(t *testing.T) {
	k := newKeeper(t)
	k.publish("depot/door", "0.03")
	k.publish("depot/gangway", fmt.Sprintf(`{"ppm":0.04,"at":%d}`, time.Now().Unix()))
	site := write(t, "site.yaml", fmt.Sprintf(retainedSite, "tcp://"+k.addr))
	p := serve(t, site)
	come := func(channel string, n int) {
		t.Helper()
		require.Eventually(t, func() bool { return len(p.readings(channel)) >= n }, patience, 5*tick, "%d of %s", n, channel)
	}
	unread := func() {
		t.Helper()
		for _, channel := range []string{"door", "gangway"} {
			require.False(t, slices.ContainsFunc(p.readings(channel), func(r *logbook.Reading) bool { return !r.Retained }), "each is on record as kept")
		}
		require.Eventually(t, func() bool {
			page := p.page("/store/Store%201")
			return strings.Contains(page, "Nothing has been read at door yet.") && strings.Contains(page, "Nothing has been read at gangway yet.")
		}, patience, 5*tick, "the gate asks for readings")
	}
	listens := func(n int) {
		t.Helper()
		require.Eventually(t, func() bool { return p.connected("timed topics") == n }, patience, 5*tick, "it listens for the gangway, too")
	}
	come("door", 1)
	come("gangway", 1)
	unread()
	k.stop()
	k.start()
	listens(2)
	come("door", 2) // it holds no time: each time it comes it is another entry
	unread()
	p.end(syscall.SIGTERM)
	p = serve(t, site)
	come("door", 3)
	listens(3)
	unread()
	require.Len(t, p.readings("gangway"), 1, "it holds its time: once on record, it is the same")

	k.publish("depot/door", "0.05")
	k.publish("depot/gangway", fmt.Sprintf(`{"ppm":0.06,"at":%d}`, time.Now().Unix()+1))
	for _, channel := range []string{"door", "gangway"} {
		require.Eventually(t, func() bool {
			rs := p.readings(channel)
			return !rs[len(rs)-1].Retained
		}, patience, 5*tick, "%s is fresh", channel)
	}
	require.Eventually(t, func() bool { return !strings.Contains(p.page("/store/Store%201"), "Nothing has been read") }, patience, 5*tick, "the gate has its readings")
}
