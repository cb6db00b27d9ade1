package sms_test

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/alert/sms"
	"undersheet/alert/sms/modem"
	"undersheet/logbook"
)

// What text mode can say goes as it is, the rest as UCS2; long ones numbered.
func TestTextMode(t *testing.T) {
	r := newRig(t, modem.Options{}, logbook.SMS{Mode: sms.ModeText, Centre: "8080"}, quick())
	for _, c := range []struct{ text, command string }{
		{"Leak, stack B: 412 ppm (+5 %).\nEmergency: +00 1", `AT+CMGS="+447700900123",145`},
		{"5 € at {B}", `AT+CMGS="002B003400340037003700300030003900300030003100320033",145`},
		{"Ξ ends a message, ò steps back", `AT+CMGS="002B`}, // the alphabet has them at 26 and 8
		{"Утечка 😀", `AT+CMGS="002B`},
		{"an echo must not be an answer\nOK", `AT+CMGS="002B`},
		{"nor this\n+CMGS: 4", `AT+CMGS="002B`},
	} {
		require.NoError(t, r.Deliver(t.Context(), letter(c.text)))
		sent := r.far.Sent()
		require.Equal(t, modem.Message{To: "+447700900123", Text: c.text, Parts: 1}, sent[len(sent)-1])
		seen := r.far.Seen()
		require.True(t, strings.HasPrefix(seen[len(seen)-2], c.command), seen[len(seen)-2])
	}
	require.Contains(t, r.far.Seen(), `AT+CSCA="8080",129`)
}

func TestTextModeNumbersLongTexts(t *testing.T) {
	r := newRig(t, modem.Options{}, logbook.SMS{Mode: sms.ModeText}, quick())
	d := letter(strings.Repeat("0123456789", 40) + "\nEmergency: 1")
	d.Address = "8080"
	require.NoError(t, r.Deliver(t.Context(), d))
	d.Short = strings.Repeat("Ж", 100)
	require.NoError(t, r.Deliver(t.Context(), d))
	var whole, wholeUCS2 string
	for i, s := range r.far.Sent() {
		require.Equal(t, "8080", s.To)
		number := []string{"1/3 ", "2/3 ", "3/3 ", "1/2 ", "2/2 "}[i]
		require.True(t, strings.HasPrefix(s.Text, number), s.Text)
		if i < 3 {
			whole += s.Text[4:]
		} else {
			wholeUCS2 += s.Text[4:]
		}
	}
	require.Equal(t, strings.Repeat("0123456789", 40)+"\nEmergency: 1", whole)
	require.Equal(t, d.Short, wholeUCS2)
}

// What people read: repeats and late ones say so, typographic marks do not
// halve the room, and the emergency line is never cut off.
func TestWhatIsSent(t *testing.T) {
	r := newRig(t, modem.Options{}, logbook.SMS{}, quick())
	say := func(change func(short *string, repeat *bool, late *time.Duration)) modem.Message {
		t.Helper()
		d := letter("Leak, stack B")
		var late time.Duration
		change(&d.Short, &d.Repeat, &late)
		d.At = d.At.Add(late)
		require.NoError(t, r.Deliver(t.Context(), d))
		sent := r.far.Sent()
		return sent[len(sent)-1]
	}
	type short = *string
	require.Equal(t, "May be a repeat. Leak, stack B", say(func(_ short, r *bool, _ *time.Duration) { *r = true }).Text)
	require.Equal(t, "Late, written 2026-03-01 14:00 UTC. Leak, stack B", say(func(_ short, _ *bool, l *time.Duration) { *l = time.Hour }).Text)
	nairobi := letter("Leak, stack B")
	nairobi.Zone = "Africa/Nairobi"
	require.Equal(t, "2026-03-01 17:00 EAT", nairobi.WrittenAt(), "by the clock of the depot: three hours ahead (IANA time zone database)")
	require.Equal(t, "[Depot] HIGH: leak, stack B", say(func(s short, _ *bool, _ *time.Duration) { *s = "" }).Text)
	require.Equal(t, "May be a repeat: [Depot] HIGH: leak, stack B", say(func(s short, r *bool, _ *time.Duration) { *s, *r = "\n", true }).Text)
	require.Equal(t, `"North top" - 412 ppm, 31 C...`, say(func(s short, _ *bool, _ *time.Duration) { *s = "“North\u00a0top” – 412 ppm, 31°C…" }).Text)
	require.Equal(t, "Ж – 31°C", say(func(s short, _ *bool, _ *time.Duration) { *s = "Ж – 31°C" }).Text, "UCS-2 anyway: nothing is changed")
	require.Equal(t, "a\nb\ufffd", say(func(s short, _ *bool, _ *time.Duration) { *s = "a\r\nb\xff" }).Text)

	const emergency = "\nEmergency: +00 1 555, gas team of the depot"
	for _, word := range []string{"412 ppm ", "{€} ", "Утечка ", "😀"} {
		got := say(func(s short, _ *bool, _ *time.Duration) { *s = strings.Repeat(word, 500) + emergency })
		require.Equal(t, 6, got.Parts)
		require.True(t, strings.HasSuffix(got.Text, "..."+emergency), got.Text)
		require.True(t, strings.HasPrefix(got.Text, strings.Repeat(word, 50)), got.Text)
	}
	got := say(func(s short, _ *bool, _ *time.Duration) { *s = strings.Repeat("x", 2000) })
	require.Equal(t, strings.Repeat("x", 6*153-3)+"...", got.Text)
	got = say(func(s short, _ *bool, _ *time.Duration) { *s = "Leak\n" + strings.Repeat("y", 2000) })
	require.True(t, strings.HasPrefix(got.Text, "Leak\nyyy"), "a last line that no message holds is cut itself")
}

