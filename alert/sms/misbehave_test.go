package sms_test

import (
	"context"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/alert/sms"
	"undersheet/alert/sms/modem"
	"undersheet/alert/sms/pdu"
	"undersheet/logbook"
)

// noise is what a line picks up, and what a modem says unasked: calls, messages,
// registration, the clock, a restart; and answers of nobody's question.
const noise = "\x00\xff\xfe\r\r\nRING\r\n\r\n+CMTI: \"SM\",3\r\n\r\n+CREG: 2\r\n\r\n+CREG: 0,\"00C3\",\"0A2F\"\r\n^BOOT:1,0\r\n\r\nNO CARRIER\r\n"

// Whatever comes in between, and however it comes, the message is sent once and
// nobody is told of a trouble.
func TestHarmlessMisbehaviour(t *testing.T) {
	long := strings.Repeat("0123456789", 40)
	for name, faults := range map[string][]modem.Fault{
		"none":                       nil,
		"noise before every answer":  {{Before: noise, Times: modem.Always}},
		"answers in pieces":          {{Pieces: true, Times: modem.Always}},
		"noise and pieces":           {{Before: noise, Pieces: true, Times: modem.Always}},
		"echo cannot be turned off":  {{On: "ATE0", Answer: "ERROR", Times: modem.Always}},
		"a line without end":         {{Before: "\r\n" + strings.Repeat("x", 5000) + "\r\n", Times: modem.Always}},
		"late once, at the start":    {{On: "AT+CSQ", Late: 700 * time.Millisecond}},
		"knows only what is needed":  {{On: "AT+CMEE", Answer: "ERROR", Times: modem.Always}, {On: "AT+CREG=", Answer: "ERROR"}, {On: "AT+CSQ", Answer: "ERROR", Times: modem.Always}},
		"registered for LTE alone":   {{On: "AT+CREG?", Answer: "+CREG: 0,2\r\n\r\nOK", Times: modem.Always}, {On: "AT+CGREG?", Answer: "ERROR", Times: modem.Always}},
		"says OK and no more":        {{On: "AT+CREG?", Answer: "+CREG: 0,2\r\n\r\nOK", Times: modem.Always}, {On: "AT+CGREG?", Answer: "OK", Times: modem.Always}, {On: "AT+CSQ", Answer: "OK", Times: modem.Always}, {On: "AT+CPINR", Answer: "OK", Times: modem.Always}},
		"SIM busy at first":          {{On: "AT+CPIN?", Answer: "+CME ERROR: 14", Times: 3}},
		"searching at first":         {{On: "AT+C", Skip: 4, Times: 1, Answer: "+CREG: 0,2\r\n\r\nOK"}},
		"taken charge of, OK lost":   {{On: modem.OnBody, Skip: 2, Answer: "+CMGS: 9"}},
		"answers twice":              {{On: "AT+CREG?", Skip: 1, Answer: "+CREG: 0,1\r\n\r\nOK\r\n\r\n+CMS ERROR: 500"}, {On: "AT+CMGF=0", Skip: 1, Answer: "OK\r\n\r\n+CMS ERROR: 500"}},
		"hangs at the first attempt": {{Silent: true, Times: 9}},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			r := newRig(t, modem.Options{PIN: "4711", Faults: faults}, logbook.SMS{PINFile: pinFile(t, "4711")}, quick())
			r.until(t, "ready", ready)
			require.NoError(t, r.Deliver(t.Context(), letter(long)))
			if name != "taken charge of, OK lost" {
				require.Equal(t, []modem.Message{{To: "+447700900123", Text: long, Parts: 3}}, r.far.Sent())
			}
			require.Equal(t, 1, r.count("AT+CPIN="))
			require.Empty(t, r.Stats().Trouble)
			require.Equal(t, uint64(0), r.Stats().Failed)
		})
	}
}

// outcome is what the sender is told of a failed attempt.
type outcome struct {
	permanent, everyone, doubt bool
	says                       string
}

