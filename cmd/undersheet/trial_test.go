package main

import (
	"context"
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"undersheet/alert/sms/modem"
)

// Before there is gas, every person gets a message by each way, in their own language, that lets
// nobody in. One that cannot be sent is told, ends with status 1, and stops no other.
func TestTrialMessages(t *testing.T) {
	box, texts := newMailbox(t), make(chan modem.Message, 4)
	m, err := modem.New(modem.Options{Received: func(s modem.Message) { texts <- s }})
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		m.Run(ctx)
	}()
	t.Cleanup(func() { cancel(); <-ended })
	people := `people: [{name: Ana Brook, email: ana.brook@alder.example, phone: "+351900000003"}, {name: Ben Ash, email: ben.ash@alder.example, language: fr, from: high}]
`
	mail := fmt.Sprintf("mail: {host: 127.0.0.1, port: %d, from: depot@alder.example, tls: none}\n", box.port())
	site := write(t, "site.yaml", smallSite+people+mail+fmt.Sprintf("sms: {port: %s}\n", m.Device()))
	status, out, errs := tried(t, "", "check", "--trial", site)
	require.Zero(t, status, errs+out)
	for _, want := range []string{"by mail to Ana Brook, ana.brook@alder.example: handed over", "by sms to Ana Brook, +351900000003: handed over", "by mail to Ben Ash, ben.ash@alder.example: handed over"} {
		require.Contains(t, out, want)
	}
	require.Equal(t, 3, strings.Count(out, "handed over"))
	require.Len(t, box.about("Trial message: nothing has happened"), 1)
	require.Len(t, box.about("Message d'essai"), 1)
	require.Contains(t, box.about("Trial message")[0].text, "lets nobody in")
	require.Contains(t, (<-texts).Text, "Alder Wharf: trial message. Nothing has happened")

	broken := write(t, "site.yaml", smallSite+people+strings.Replace(mail, fmt.Sprint(box.port()), "1", 1))
	status, out, _ = tried(t, "", "check", "--trial", broken)
	require.Equal(t, 1, status)
	require.Equal(t, 2, strings.Count(out, "NOT sent: "), out)
	status, _, errs = tried(t, "", "check", "--trial", write(t, "site.yaml", smallSite))
	require.Equal(t, 1, status)
	require.Contains(t, errs, "nobody under people")
}