func TestLetterWithoutANumber(t *testing.T) {
	t.Parallel()
	r := newRig(t, modem.Options{}, logbook.SMS{}, quick())
	for _, address := range []string{"", "amadi@depot.example", "+", "123456789012345678901"} {
		d := letter("Leak")
		d.Address = address
		f := failure(t, r.Deliver(t.Context(), d))
		require.Equal(t, []bool{true, false, false}, []bool{f.Permanent, f.Everyone, f.InDoubt}, "it concerns this person alone")
		require.ErrorContains(t, f, "telephone number")
	}
	require.Equal(t, uint64(4), r.Stats().Failed)
}

func TestNewSaysEverythingThatIsWrong(t *testing.T) {
	t.Setenv("GOOD", " 4711\n")
	t.Setenv("BAD", "47x1")
	for want, conf := range map[string]logbook.SMS{
		"sms.port: missing":                          {},
		"sms.baud: must be from 300":                 {Port: "x", Baud: 1},
		`sms.mode: must be pdu or text`:              {Port: "x", Mode: "PDU"},
		"sms.centre: telephone number":               {Port: "x", Centre: "the usual one"},
		"there is no PIN of 4 to 8 digits":           {Port: "x", PINEnv: "BAD"},
		"sms.pin_env: give either":                   {Port: "x", PINEnv: "GOOD", PINFile: "y"},
		"sms.pin_file: read secret":                  {Port: "x", PINFile: "/does/not/exist"},
		"sms.pin_env, sms.pin_file: there is no PIN": {Port: "x", PINFile: pinFile(t, "123456789")},
	} {
		m, err := sms.New(conf, sms.Options{})
		require.ErrorContains(t, err, want)
		require.Nil(t, m)
		require.NotContains(t, err.Error(), "47x1")
	}
	_, err := sms.New(logbook.SMS{Mode: "x", Baud: 1}, sms.Options{})
	require.Len(t, strings.Split(err.Error(), "\n"), 3, "all faults at once")
	m, err := sms.New(logbook.SMS{Port: "x", PINEnv: "GOOD", Centre: "+44 7785 016005"}, sms.Options{})
	require.NoError(t, err)
	require.Equal(t, "sms", m.Name())
	require.Equal(t, "the modem was not opened yet", m.Stats().Trouble)
}

// Without Run nothing is sent, and Deliver says so after Options.Ready.
func TestDeliverWithoutRun(t *testing.T) {
	t.Parallel()
	m, err := sms.New(logbook.SMS{Port: "x"}, sms.Options{Ready: time.Millisecond})
	require.NoError(t, err)
	f := failure(t, m.Deliver(t.Context(), letter("x")))
	require.ErrorContains(t, f, "not opened yet")
	require.False(t, f.Permanent)
}
