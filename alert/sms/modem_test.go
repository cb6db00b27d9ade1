package sms_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"undersheet/alert/sms/modem"
	"undersheet/logbook"
)

func TestDeliver(t *testing.T) {
	t.Parallel()
	long := strings.Repeat("Stack B {north top} 412 ppm, 5€. ", 12) + "\nEmergency: +00 1"
	for _, text := range []string{"Leak, stack B: 412 ppm at the door.\nEmergency: +00 1", "Únik – Ж 😀", long, strings.Repeat("Утечка ", 40) + "\nEmergency: +00 1"} {
		r := newRig(t, modem.Options{PIN: "4711"}, logbook.SMS{PINFile: pinFile(t, "4711"), Centre: "+447785016005"}, quick())
		require.NoError(t, r.Deliver(t.Context(), letter(text)))
		sent := r.far.Sent()
		require.Len(t, sent, 1)
		require.Equal(t, "+447700900123", sent[0].To)
		require.Equal(t, text, sent[0].Text)
		st := r.Stats()
		require.Equal(t, uint64(1), st.Sent)
		require.Equal(t, uint64(sent[0].Parts), st.Parts)
		require.True(t, st.Registered)
		require.Equal(t, -79, st.SignalDBm, "+CSQ: 17")
		require.Empty(t, st.Trouble)
		require.Equal(t, 1, r.count("AT+CPIN="))
		require.Contains(t, r.far.Seen(), `AT+CSCA="+447785016005",145`)
	}
}