// One misbehaviour in the first attempt, and what the sender must be told. A
// second attempt at another message then goes through, once: nothing left over
// from the first is taken for its answer.
func TestFailedAttempts(t *testing.T) {
	for name, c := range map[string]struct {
		fault modem.Fault
		want  outcome
		sent  int // messages that arrived of the first attempt
	}{
		"network out of order":           {modem.Fault{On: modem.OnBody, Answer: "+CMS ERROR: 38"}, outcome{false, true, false, "the network is out of order (CMS error 38)"}, 0},
		"invalid PDU":                    {modem.Fault{On: modem.OnBody, Answer: "+CMS ERROR: 304"}, outcome{true, false, false, "the modem calls the message invalid (CMS error 304)"}, 0},
		"unknown error":                  {modem.Fault{On: modem.OnBody, Answer: "+CMS ERROR: 500"}, outcome{false, true, true, "gives no reason (CMS error 500)"}, 0},
		"number of nobody":               {modem.Fault{On: modem.OnBody, Answer: "+CMS ERROR: 1"}, outcome{true, false, false, "assigned to nobody"}, 0},
		"barred":                         {modem.Fault{On: modem.OnBody, Answer: "+CMS ERROR: 8"}, outcome{true, true, false, "barred this SIM"}, 0},
		"memory of the receiver full":    {modem.Fault{On: modem.OnBody, Answer: "+CMS ERROR: 22"}, outcome{false, false, false, "memory"}, 0},
		"no centre":                      {modem.Fault{On: modem.OnBody, Answer: "+CMS ERROR: 330"}, outcome{true, true, false, "set sms.centre"}, 0},
		"network did not answer":         {modem.Fault{On: modem.OnBody, Answer: "+CMS ERROR: 332"}, outcome{false, true, true, "did not answer in time"}, 0},
		"a maker's own code":             {modem.Fault{On: modem.OnBody, Answer: "+CMS ERROR: 531"}, outcome{false, true, true, "CMS error 531"}, 0},
		"words for a code":               {modem.Fault{On: modem.OnBody, Answer: "+CMS ERROR: no network"}, outcome{false, true, true, `"no network"`}, 0},
		"plain error":                    {modem.Fault{On: modem.OnBody, Answer: "ERROR"}, outcome{false, true, true, "answered ERROR"}, 0},
		"refused before the prompt":      {modem.Fault{On: "AT+CMGS", Answer: "+CMS ERROR: 500"}, outcome{false, true, false, "CMS error 500"}, 0},
		"mode refused":                   {modem.Fault{On: "AT+CMGF=", Answer: "+CME ERROR: 3"}, outcome{true, true, false, "does not allow"}, 0},
		"prompt never comes":             {modem.Fault{On: "AT+CMGS", Silent: true}, outcome{false, true, false, "wait for the prompt"}, 0},
		"prompt comes late":              {modem.Fault{On: "AT+CMGS", Late: 600 * time.Millisecond}, outcome{false, true, false, "wait for the prompt"}, 0},
		"OK in place of a prompt":        {modem.Fault{On: "AT+CMGS", Answer: "OK"}, outcome{false, true, false, "wait for the prompt"}, 0},
		"hangs after the message":        {modem.Fault{On: modem.OnBody, Silent: true}, outcome{false, true, true, "wait for the answer to the message"}, 1},
		"answers late after the message": {modem.Fault{On: modem.OnBody, Late: 800 * time.Millisecond}, outcome{false, true, true, "wait for the answer to the message"}, 1},
		"OK without a reference":         {modem.Fault{On: modem.OnBody, Answer: "OK"}, outcome{false, true, true, "wait for the answer"}, 0},
		"answers a question late":        {modem.Fault{On: "AT+CREG?", Late: 600 * time.Millisecond}, outcome{false, true, false, "ask for the network"}, 0},
		"answers a setting late":         {modem.Fault{On: "AT+CMGF=", Late: 600 * time.Millisecond}, outcome{false, true, false, "set the modem up"}, 0},
		"hangs for long":                 {modem.Fault{Silent: true, Times: 12}, outcome{false, true, false, ""}, 0},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			r := newRig(t, modem.Options{}, logbook.SMS{}, quick())
			r.until(t, "ready", ready)
			r.far.AddFault(c.fault)
			f := failure(t, r.Deliver(t.Context(), letter("first")))
			require.Equal(t, c.want, outcome{f.Permanent, f.Everyone, f.InDoubt, c.want.says})
			require.ErrorContains(t, f, c.want.says)
			require.ErrorContains(t, f, `send SMS to "R. Amadi" through modem`)
			require.Equal(t, f.Error(), r.Stats().LastError)

			r.far.Heal()
			require.NoError(t, r.Deliver(t.Context(), letter("second")))
			sent := r.far.Sent()
			require.Len(t, sent, c.sent+1)
			require.Equal(t, "second", sent[c.sent].Text)
			require.Empty(t, r.Stats().Trouble)
		})
	}
}

