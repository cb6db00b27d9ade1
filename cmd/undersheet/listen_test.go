package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/logbook"
	"undersheet/sensor"
	"undersheet/sensor/frames"
	"undersheet/sensor/port"
	"undersheet/sensor/port/porttest"
	"undersheet/sensor/sim"
)

// The units of text frames are those of the logbook.
func TestFrameUnits(t *testing.T) { require.Equal(t, logbook.Units, frames.Units) }

// listenSite is an invented depot on three wires.
const listenSite = `site: Alder Wharf
timezone: Europe/Lisbon
limits: EU
logbook: depot.db
channels:
  top: {gas: ph3, unit: ppm, range: 2000, resolution: 1, detection_limit: 1, accuracy: 0.05}
  low: {gas: ph3, unit: ppm, range: 2000, resolution: 1, detection_limit: 1, accuracy: 0.05}
  door: {gas: ph3, unit: ppm, range: 20, resolution: 0.01, detection_limit: 0.03, accuracy: 0.1}
  flow: {unit: L/min, range: 5}
stores:
  - name: Store 1
    air: [{name: door, channel: door, where: door}]
    stacks: [{name: A, lines: [{name: top, channel: top}, {name: low, channel: low}]}]
instruments:
  - name: rack
    modbus:
      port: %s
      baud: 115200
      parity: none
      units: [{address: 1, every: 20m, timeout: 1s, registers: [{channel: top, register: 0, type: float32}, {channel: low, register: 2, type: float32}]}]
  - name: pump house
    frames:
      port: %s
      pattern: '^(?P<channel>\w+) (?P<value>\S+) (?P<unit>\w+)$'
      channels: {FLOW: flow}
      units: {LPM: L/min}
      ignore: '^#'
      every: 10s
  - name: gateway
    mqtt: {broker: "%s", sources: [{topic: depot/+, payload: senml, channel: "{2}"}]}
`

// listenDepot is that depot, at work until the test ends; it returns the path of its site file.
func listenDepot(t *testing.T) (site string, d *sim.Depot) {
	t.Helper()
	d = sim.NewDepot(e2eStart, 3)
	for ch, v := range map[string]float64{"top": 412, "low": 398, "door": 0.01} {
		d.Set(ch, v)
	}
	d.Advance(e2eStart.Add(time.Second))
	line := &sim.Line{Depot: d, Units: map[byte][]string{1: {"top", "low"}}}
	rack, err := line.Open()
	require.NoError(t, err)
	broker, err := sim.NewBroker()
	require.NoError(t, err)
	pair := porttest.NewPair(t)
	ctx, cancel := context.WithCancel(context.Background())
	var wg sync.WaitGroup
	wg.Go(func() { line.Run(ctx) })
	wg.Go(func() { broker.Run(ctx) })
	wg.Go(func() { chatter(ctx, pair.B, broker, d) })
	t.Cleanup(func() { cancel(); wg.Wait() })
	return write(t, "site.yaml", fmt.Sprintf(listenSite, rack, pair.A, broker.URL())), d
}

// chatter speaks as an instrument in text and a gateway would, again and again.
func chatter(ctx context.Context, device string, broker *sim.Broker, d *sim.Depot) {
	far, err := os.OpenFile(device, os.O_RDWR|syscall.O_NOCTTY, 0)
	if err != nil {
		return
	}
	defer far.Close()
	beat := time.NewTicker(100 * time.Millisecond)
	defer beat.Stop()
	for {
		_, _ = io.WriteString(far, "FLOW 1.20 LPM\r\n# heading\r\nFLOW 1.2 GPM\r\nFLOW OL LPM\r\n\x1b[2J\x07\r\n")
		_ = broker.Publish(d, []string{"door"}, time.Now())
		select {
		case <-beat.C:
		case <-ctx.Done():
			return
		}
	}
}

// What three kinds of instruments send is shown raw and as it is understood, no
// byte of theirs steers the terminal, and no logbook appears.
func TestListen(t *testing.T) {
	site, _ := listenDepot(t)
	status, out, errs := tried(t, "", "listen", "--site", site, "--for", "3s", "--every", "1s")
	require.Zero(t, status, errs)
	for _, want := range []string{
		"rack           > 01 04 00 00 00 04 F1 C9", "rack             top = 412 ppm", "rack             low = 398 ppm",
		`pump house     < "FLOW 1.20 LPM\r\n"`, "pump house       flow = 1.2 L/min", "pump house       no reading, and not meant to be one",
		`pump house     ! not read: unit "GPM" is none of "LPM"`, `pump house     ! flow: fault: shows "OL", no number`, "pump house     < 1B 5B 32 4A 07 0D 0A",
		`gateway        < depot/door "[{\"n\":\"door\"`, "gateway          door = 0.01 ppm",
		"channel                  last value  a minute      age  last error",
	} {
		require.Contains(t, out, want)
	}
	require.NotContains(t, out, "\x1b")
	_, err := os.Stat(strings.Replace(site, "site.yaml", "depot.db", 1))
	require.ErrorIs(t, err, os.ErrNotExist)
}

