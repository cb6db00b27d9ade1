package modem_test

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/alert/sms/modem"
	"undersheet/alert/sms/pdu"
	"undersheet/peer"
	"undersheet/sensor/port"
)

// start runs a modem until the test ends.
func start(t *testing.T, o modem.Options) *modem.Modem {
	t.Helper()
	m, err := modem.New(o)
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- m.Run(ctx) }()
	t.Cleanup(func() {
		cancel()
		select {
		case err := <-ended:
			require.NoError(t, err)
			require.NoFileExists(t, m.Device())
		case <-time.After(5 * time.Second):
			t.Error("Run does not end with its context")
		}
	})
	return m
}

// terminal is a person at a terminal program.
type terminal struct {
	t *testing.T
	*port.Port
}

func dial(t *testing.T, m *modem.Modem) terminal {
	t.Helper()
	p := port.New(port.Config{Device: m.Device()}, port.Options{})
	t.Cleanup(func() { p.Close() })
	require.NoError(t, p.Open(t.Context(), func(err error) { t.Log(err) }))
	return terminal{t, p}
}

// say types and returns what comes until it ends with end.
func (p terminal) say(typed, end string) string {
	p.t.Helper()
	_, err := p.Write([]byte(typed))
	require.NoError(p.t, err)
	require.NoError(p.t, p.SetReadDeadline(time.Now().Add(5*time.Second)))
	var got []byte
	buf := make([]byte, 256)
	for !strings.HasSuffix(string(got), end) {
		n, err := p.Read(buf)
		require.NoError(p.t, err, "%q came after %q", got, typed)
		got = append(got, buf[:n]...)
	}
	return string(got)
}

// A dialogue as TS 27.005 (3.5.1, +CMGS) and TS 27.007 (8.3, +CPIN; 9.2, errors)
// write it: echo, PIN, registration, a message, one cancelled, one refused.
func TestDialogue(t *testing.T) {
	m := start(t, modem.Options{PIN: "4711"})
	p := dial(t, m)
	require.Equal(t, "AT\r\r\nOK\r\n", p.say("AT\r", "OK\r\n"), "the echo is on")
	require.Equal(t, "ATE0\r\r\nOK\r\n", p.say("ATE0\r", "OK\r\n"))
	for _, c := range []struct{ typed, want string }{
		{"AT", "OK"}, {"at", "OK"}, {"noise\x1bAT", "OK"}, {"xxAT", "OK"}, {"AT+CFUNNY", "ERROR"}, {"AT+CPIN?", "+CPIN: SIM PIN\r\n\r\nOK"},
		{"AT+CREG?", "+CREG: 0,0\r\n\r\nOK"}, {"AT+CPIN=\"1234\"", "ERROR"}, {"AT+CMEE=1;+CMEE?", "+CMEE: 1\r\n\r\nOK"},
		{"AT+CPINR=\"SIM PIN\"", "+CPINR: SIM PIN,2,3\r\n\r\nOK"}, {"AT+CPIN=\"1235\"", "+CME ERROR: 16"}, {"AT+CMGS=23", "+CMS ERROR: 311"},
		{"AT+CSCA=\"+1\"", "+CMS ERROR: 311"}, {"AT+CPIN=\"4711\"", "OK"}, {"AT+CPIN=\"4711\"", "+CME ERROR: 3"}, {"AT+CPIN?", "+CPIN: READY\r\n\r\nOK"}, {"AT+CREG?", "+CREG: 0,1\r\n\r\nOK"},
		{"AT+CSQ", "+CSQ: 17,99\r\n\r\nOK"}, {"AT+CSCS=?", "+CSCS: (\"GSM\",\"UCS2\")\r\n\r\nOK"}, {"AT+CSMP=17,x,0", "ERROR"}, {"AT+CMGS=999", "+CMS ERROR: 304"},
	} {
		require.Equal(t, "\r\n"+c.want+"\r\n", p.say(c.typed+"\r", c.want+"\r\n"), c.typed)
	}
	const tpdu = "0001000B813124819396F300080A00680065006C006C006F"
	p.say("AT+CMGS=23\r", "\r\n> ")
	require.Equal(t, "\r\nOK\r\n", p.say("0001\x1b", "OK\r\n"), "cancelled")
	p.say("AT+CMGS=23\r", "\r\n> ")
	require.Equal(t, "\r\n+CMGS: 1\r\n\r\nOK\r\n", p.say(tpdu+"\x1a", "OK\r\n"))
	p.say("AT+CMGS=22\r", "\r\n> ")
	require.Equal(t, "\r\n+CMS ERROR: 304\r\n", p.say(tpdu+"\x1a", "304\r\n"), "another length than was announced")
	p.say("AT+CMGS=23\r", "\r\n> ")
	require.Equal(t, "\r\n+CMS ERROR: 304\r\n", p.say("rubbish\x1a", "304\r\n"))
	require.Equal(t, []modem.Message{{To: "13421839693", Text: "hello", Parts: 1}}, m.Sent())
}

func TestThreeWrongPINsLockTheSIM(t *testing.T) {
	m := start(t, modem.Options{PIN: "4711"})
	p := dial(t, m)
	p.say("ATE0+CMEE=1\r", "OK\r\n")
	for range 3 {
		p.say("AT+CPIN=\"1234\"\r", "16\r\n")
	}
	p.say("AT+CPIN=\"4711\"\r", "12\r\n")
	p.say("AT+CPIN?\r", "+CPIN: SIM PUK\r\n\r\nOK\r\n")
	p.say("AT+CMGS=23\r", "316\r\n")
}