// Parts one and two of three go out, the second's answer is a refusal that passes.
func TestPartOfALongMessageFails(t *testing.T) {
	t.Parallel()
	r := newRig(t, modem.Options{Faults: []modem.Fault{{On: modem.OnBody, Skip: 1, Answer: "+CMS ERROR: 42"}}}, logbook.SMS{}, quick())
	text := strings.Repeat("0123456789", 40)
	f := failure(t, r.Deliver(t.Context(), letter(text)))
	require.True(t, f.InDoubt, "a part of it is out")
	require.False(t, f.Permanent)
	require.ErrorContains(t, f, "part 2 of 3: ")
	require.ErrorContains(t, f, "congested")
	require.Empty(t, r.far.Sent())

	first := r.references()
	again := letter(text)
	again.Repeat = true
	require.NoError(t, r.Deliver(t.Context(), again))
	require.Equal(t, []modem.Message{{To: "+447700900123", Text: "May be a repeat. " + text, Parts: 3}}, r.far.Sent(), "not joined with parts of the first attempt")
	require.NotEqual(t, first[0], r.references()[len(r.references())-1], "another reference for another attempt")
}

func TestUnpluggedAndPluggedInAgain(t *testing.T) {
	t.Parallel()
	r := newRig(t, modem.Options{PIN: "4711"}, logbook.SMS{PINFile: pinFile(t, "4711")}, quick())
	r.until(t, "ready", ready)
	r.far.Unplug()
	st := r.until(t, "gone", func(s sms.Stats) bool { return !s.Ready })
	require.False(t, st.Registered)
	require.Contains(t, st.LastError, "serial port")
	require.False(t, st.Attention)

	soon, cancel := context.WithTimeout(t.Context(), 50*time.Millisecond)
	defer cancel()
	f := failure(t, r.Deliver(soon, letter("nobody there")))
	require.Equal(t, []bool{false, true, false}, []bool{f.Permanent, f.Everyone, f.InDoubt})
	require.ErrorIs(t, f, context.DeadlineExceeded)

	require.NoError(t, r.far.Plug())
	require.NoError(t, r.Deliver(t.Context(), letter("back")))
	require.Equal(t, 2, r.count("AT+CPIN="), "the SIM asked for its PIN again, and took it")
}

func TestUnpluggedInTheMiddle(t *testing.T) {
	for name, c := range map[string]struct {
		on    string
		doubt bool
	}{"before the prompt": {"AT+CMGS", false}, "after the message": {modem.OnBody, true}} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			r := newRig(t, modem.Options{Faults: []modem.Fault{{On: c.on, Unplug: true}}}, logbook.SMS{}, quick())
			f := failure(t, r.Deliver(t.Context(), letter("first")))
			require.Equal(t, []bool{false, true, c.doubt}, []bool{f.Permanent, f.Everyone, f.InDoubt})
			require.ErrorContains(t, f, "disappeared")
			require.NoError(t, r.far.Plug())
			require.NoError(t, r.Deliver(t.Context(), letter("second")))
		})
	}
}

func TestNetwork(t *testing.T) {
	for name, c := range map[string]struct {
		stat      int
		permanent bool
		says      string
	}{"searching": {modem.Searching, false, "there is no network: searching"}, "idle": {modem.Idle, false, "not searching"},
		"denied": {modem.Denied, true, "does not take this SIM: registration denied"}} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			r := newRig(t, modem.Options{}, logbook.SMS{}, quick())
			r.far.SetNetwork(c.stat)
			f := failure(t, r.Deliver(t.Context(), letter("first")))
			require.Equal(t, []bool{c.permanent, true, false}, []bool{f.Permanent, f.Everyone, f.InDoubt})
			require.ErrorContains(t, f, c.says)
			st := r.Stats()
			require.False(t, st.Registered)
			require.Contains(t, st.Trouble, c.says)
			require.Equal(t, c.permanent, st.Attention)

			r.far.SetNetwork(modem.Roaming)
			require.NoError(t, r.Deliver(t.Context(), letter("second")))
			require.True(t, r.Stats().Registered)
			require.Equal(t, "registered, roaming", r.Stats().Network)
			require.Empty(t, r.Stats().Trouble)
		})
	}
}

