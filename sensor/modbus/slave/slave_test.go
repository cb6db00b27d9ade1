package slave_test

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/peer"
	"undersheet/sensor"
	"undersheet/sensor/modbus"
	"undersheet/sensor/modbus/slave"
	"undersheet/sensor/port"
)

// registers serves unit 7: holding registers 0 to 124 say their number, input
// registers say 1000 more; register 50 alone breaks. No other unit is there.
func registers(q modbus.Request) ([]uint16, error) {
	if q.Unit != 7 {
		return nil, slave.ErrSilent
	}
	if int(q.Address)+int(q.Count) > 125 {
		return nil, modbus.IllegalDataAddress
	}
	if q.Address == 50 && q.Count == 1 {
		return nil, errors.New("sensor head missing")
	}
	ws := make([]uint16, q.Count)
	for i := range ws {
		ws[i] = q.Address + uint16(i)
		if q.Function == modbus.ReadInput {
			ws[i] += 1000
		}
	}
	return ws, nil
}

// serve serves line until the test ends, and then sees Serve return nil.
func serve(t *testing.T, line io.ReadWriter, h slave.Handler, o slave.Options) {
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- slave.Serve(ctx, line, h, o) }()
	t.Cleanup(func() {
		cancel()
		select {
		case err := <-ended:
			require.NoError(t, err)
		case <-time.After(5 * time.Second):
			t.Error("Serve does not end with its context")
		}
	})
}

// ask writes frames to a slave and returns what comes back, as many bytes as want has.
func ask(t *testing.T, line net.Conn, want []byte, frames ...[]byte) {
	t.Helper()
	for _, f := range frames {
		_, err := line.Write(f)
		require.NoError(t, err)
	}
	got := make([]byte, len(want))
	require.NoError(t, line.SetReadDeadline(time.Now().Add(5*time.Second)))
	_, err := io.ReadFull(line, got)
	require.NoError(t, err)
	require.Equal(t, want, got)
}

// The frames are formed by the rules of MODBUS Application Protocol V1.1b3,
// sections 6.3, 6.4 and 7, and checked below against pymodbus.
func TestAnswers(t *testing.T) {
	near, far := net.Pipe()
	serve(t, far, registers, slave.Options{Silence: 100 * time.Millisecond}) // long: a frame in two halves, on a busy machine
	seal := func(b ...byte) []byte { return modbus.Seal(b) }
	sound := seal(7, 3, 0, 1, 0, 2)
	answer := seal(7, 3, 4, 0, 1, 0, 2)

	ask(t, near, answer, sound)
	ask(t, near, seal(7, 4, 2, 0x03, 0xE9), seal(7, 4, 0, 1, 0, 1))
	ask(t, near, seal(7, 0x83, 2), seal(7, 3, 0, 124, 0, 2))
	ask(t, near, seal(7, 0x83, 3), seal(7, 3, 0, 0, 0, 0))
	ask(t, near, seal(7, 0x83, 3), seal(7, 3, 0, 0, 0, 126))
	ask(t, near, seal(7, 0x84, 4), seal(7, 4, 0, 50, 0, 1))
	ask(t, near, seal(7, 0x86, 1), seal(7, 6, 0, 1, 0, 3))
	ask(t, near, seal(7, 0x91, 1), seal(7, 0x11))
	ask(t, near, answer, sound[:3], sound[3:])
	ask(t, near, append(answer[:len(answer):len(answer)], answer...), append(sound[:8:8], sound...))
	// Nothing for another unit, another unit's unknown function, a broadcast;
	// what comes first is the answer to the sound request after them.
	ask(t, near, answer, seal(8, 3, 0, 1, 0, 2), sound)
	ask(t, near, answer, seal(0, 3, 0, 1, 0, 2), sound)
}

