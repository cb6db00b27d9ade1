package sms_test

import (
	"bytes"
	"fmt"
	"log/slog"
	"os"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/alert/sms"
	"undersheet/alert/sms/modem"
	"undersheet/logbook"
)

// waitLooks waits until the modem was opened and asked for its SIM n times more.
func (r rig) waitLooks(t *testing.T, n int) {
	t.Helper()
	was := r.count("AT+CPIN?")
	require.Eventually(t, func() bool { return r.count("AT+CPIN?") >= was+n }, 10*time.Second, 5*time.Millisecond)
}

// stuck waits for a trouble that somebody has to put right, sees that a letter
// fails at once for it, and returns it.
func (r rig) stuck(t *testing.T) string {
	t.Helper()
	r.until(t, "needs a person", func(s sms.Stats) bool { return s.Attention })
	start := time.Now()
	f := failure(t, r.Deliver(t.Context(), letter("first")))
	require.Less(t, time.Since(start), time.Second, "no waiting for what only a person can end")
	require.Equal(t, []bool{true, true, false}, []bool{f.Permanent, f.Everyone, f.InDoubt})
	return f.Error()
}

// A SIM locks itself after three wrong PINs: TS 31.101 (common practice: three).
func TestAWrongPINIsTriedOnce(t *testing.T) {
	for name, far := range map[string]modem.Options{
		"tells the tries left":    {PIN: "4711"},
		"does not tell them":      {PIN: "4711", Missing: []string{"+CPINR"}},
		"never answers":           {PIN: "4711", Faults: []modem.Fault{{On: "AT+CPIN=", Silent: true}}},
		"answers late":            {PIN: "4711", Faults: []modem.Fault{{On: "AT+CPIN=", Late: 600 * time.Millisecond}}},
		"answers with plain text": {PIN: "4711", Faults: []modem.Fault{{On: "AT+CMEE", Answer: "ERROR", Times: modem.Always}}},
		"lies and says OK":        {PIN: "4711", Faults: []modem.Fault{{On: "AT+CPIN=", Answer: "OK"}}},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			file := pinFile(t, "1234")
			r := newRig(t, far, logbook.SMS{PINFile: file}, quick())
			require.Contains(t, r.stuck(t), "the PIN was ")
			r.waitLooks(t, 3)
			r.far.Unplug()
			require.NoError(t, r.far.Plug())
			r.waitLooks(t, 3)
			require.Equal(t, 1, r.count("AT+CPIN="), "not tried a second time")
			said := r.stuck(t)
			switch name {
			case "tells the tries left":
				require.Contains(t, said, "the PIN was refused, tries left: 2; put the right one into sms.pin_file")
			case "does not tell them":
				require.Contains(t, said, "the PIN was refused, a SIM allows three wrong ones in a row")
			}
			require.NotRegexp(t, `\b1234\b`, said)

			require.NoError(t, os.WriteFile(file, []byte("4711\n"), 0o600))
			r.until(t, "the right PIN is tried", ready)
			require.NoError(t, r.Deliver(t.Context(), letter("second")))
			require.Equal(t, 2, r.count("AT+CPIN="))
		})
	}
}

// The modem disappears while it is given a wrong PIN: what came of it is not
// known, so that PIN is not given again.
func TestUnpluggedWhileGivenThePIN(t *testing.T) {
	t.Parallel()
	r := newRig(t, modem.Options{PIN: "4711", Faults: []modem.Fault{{On: "AT+CPIN=", Unplug: true}}}, logbook.SMS{PINFile: pinFile(t, "1234")}, quick())
	r.until(t, "gone", func(s sms.Stats) bool { return s.LastError != "" })
	require.NoError(t, r.far.Plug())
	require.Contains(t, r.stuck(t), "the PIN was given before")
	require.Equal(t, 1, r.count("AT+CPIN="))
}