// references are those of the parts that came to the emulator.
func (r rig) references() (all []byte) {
	for _, line := range r.far.Seen() {
		if s, err := pdu.Decode(line); err == nil {
			all = append(all, s.Reference)
		}
	}
	return all
}

// A modem that starts anew by itself has forgotten its settings and asks for its
// PIN again. A message that fails for it is followed by a look at once.
func TestModemStartsAnewByItself(t *testing.T) {
	t.Parallel()
	for _, answer := range []string{"+CMS ERROR: 311", "ERROR"} {
		r := newRig(t, modem.Options{PIN: "4711"}, logbook.SMS{PINFile: pinFile(t, "4711"), Mode: sms.ModeText}, quick())
		require.NoError(t, r.Deliver(t.Context(), letter("first")))
		r.far.AddFault(modem.Fault{On: "AT+CMGS", Restart: true, Answer: answer})
		f := failure(t, r.Deliver(t.Context(), letter("second")))
		require.Equal(t, []bool{false, true, false}, []bool{f.Permanent, f.Everyone, f.InDoubt})
		require.NoError(t, r.Deliver(t.Context(), letter("third")))
		require.Equal(t, 2, r.count("AT+CPIN="))
	}
	r := newRig(t, modem.Options{}, logbook.SMS{Mode: sms.ModeText}, quick())
	r.until(t, "ready", ready)
	r.far.AddFault(modem.Fault{On: "AT+CREG?", Restart: true})
	require.NoError(t, r.Deliver(t.Context(), letter("the mode is set anew before each message")))
}

func TestLooksAtTheModem(t *testing.T) {
	t.Parallel()
	o := quick()
	o.Look = 20 * time.Millisecond
	r := newRig(t, modem.Options{PIN: "4711"}, logbook.SMS{PINFile: pinFile(t, "4711")}, o)
	r.until(t, "ready", ready)
	r.far.AddFault(modem.Fault{On: "AT+CSQ", Restart: true})
	require.Eventually(t, func() bool { return r.count("AT+CPIN=") == 2 }, 10*time.Second, 5*time.Millisecond, "a look sees that the SIM was closed")
	r.until(t, "ready", ready)
	r.far.SetNetwork(modem.Searching)
	r.until(t, "no network", func(s sms.Stats) bool { return s.Ready && !s.Registered && s.Trouble != "" })
	r.far.SetNetwork(modem.Home)
	r.until(t, "network", func(s sms.Stats) bool { return s.Registered && s.Trouble == "" })
	r.far.AddFault(modem.Fault{Silent: true, Times: modem.Always})
	r.until(t, "hangs", func(s sms.Stats) bool { return !s.Ready && strings.Contains(s.Trouble, "answers nothing") })
	r.far.Heal()
	r.until(t, "answers again", ready)
}

// Deliver ends soon after its context, however the modem hangs; what was given is in doubt.
func TestDeliverEndsWithItsContext(t *testing.T) {
	t.Parallel()
	o := quick()
	o.Send = time.Hour
	r := newRig(t, modem.Options{Faults: []modem.Fault{{On: modem.OnBody, Silent: true}}}, logbook.SMS{}, o)
	r.until(t, "ready", ready)
	ctx, cancel := context.WithTimeout(t.Context(), 500*time.Millisecond)
	defer cancel()
	start := time.Now()
	f := failure(t, r.Deliver(ctx, letter("first")))
	require.Less(t, time.Since(start), 5*time.Second)
	require.True(t, f.InDoubt)
	require.ErrorIs(t, f, context.DeadlineExceeded)
	require.NoError(t, r.Deliver(t.Context(), letter("second")))
}