// After a frame that is no frame, only silence makes the slave listen anew.
func TestBrokenFramesAreForgotten(t *testing.T) {
	near, far := net.Pipe()
	serve(t, far, registers, slave.Options{})
	sound := modbus.Seal([]byte{7, 3, 0, 1, 0, 2})
	broken := append([]byte{0xFF}, sound...)
	for _, f := range [][]byte{broken, sound[:5], make([]byte, 1000)} {
		_, err := near.Write(f)
		require.NoError(t, err)
		require.Eventually(t, func() bool { // a master repeats what was not answered
			_, err := near.Write(sound)
			require.NoError(t, err)
			require.NoError(t, near.SetReadDeadline(time.Now().Add(20*time.Millisecond)))
			n, _ := near.Read(make([]byte, 64))
			return n == 9
		}, 5*time.Second, time.Millisecond)
	}
}

func TestServeEndsWithItsLine(t *testing.T) {
	near, far := net.Pipe()
	ended := make(chan error)
	go func() { ended <- slave.Serve(t.Context(), far, registers, slave.Options{}) }()
	require.NoError(t, near.Close())
	require.NoError(t, <-ended)
}

// The own master over a pseudo-terminal of the kernel.
func TestTerminal(t *testing.T) {
	term, err := slave.OpenTerminal()
	require.NoError(t, err)
	serve(t, term, registers, slave.Options{})
	c := modbus.Config{
		Name: "rack 1", Port: port.Config{Device: term.Name()},
		Units: []modbus.Unit{{Address: 7, Timeout: 2 * time.Second, Registers: []modbus.Register{
			{Channel: "holding", Function: 3, Address: 10, Type: "uint16"},
			{Channel: "input", Function: 4, Address: 19, Type: "uint32", Order: "CDAB"},
		}}},
	}
	s := &sink{}
	for range 2 { // a master comes, goes, and comes again
		m := modbus.New(c, s, modbus.Options{})
		_, err = m.PollOnce(t.Context())
		require.NoError(t, err)
		require.NoError(t, m.Close())
	}
	require.Len(t, s.readings, 4)
	require.Equal(t, 10.0, s.readings[2].Value)
	require.Equal(t, float64(1020<<16|1019), s.readings[3].Value)
}

type sink struct{ readings []sensor.Reading }

func (s *sink) Readings(_ context.Context, rs []sensor.Reading) error {
	s.readings = append(s.readings, rs...)
	return nil
}
func (s *sink) Status(context.Context, sensor.Status) error   { return nil }
func (s *sink) Refused(context.Context, sensor.Refused) error { return nil }

// The slave against an independent master: Debian's python3-pymodbus.
func TestPymodbusReadsTheSlave(t *testing.T) {
	const python = "/usr/bin/python3"
	if exec.Command(python, "-c", "import pymodbus, serial").Run() != nil {
		peer.Missing(t, "pymodbus", "python3-pymodbus, with python3-serial")
	}
	term, err := slave.OpenTerminal()
	require.NoError(t, err)
	serve(t, term, registers, slave.Options{})
	script, err := filepath.Abs("../../../testdata/modbus/client.py")
	require.NoError(t, err)
	cmd := exec.Command(python, script, term.Name())
	cmd.Stderr = os.Stderr
	in, err := cmd.StdinPipe()
	require.NoError(t, err)
	out, err := cmd.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, cmd.Start())
	answers := bufio.NewScanner(out)
	for _, c := range []struct{ ask, want string }{
		{"3 7 0 3", "[0, 1, 2]"},
		{"4 7 122 3", "[1122, 1123, 1124]"},
		{"3 7 124 1", "[124]"},
		{"3 7 124 2", `{"exception": 2}`},
		{"4 7 50 1", `{"exception": 4}`},
		{"1 7 0 1", `{"exception": 1}`},
		{"3 8 0 1", `{"silent": true}`},
		{"3 7 1 1", "[1]"},
	} {
		fmt.Fprintln(in, c.ask)
		require.True(t, answers.Scan(), "client.py ended at %q", c.ask)
		require.Equal(t, c.want, answers.Text(), c.ask)
	}
	require.NoError(t, in.Close())
	require.NoError(t, cmd.Wait())
}