// The same for programs, of one instrument.
func TestListenJSON(t *testing.T) {
	site, _ := listenDepot(t)
	status, out, errs := tried(t, "", "listen", "--json", "--site", site, "--for", "2500ms", "--every", "1s", "rack")
	require.Zero(t, status, errs)
	kinds, last := map[string]int{}, map[string]map[string]any{}
	for l := range strings.Lines(out) {
		var m map[string]any
		require.NoError(t, json.Unmarshal([]byte(l), &m), l)
		kinds[m["kind"].(string)]++
		if m["kind"] == "channel" {
			last[m["channel"].(string)] = m
		} else {
			require.Equal(t, "rack", m["instrument"])
		}
	}
	require.GreaterOrEqual(t, kinds["sent"], 2)
	require.GreaterOrEqual(t, kinds["received"], 2)
	require.GreaterOrEqual(t, kinds["reading"], 4)
	require.Equal(t, 412.0, last["top"]["value"])
	require.InDelta(t, 60, last["top"]["per_minute"], 10)
	require.Len(t, last, 2)
}

// Without a site file, whatever comes is shown; a port that is held is refused.
func TestListenToABarePort(t *testing.T) {
	pair := porttest.NewPair(t)
	ctx, cancel := context.WithCancel(context.Background())
	far, err := os.OpenFile(pair.B, os.O_RDWR|syscall.O_NOCTTY, 0)
	require.NoError(t, err)
	var wg sync.WaitGroup
	wg.Go(func() {
		for ctx.Err() == nil {
			io.WriteString(far, "T=21.5\r\n")
			select {
			case <-ctx.Done():
			case <-time.After(50 * time.Millisecond):
			}
		}
	})
	defer func() { cancel(); far.Close(); wg.Wait() }()
	status, out, errs := tried(t, "", "listen", "--port", pair.A, "--for", "1s")
	require.Zero(t, status, errs)
	require.Contains(t, out, `< "T=21.5\r\n"`)

	held, err := port.OpenDevice(port.Config{Device: pair.A})
	require.NoError(t, err)
	defer held.Close()
	status, _, errs = tried(t, "", "listen", "--port", pair.A, "--for", "10s")
	require.Equal(t, 1, status)
	require.Contains(t, errs, "another program uses it")
	require.Contains(t, errs, "undersheet serve")
}

func TestListenFlags(t *testing.T) {
	site := write(t, "site.yaml", smallSite)
	for _, c := range []struct {
		args []string
		want string
	}{
		{nil, "either a site file"},
		{[]string{"--site", site, "--port", "x"}, "either a site file"},
		{[]string{"--port", "x", "--prove"}, "need a site file"},
		{[]string{"--port", "x", "--data-bits", "9"}, "data bits: must be 7 or 8"},
		{[]string{"--port", "x", "--every", "1ms"}, "--every: from 1s"},
		{[]string{"--site", site, "--prove", "--json"}, "asks questions"},
		{[]string{"--site", site}, "no instruments"},
		{[]string{"--site", site, "rack 9"}, "no instruments"},
	} {
		status, _, errs := tried(t, "", append([]string{"listen"}, c.args...)...)
		require.Equal(t, 1, status, c.args)
		require.Contains(t, errs, c.want, c.args)
	}
}

// A terminal of 12 lines gets the table and what came last, cut to its width.
func TestScreen(t *testing.T) {
	var out strings.Builder
	now := time.Date(2026, 5, 4, 6, 0, 0, 0, time.UTC)
	b := newBoard(io.Discard, false, func() time.Time { return now })
	b.show = &screen{w: &out, size: func() (int, int, error) { return 50, 12, nil }}
	for i := range 30 {
		now = now.Add(time.Second)
		require.NoError(t, b.Readings(t.Context(), []sensor.Reading{{Channel: "top", Value: float64(i), Unit: "ppm", Source: "rack"}}))
	}
	b.end()
	lines := strings.Split(strings.TrimSuffix(out.String(), "\r\n"), "\r\n")
	require.Len(t, lines, 11)
	require.Contains(t, lines[len(lines)-1], "top = 29 ppm")
	for _, l := range lines {
		require.LessOrEqual(t, len([]rune(strings.TrimPrefix(l, "\x1b[H\x1b[2J"))), 50)
	}
	require.InDelta(t, 60, b.rows["top"].perMinute(), 1e-9)
}
