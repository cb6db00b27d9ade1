package modbus_test

import (
	"bufio"
	"context"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/peer"
	"undersheet/sensor/modbus"
	"undersheet/sensor/modbus/slave"
	"undersheet/sensor/port"
	"undersheet/sensor/port/porttest"
)

const python = "/usr/bin/python3" // Debian's own, which finds Debian's packages

// needPymodbus ends the test where python3-pymodbus is missing.
func needPymodbus(t testing.TB) {
	t.Helper()
	if exec.Command(python, "-c", "import pymodbus, serial, serial_asyncio").Run() != nil {
		peer.Missing(t, "pymodbus", "python3-pymodbus, with python3-serial and python3-serial-asyncio")
	}
}

// startServer runs the pymodbus slave on device until the test ends.
func startServer(t testing.TB, device string) {
	t.Helper()
	script, err := filepath.Abs("../../testdata/modbus/server.py")
	require.NoError(t, err)
	cmd := exec.Command(python, script, device)
	out, err := cmd.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, cmd.Start())
	t.Cleanup(func() {
		_ = cmd.Process.Kill()
		_ = cmd.Wait()
	})
	said := bufio.NewScanner(out)
	require.True(t, said.Scan(), "server.py ended before it was ready")
	require.Equal(t, "ready", said.Text())
}

// everyType is the registers that server.py lays out from address on, in order.
func everyType(function byte, address uint16) []modbus.Register {
	var rs []modbus.Register
	for _, c := range []struct {
		kind   string
		words  uint16
		orders []string
	}{
		{"int16", 1, []string{"AB", "BA"}},
		{"uint16", 1, []string{"AB", "BA"}},
		{"int32", 2, []string{"ABCD", "CDAB", "BADC", "DCBA"}},
		{"uint32", 2, []string{"ABCD", "CDAB", "BADC", "DCBA"}},
		{"float32", 2, []string{"ABCD", "CDAB", "BADC", "DCBA"}},
	} {
		for _, order := range c.orders {
			name := c.kind + " " + order
			if function == modbus.ReadInput {
				name = "input " + name
			}
			rs = append(rs, modbus.Register{Channel: name, Function: function, Address: address, Type: c.kind, Order: order})
			address += c.words
		}
	}
	return rs
}

// The master against an independent slave: Debian's python3-pymodbus, over a
// pair of pseudo-terminals. The values are those written in server.py.
func TestMasterReadsPymodbus(t *testing.T) {
	needPymodbus(t)
	pair := porttest.NewPair(t)
	startServer(t, pair.A)

	inputs := append(everyType(modbus.ReadInput, 2), modbus.Register{Channel: "nan", Function: modbus.ReadInput, Type: "float32"})
	var long []modbus.Register
	for a := range uint16(modbus.MaxCount) {
		long = append(long, modbus.Register{Channel: channel(9, a), Function: modbus.ReadHolding, Address: a, Type: "uint16"})
	}
	c := modbus.Config{
		Name: "rack 1", Port: port.Config{Device: pair.B, Baud: 19200},
		Units: []modbus.Unit{
			{Address: 7, Timeout: 2 * time.Second, Registers: append(everyType(modbus.ReadHolding, 0), inputs...)},
			{Address: 8, Timeout: 100 * time.Millisecond, Registers: []modbus.Register{{Channel: "none", Function: 3, Type: "int16"}}},
			{Address: 9, Timeout: 2 * time.Second, Registers: append(long, modbus.Register{Channel: "beyond", Function: 4, Address: 500, Type: "int16"})},
		},
	}
	require.NoError(t, c.Validate())
	s := newSink()
	m := modbus.New(c, s, modbus.Options{})
	defer m.Close()
	pollOnce(t, m)

	require.Len(t, s.polls, 2)
	want := map[string]float64{"int16": -1234, "uint16": 54321, "int32": -123456789, "uint32": 3456789012, "float32": 412.625}
	seen := 0
	for _, r := range s.polls[0] {
		if r.Channel == "nan" {
			require.Equal(t, modbus.FaultNaN, r.Fault)
			continue
		}
		kind := strings.Fields(strings.TrimPrefix(r.Channel, "input "))[0]
		require.Equal(t, want[kind], r.Value, r.Channel)
		seen++
	}
	require.Equal(t, 2*16, seen)
	require.Len(t, s.polls[1], modbus.MaxCount)
	for i, r := range s.polls[1] {
		require.Equal(t, float64(i), r.Value)
	}
	require.Equal(t, []string{"ok"}, s.unitStatuses("unit 7"))
	require.Equal(t, []string{"unit 8, function 3, register 0: no answer within 100ms"}, s.unitStatuses("unit 8"))
	require.Equal(t, []string{"unit 9, function 4, register 500: exception 2, illegal data address"}, s.unitStatuses("unit 9"))
}

// The port disappears with its adapter and comes back, with another peer behind it.
func TestTheMasterOutlivesItsPort(t *testing.T) {
	pair := porttest.NewPair(t)
	serve := func(first uint16) {
		p := port.New(port.Config{Device: pair.A}, port.Options{})
		require.NoError(t, p.Open(t.Context(), nil))
		ended := make(chan struct{})
		go func() {
			defer close(ended)
			_ = slave.Serve(t.Context(), p, func(q modbus.Request) ([]uint16, error) { return []uint16{first}, nil }, slave.Options{})
		}()
		t.Cleanup(func() { p.Close(); <-ended })
	}
	serve(1)
	u := uint16s(7, 0)
	u.Every, u.Timeout = 20*time.Millisecond, time.Second
	s := newSink()
	o := modbus.Options{Port: port.Options{FirstWait: 5 * time.Millisecond, LongWait: 20 * time.Millisecond}}
	c := modbus.Config{Name: "rack 1", Port: port.Config{Device: pair.B}, Units: []modbus.Unit{u}}
	m := modbus.New(c, s, o)
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan error)
	go func() { ended <- m.Run(ctx) }()

	last := func(want float64) func(*sink) bool {
		return func(s *sink) bool { return len(s.polls) > 0 && s.polls[len(s.polls)-1][0].Value == want }
	}
	s.wait(t, "a reading", last(1))
	pair.Unplug()
	s.wait(t, "the loss of the port", func(s *sink) bool {
		st := s.statuses[len(s.statuses)-1]
		return st.Unit == "" && !st.OK
	})
	pair.Plug()
	serve(2)
	s.wait(t, "a reading after the port came back", last(2))
	cancel()
	require.NoError(t, <-ended)
	line := s.unitStatuses("")
	require.Len(t, line, 3, "%v", line)
	require.Equal(t, "ok", line[0])
	require.Contains(t, line[1], "the device disappeared")
	require.Equal(t, "ok", line[2])
}
