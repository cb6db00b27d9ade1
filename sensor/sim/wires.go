package sim

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"log/slog"
	"math"
	"net"
	"slices"
	"time"

	mochi "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/listeners"
	"github.com/mochi-mqtt/server/v2/packets"

	"undersheet/sensor/modbus"
	"undersheet/sensor/modbus/slave"
)

// sortedKeys returns the keys of m, sorted.
func sortedKeys[K cmp.Ordered, V any](m map[K]V) []K {
	keys := make([]K, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	return keys
}

// Line is a serial line whose units hold channels as float32 input registers:
// the channel at place i of a unit's list is at registers 2i and 2i+1, high word
// first.
type Line struct {
	Depot *Depot
	Units map[byte][]string // unit address → channels
	term  *slave.Terminal
}

// Open makes the pseudo-terminal and returns the path that a master opens.
func (l *Line) Open() (device string, err error) {
	l.term, err = slave.OpenTerminal()
	if err != nil {
		return "", fmt.Errorf("open simulated serial line: %w", err)
	}
	return l.term.Name(), nil
}

// Run answers requests until ctx ends.
func (l *Line) Run(ctx context.Context) error {
	return slave.Serve(ctx, l.term, l.answer, slave.Options{})
}

// answer answers a request as the units of the line would.
func (l *Line) answer(q modbus.Request) ([]uint16, error) {
	channels, ok := l.Units[q.Unit]
	if !ok {
		return nil, slave.ErrSilent
	}
	if q.Function != modbus.ReadInput || int(q.Address)+int(q.Count) > 2*len(channels) {
		return nil, modbus.IllegalDataAddress
	}
	all := make([]uint16, 0, 2*len(channels))
	for _, ch := range channels {
		v, err := l.Depot.Read(ch)
		if err != nil {
			return nil, err
		}
		bits := math.Float32bits(float32(v))
		all = append(all, uint16(bits>>16), uint16(bits))
	}
	return all[q.Address : int(q.Address)+int(q.Count)], nil
}

// Broker is an MQTT broker in this process, in memory.
type Broker struct {
	server *mochi.Server
	addr   string
}

// anybody lets every client of this machine in: the broker listens on loopback.
type anybody struct{ mochi.HookBase }

// ID names the hook.
func (*anybody) ID() string { return "anybody" }

// Provides names what the hook answers.
func (*anybody) Provides(b byte) bool {
	return b == mochi.OnConnectAuthenticate || b == mochi.OnACLCheck
}

// OnConnectAuthenticate lets a client in.
func (*anybody) OnConnectAuthenticate(*mochi.Client, packets.Packet) bool { return true }

// OnACLCheck lets a client read and write every topic.
func (*anybody) OnACLCheck(*mochi.Client, string, bool) bool { return true }

// NewBroker listens on a free loopback port.
func NewBroker() (*Broker, error) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return nil, fmt.Errorf("open simulated broker: %w", err)
	}
	s := mochi.New(&mochi.Options{InlineClient: true, Logger: slog.New(slog.DiscardHandler)})
	if err := s.AddHook(new(anybody), nil); err != nil {
		return nil, fmt.Errorf("open simulated broker: %w", err)
	}
	if err := s.AddListener(listeners.NewNet("sim", l)); err != nil {
		return nil, fmt.Errorf("open simulated broker: %w", err)
	}
	return &Broker{server: s, addr: l.Addr().String()}, nil
}

// URL is where clients find the broker.
func (b *Broker) URL() string { return "tcp://" + b.addr }

// Run serves until ctx ends.
func (b *Broker) Run(ctx context.Context) error {
	if err := b.server.Serve(); err != nil {
		return fmt.Errorf("serve simulated broker: %w", err)
	}
	<-ctx.Done()
	return b.server.Close()
}

// Publish sends the reading of each channel as one SenML record under
// depot/<channel>, with its own time.
func (b *Broker) Publish(d *Depot, channels []string, at time.Time) error {
	for _, ch := range channels {
		v, err := d.Read(ch)
		if err != nil {
			return err
		}
		payload, err := json.Marshal([]map[string]any{{"n": ch, "u": "ppm", "v": v, "t": at.Unix()}})
		if err != nil {
			return fmt.Errorf("write SenML of %q: %w", ch, err)
		}
		if err := b.server.Publish("depot/"+ch, payload, false, 1); err != nil {
			return fmt.Errorf("publish %q: %w", ch, err)
		}
	}
	return nil
}
