package mqtt_test

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/sensor"
	"undersheet/sensor/mqtt"
)

// memory is a sink in memory that can be made to fail or to hang.
type memory struct {
	mu       sync.Mutex
	readings []sensor.Reading
	states   []sensor.Status
	refused  []sensor.Refused
	batches  []int
	broken   error         // returned instead of taking anything
	tries    int           // calls of Readings
	hang     chan struct{} // not nil: Readings waits for it
}

func (m *memory) Readings(ctx context.Context, rs []sensor.Reading) error {
	m.mu.Lock()
	m.tries++
	hang, broken := m.hang, m.broken
	m.mu.Unlock()
	if hang != nil {
		select {
		case <-hang:
		case <-ctx.Done():
			return ctx.Err()
		}
	}
	if broken != nil {
		return broken
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	m.readings = append(m.readings, rs...)
	m.batches = append(m.batches, len(rs))
	return nil
}

func (m *memory) Status(_ context.Context, s sensor.Status) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.states = append(m.states, s)
	return nil
}

func (m *memory) Refused(_ context.Context, r sensor.Refused) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.broken != nil {
		return m.broken
	}
	r.Payload = append([]byte(nil), r.Payload...)
	m.refused = append(m.refused, r)
	return nil
}

func (m *memory) set(broken error, hang chan struct{}) {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.broken, m.hang = broken, hang
}

func (m *memory) got() []sensor.Reading {
	m.mu.Lock()
	defer m.mu.Unlock()
	return append([]sensor.Reading(nil), m.readings...)
}

func (m *memory) gotRefused() []sensor.Refused {
	m.mu.Lock()
	defer m.mu.Unlock()
	return append([]sensor.Refused(nil), m.refused...)
}

func (m *memory) tried() int {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.tries
}

// state returns the last state of a unit.
func (m *memory) state(unit string) (s sensor.Status, known bool) {
	m.mu.Lock()
	defer m.mu.Unlock()
	for _, st := range m.states {
		if st.Unit == unit {
			s, known = st, true
		}
	}
	return s, known
}

// up reports whether the instrument's own state is well.
func (m *memory) up() bool { s, ok := m.state(""); return ok && s.OK }

// values returns the distinct values read.
func (m *memory) values() map[float64]int {
	v := map[float64]int{}
	for _, r := range m.got() {
		v[r.Value]++
	}
	return v
}

var errFull = errors.New("the disk is full")

// bare decodes "VALUE" or "VALUE@UNIXSECONDS"; anything else is a fault.
func bare(topic string, payload []byte, now time.Time) ([]sensor.Reading, []error) {
	var v float64
	var at int64
	r := sensor.Reading{Channel: topic, Source: "gateway", Unit: "ppm"}
	if n, _ := fmt.Sscanf(string(payload), "%g@%d", &v, &at); n == 2 {
		r.Value, r.Time = v, time.Unix(at, 0)
		return []sensor.Reading{r}, nil
	}
	if len(payload) > 1<<20 {
		return nil, []error{errors.New("too long")}
	}
	v, err := strconv.ParseFloat(string(payload), 64)
	if err != nil {
		return nil, []error{fmt.Errorf("%.20q is no number", payload)}
	}
	r.Value = v
	return []sensor.Reading{r}, nil
}

func config(address string, sources ...mqtt.Source) mqtt.Config {
	return mqtt.Config{Name: "gateway", Broker: address, ClientID: "undersheet-test", Sources: sources}
}

var (
	timed = mqtt.Source{Topic: "depot/+", QoS: 1, Timed: true, Decode: bare}
	live  = mqtt.Source{Topic: "live/#", QoS: 1, Decode: bare}
)

// quick are options for tests.
var quick = mqtt.Options{First: 20 * time.Millisecond, Long: 200 * time.Millisecond, Timeout: 5 * time.Second, Quiet: 300 * time.Millisecond}

// run runs a client until the returned function is called or the test ends.
func run(t *testing.T, cfg mqtt.Config, sink sensor.Sink) (stop func()) {
	t.Helper()
	require.NoError(t, cfg.Validate())
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- mqtt.New(cfg, sink, quick).Run(ctx) }()
	var once sync.Once
	stop = func() {
		once.Do(func() {
			cancel()
			select {
			case err := <-done:
				require.NoError(t, err)
			case <-time.After(patience):
				t.Error("Run does not end")
			}
		})
	}
	t.Cleanup(stop)
	return stop
}