func TestTheLastTryIsLeftToAPerson(t *testing.T) {
	t.Parallel()
	r := newRig(t, modem.Options{PIN: "4711", Tries: 1}, logbook.SMS{PINFile: pinFile(t, "4711")}, quick())
	require.Contains(t, r.stuck(t), "tries left: 1, not used here")
	require.Equal(t, 0, r.count("AT+CPIN="))
}

// Without +CPINR one process tries two different PINs and no third.
func TestNoThirdPIN(t *testing.T) {
	t.Parallel()
	file := pinFile(t, "1111")
	r := newRig(t, modem.Options{PIN: "4711", Missing: []string{"+CPINR"}}, logbook.SMS{PINFile: file}, quick())
	for _, pin := range []string{"2222", "3333", "4444"} {
		r.stuck(t)
		r.waitLooks(t, 2)
		require.NoError(t, os.WriteFile(file, []byte(pin), 0o600))
		r.waitLooks(t, 3)
	}
	require.Equal(t, 2, r.count("AT+CPIN="))
	require.Contains(t, r.stuck(t), "2 PINs were refused and no other is tried")
}

func TestWhatOnlyAPersonCanGive(t *testing.T) {
	for name, c := range map[string]struct {
		far  modem.Options
		says string
	}{
		"PUK":            {modem.Options{PIN: "4711", PUK: true}, "asks for its PUK"},
		"no SIM":         {modem.Options{Faults: []modem.Fault{{On: "AT+CPIN?", Answer: "+CME ERROR: 10", Times: modem.Always}}}, "no SIM is in the modem (CME error 10)"},
		"SIM failed":     {modem.Options{Faults: []modem.Fault{{On: "AT+CPIN?", Answer: "+CME ERROR: 13", Times: modem.Always}}}, "the SIM failed"},
		"modem lock":     {modem.Options{Faults: []modem.Fault{{On: "AT+CPIN?", Answer: "+CPIN: PH-SIM PIN\r\n\r\nOK", Times: modem.Always}}}, `"PH-SIM PIN"`},
		"no PIN is set":  {modem.Options{PIN: "4711"}, "set sms.pin_file or sms.pin_env"},
		"no text mode":   {modem.Options{Faults: []modem.Fault{{On: "AT+CMGF=", Answer: "+CMS ERROR: 303", Times: modem.Always}}}, "cannot do it"},
		"centre refused": {modem.Options{Faults: []modem.Fault{{On: "AT+CSCA=", Answer: "+CMS ERROR: 302", Times: modem.Always}}}, "does not allow it"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			r := newRig(t, c.far, logbook.SMS{Centre: "+447785016005"}, quick())
			require.Contains(t, r.stuck(t), c.says)
			require.Equal(t, 0, r.count("AT+CPIN="))
		})
	}
}

// safe is a buffer that many goroutines may write to.
type safe struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (s *safe) Write(p []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.Write(p)
}

// The PIN is in no log, error or statistic, whatever goes wrong with it.
func TestThePINIsNowhere(t *testing.T) {
	const pin = "86420"
	t.Setenv("DEPOT_PIN", pin)
	for _, fault := range []modem.Fault{{}, {On: "AT+CPIN=", Silent: true}, {On: "AT+CPIN=", Unplug: true}} {
		var log safe
		o := quick()
		o.Logger = slog.New(slog.NewTextHandler(&log, &slog.HandlerOptions{Level: slog.LevelDebug}))
		r := newRig(t, modem.Options{PIN: "4711", Faults: []modem.Fault{fault}}, logbook.SMS{PINEnv: "DEPOT_PIN"}, o)
		r.until(t, "down", func(s sms.Stats) bool { return s.LastError != "" })
		require.NoError(t, r.far.Plug())
		said := r.stuck(t)
		log.mu.Lock()
		defer log.mu.Unlock()
		require.NotContains(t, said+fmt.Sprint(r.Stats())+log.b.String(), pin)
		require.NotEmpty(t, log.b.String())
	}
}
