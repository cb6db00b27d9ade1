package mqtt_test

import (
	"bufio"
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/sensor"
	"undersheet/sensor/mqtt"
)

// The test binary is a subscriber of its own when this names a broker; it writes
// what it acknowledges to the file.
const (
	subscriberBroker = "UNDERSHEET_TEST_SUBSCRIBER"
	subscriberFile   = "UNDERSHEET_TEST_FILE"
)

func TestMain(m *testing.M) {
	if address := os.Getenv(subscriberBroker); address != "" {
		subscriber(address, os.Getenv(subscriberFile))
	}
	os.Exit(m.Run())
}

// durable is a sink that writes each reading's value to a file and syncs it.
type durable struct {
	memory
	f *os.File
}

func (d *durable) Readings(_ context.Context, rs []sensor.Reading) error {
	for _, r := range rs {
		fmt.Fprintf(d.f, "%g\n", r.Value)
	}
	return d.f.Sync()
}

func subscriber(address, file string) {
	f, err := os.OpenFile(file, os.O_APPEND|os.O_CREATE|os.O_WRONLY, 0o600)
	if err == nil {
		err = mqtt.New(config(address, timed), &durable{f: f}, quick).Run(context.Background())
	}
	fmt.Fprintln(os.Stderr, err)
	os.Exit(1)
}

// written returns how often each value stands in file.
func written(t *testing.T, file string) map[string]int {
	t.Helper()
	f, err := os.Open(file)
	if os.IsNotExist(err) {
		return nil
	}
	require.NoError(t, err)
	defer f.Close()
	got := map[string]int{}
	for s := bufio.NewScanner(f); s.Scan(); {
		got[s.Text()]++
	}
	return got
}

// A subscriber that is killed again and again (SIGKILL) loses nothing: what it
// had not acknowledged comes again. (Not on the broker in this process: in
// mochi-mqtt v2.7.9 a message that is published while a session is taken over
// can be lost in the broker.)
func TestKilledSubscriberLosesNothing(t *testing.T) {
	address := startMosquitto(t).address()
	file := filepath.Join(t.TempDir(), "readings")
	start := func() *exec.Cmd {
		cmd := exec.Command(os.Args[0])
		cmd.Env = append(os.Environ(), subscriberBroker+"="+address, subscriberFile+"="+file)
		require.NoError(t, cmd.Start())
		return cmd
	}
	p := newPublisher(t, address)
	cmd := start()
	eventually(t, func() bool { // until its session is there
		p.publish("depot/b", false, []byte("-1@1767225600"))
		return written(t, file)["-1"] > 0
	}, "the subscriber is there")

	const kills, each = 5, 200
	for k := range kills {
		for i := k * each; i < (k+1)*each; i++ {
			p.c.Publish("depot/b", 1, false, fmt.Sprintf("%d@%d", i, 1767225600+i))
		}
		eventually(t, func() bool { return len(written(t, file)) > 1+k*each }, "some of round %d came", k)
		require.NoError(t, cmd.Process.Kill())
		_ = cmd.Wait()
		cmd = start()
	}
	eventually(t, func() bool { return len(written(t, file)) == kills*each+1 }, "all came")
	require.NoError(t, cmd.Process.Kill())
	_ = cmd.Wait()
	again := 0
	for _, times := range written(t, file) {
		if times > 1 {
			again++
		}
	}
	t.Logf("%d of %d came more than once over %d kills", again, kills*each, kills)
}

// The longest a subscriber needs to end when the sink hangs is short.
func TestRunEndsWhileTheSinkHangs(t *testing.T) {
	address := inProcess(t)
	sink := &memory{hang: make(chan struct{})}
	stop := run(t, config(address, live), sink)
	eventually(t, sink.up, "connected")
	newPublisher(t, address).publish("live/door", false, []byte("1"))
	eventually(t, func() bool { return sink.tried() == 1 }, "the sink hangs")
	began := time.Now()
	stop()
	require.Less(t, time.Since(began), 2*time.Second)
}
