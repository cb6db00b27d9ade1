package sms_test

import (
	"context"
	"flag"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/alert"
	"undersheet/alert/sms"
	"undersheet/alert/sms/modem"
	"undersheet/logbook"
)

// TestMain lets eight tests run at a time whatever the number of cores: they
// wait for modems that are late, and hardly compute.
func TestMain(m *testing.M) {
	flag.Parse()
	if err := flag.Set("test.parallel", "8"); err != nil {
		panic(err)
	}
	os.Exit(m.Run())
}

// quick are waits for a modem that answers at once or misbehaves on purpose.
func quick() sms.Options {
	return sms.Options{Logger: slog.New(slog.DiscardHandler), Ready: 5 * time.Second, Command: 400 * time.Millisecond, Send: 500 * time.Millisecond,
		Register: 300 * time.Millisecond, Again: 10 * time.Millisecond, Quiet: 25 * time.Millisecond, Pause: 3 * time.Millisecond}
}

var written = time.Date(2026, 3, 1, 14, 0, 0, 0, time.UTC)

// letter is a short message to R. Amadi.
func letter(short string) *alert.Delivery {
	return &alert.Delivery{Letter: alert.Letter{ID: "8f3a@depot.example", Subject: "[Depot] HIGH: leak, stack B", Short: short, Written: logbook.At(written)},
		Person: "R. Amadi", Address: "+44 7700 900123", At: written.Add(5 * time.Second)}
}

// rig is a program's modem and the emulator behind it.
type rig struct {
	*sms.Modem
	far *modem.Modem
}

// run runs something until the test ends, and then sees it return nil.
func run(t *testing.T, f func(context.Context) error) {
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- f(ctx) }()
	t.Cleanup(func() {
		cancel()
		select {
		case err := <-ended:
			require.NoError(t, err)
		case <-time.After(10 * time.Second):
			t.Error("Run does not end with its context")
		}
	})
}

// newRig starts both.
func newRig(t *testing.T, far modem.Options, conf logbook.SMS, o sms.Options) rig {
	t.Helper()
	m, err := modem.New(far)
	require.NoError(t, err)
	run(t, m.Run)
	conf.Port = m.Device()
	near, err := sms.New(conf, o)
	require.NoError(t, err)
	run(t, near.Run)
	return rig{near, m}
}

// until waits until the modem's Stats are as wanted.
func (r rig) until(t *testing.T, what string, ok func(sms.Stats) bool) sms.Stats {
	t.Helper()
	require.Eventually(t, func() bool { return ok(r.Stats()) }, 10*time.Second, 5*time.Millisecond, "%s: %+v", what, r.Stats())
	return r.Stats()
}

func ready(s sms.Stats) bool { return s.Ready }

// count is how many command lines that began so came to the emulator.
func (r rig) count(prefix string) int {
	n := 0
	for _, line := range r.far.Seen() {
		if strings.HasPrefix(line, prefix) {
			n++
		}
	}
	return n
}

// failure returns err as what the sender looks at.
func failure(t *testing.T, err error) *alert.Failure {
	t.Helper()
	var f *alert.Failure
	require.ErrorAs(t, err, &f)
	return f
}

// pinFile writes a PIN where a site file can name it.
func pinFile(t *testing.T, pin string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "pin")
	require.NoError(t, os.WriteFile(path, []byte(pin+"\n"), 0o600))
	return path
}