func TestTextMode(t *testing.T) {
	got := make(chan modem.Message, 9)
	m := start(t, modem.Options{Received: func(s modem.Message) { got <- s }})
	p := dial(t, m)
	p.say("ATE0+CMGF=1\r", "OK\r\n")
	p.say("AT+CMGS=\"8080\"\r", "\r\n> ")
	require.Equal(t, "\r\n> ", p.say("one\x08\r", "> "))
	p.say("tw\x00\x10\x1a", "OK\r\n")
	require.Equal(t, modem.Message{To: "8080", Text: "on\ntw@Δ", Parts: 1}, <-got, "TS 23.038, 6.2.1: @ is 0, Δ is 16")
	p.say("AT+CSCS=\"UCS2\"\r", "OK\r\n")
	p.say("AT+CSMP=17,255,0,8\r", "OK\r\n")
	p.say("AT+CMGS=\"002B0031\",145\r", "\r\n> ")
	p.say("0416D83DDE00\x1a", "OK\r\n")
	require.Equal(t, modem.Message{To: "+1", Text: "Ж😀", Parts: 1}, <-got)
	p.say("AT+CMGS=\"002B0031\"\r", "\r\n> ")
	p.say("041\x1a", "305\r\n")
	p.say("AT+CMGS=\"no number\"\r", "305\r\n")
}

// Parts come in any order, twice, and between those of other messages; what is
// never completed is forgotten, the oldest first.
func TestPartsAreJoined(t *testing.T) {
	m := start(t, modem.Options{})
	p := dial(t, m)
	p.say("ATE0\r", "OK\r\n")
	send := func(s pdu.Submit) {
		tpdu, length, err := s.Encode()
		require.NoError(t, err)
		p.say(fmt.Sprintf("AT+CMGS=%d\r", length), "> ")
		p.say(tpdu+"\x1a", "OK\r\n")
	}
	part := func(to string, ref byte, n int, text string) pdu.Submit {
		return pdu.Submit{Number: to, Text: text, Reference: ref, Part: n, Parts: 3}
	}
	for _, s := range []pdu.Submit{part("1", 7, 3, "c"), part("1", 8, 1, "x"), part("2", 7, 1, "y"), part("1", 7, 1, "a"), part("1", 7, 1, "a"), part("1", 7, 2, "b")} {
		send(s)
	}
	require.Equal(t, []modem.Message{{To: "1", Text: "abc", Parts: 3}}, m.Sent())
	for ref := range byte(40) {
		send(part("3", ref, 1, "z"))
	}
	send(part("1", 8, 2, "x"))
	send(part("1", 8, 3, "x"))
	require.Len(t, m.Sent(), 1, "its first part was forgotten")
}

func TestFaults(t *testing.T) {
	m := start(t, modem.Options{Faults: []modem.Fault{{On: "AT+CSQ", Skip: 1, Times: 2, Answer: "ERROR"}, {On: "AT+CREG", Before: "RING\r\n", Pieces: true}}})
	p := dial(t, m)
	p.say("ATE0\r", "OK\r\n")
	for _, want := range []string{"OK", "ERROR", "ERROR", "OK"} {
		p.say("AT+CSQ\r", want+"\r\n")
	}
	require.Equal(t, "RING\r\n\r\n+CREG: 0,1\r\n\r\nOK\r\n", p.say("AT+CREG?\r", "OK\r\n"))
	m.Say("\r\nRING\r\n")
	require.Equal(t, "\r\nRING\r\n", p.say("", "RING\r\n"))

	m.AddFault(modem.Fault{On: "AT", Unplug: true})
	_, err := p.Write([]byte("AT\r"))
	require.NoError(t, err)
	_, err = p.Read(make([]byte, 9))
	require.ErrorIs(t, err, port.ErrGone)
	require.NoFileExists(t, m.Device())
	require.NoError(t, m.Plug())
	require.NoError(t, m.Plug(), "a second time changes nothing")
	dial(t, m).say("AT\r", "OK\r\n")
}

// An independent program sends through this modem: Debian's gammu, which knows
// the commands of many modems and gives up where one does not answer them.
func TestGammuSendsThroughIt(t *testing.T) {
	gammu := peer.Need(t, "gammu", "gammu")
	m := start(t, modem.Options{})
	rc := filepath.Join(t.TempDir(), "rc")
	require.NoError(t, os.WriteFile(rc, []byte("[gammu]\nport = "+m.Device()+"\nconnection = at115200\n"), 0o600))
	text := strings.Repeat("Stack {B}: 412 ppm, 5€. ", 15)
	ctx, cancel := context.WithTimeout(t.Context(), 30*time.Second)
	defer cancel()
	out, err := exec.CommandContext(ctx, gammu, "-c", rc, "sendsms", "TEXT", "+447700900123", "-textutf8", text, "-len", "900", "-smscnumber", "+447785016005").CombinedOutput()
	require.NoError(t, err, string(out))
	require.Equal(t, []modem.Message{{To: "+447700900123", Text: text, Parts: 3}}, m.Sent())
}
