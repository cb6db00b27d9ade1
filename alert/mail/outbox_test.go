package mail

import (
	"context"
	"encoding/json"
	"io"
	"log/slog"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/emersion/go-smtp"
	"github.com/stretchr/testify/require"

	"undersheet/alert"
	"undersheet/logbook"
	"undersheet/logbook/sqlite"
)

// TestFromTheOutboxToAServer goes the whole way: real store, real sender, real
// server. The server says 451 first, then cuts the connection after it took the
// message, then takes it.
func TestFromTheOutboxToAServer(t *testing.T) {
	s := serve(t, nil, false)
	s.dataErr = []error{&smtp.SMTPError{Code: 451, EnhancedCode: smtp.EnhancedCode{4, 3, 0}, Message: "try later"}}
	store, err := sqlite.Open(filepath.Join(t.TempDir(), "log"), sqlite.Options{})
	require.NoError(t, err)
	defer store.Close()
	_, err = store.Append(t.Context(), []logbook.Entry{&logbook.Clock{Header: logbook.Header{Kind: logbook.KindClock, Time: logbook.At(time.Now())}}})
	require.NoError(t, err)
	b, err := json.Marshal(letter().Letter)
	require.NoError(t, err)
	require.NoError(t, store.AppendRecords(t.Context(), 1, nil, []sqlite.Outgoing{{Key: "k", Messenger: alert.ByMail, To: "R. Amadi", Body: b, NotBefore: time.Now()}}))

	set := config(s.port)
	set.TLS = NoTLS
	now := make(chan time.Time, 1)
	now <- time.Now()
	clock := func() time.Time { c := <-now; now <- c; return c }
	sender := alert.NewSender(store, []alert.Messenger{newServer(t, set)}, alert.Options{People: []logbook.Person{{Name: "R. Amadi", Email: "amadi@depot.example"}},
		Clock: clock, Poll: 5 * time.Millisecond, Logger: slog.New(slog.NewTextHandler(io.Discard, nil))})
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- sender.Run(ctx) }()
	failed := func(n uint64) {
		t.Helper()
		require.Eventually(t, func() bool { return sender.Stats().Failed == n }, 10*time.Second, 2*time.Millisecond)
	}
	failed(1)
	require.Empty(t, s.mails())
	s.mu.Lock()
	s.cut = true
	s.mu.Unlock()
	now <- (<-now).Add(time.Minute)
	failed(2)
	s.mu.Lock()
	s.cut = false
	s.mu.Unlock()
	now <- (<-now).Add(time.Hour)
	require.Eventually(t, func() bool { return sender.Stats().HandedOver == 1 }, 10*time.Second, 2*time.Millisecond)
	cancel()
	require.NoError(t, <-done)

	got := s.mails()
	require.Len(t, got, 2)
	for i, m := range got {
		h, subject, _ := parse(t, m.text)
		require.Equal(t, "<8f3a@depot.example>", h.Get("Message-Id"))
		require.Equal(t, i == 1, strings.HasPrefix(subject, "May be a repeat: "), subject)
	}
	var states []string
	for e, err := range store.Entries(t.Context(), 1) {
		require.NoError(t, err)
		if m, ok := e.(*logbook.Message); ok {
			states = append(states, m.State)
		}
	}
	require.Equal(t, []string{"delayed", "in-doubt", "handed-over"}, states)
}
