package main

import (
	"encoding/json"
	"io"
	"net/http"
	"net/http/httptest"
	"strconv"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/alert/webhook"
)

// hookSecret signs what the daemon tells the webhook of a test.
const hookSecret = "no secret at all, but long enough for a key"

// hookServer is a webhook that keeps what it is told, once for each id.
type hookServer struct {
	t      *testing.T
	server *httptest.Server
	mu     sync.Mutex
	types  map[string]string // id → type of the event
}

// newHookServer listens until the test ends.
func newHookServer(t *testing.T) *hookServer {
	h := &hookServer{t: t, types: map[string]string{}}
	h.server = httptest.NewServer(http.HandlerFunc(h.take))
	t.Cleanup(h.server.Close)
	return h
}

func (h *hookServer) url() string { return h.server.URL + "/in" }

// take refuses what is not signed with the secret.
func (h *hookServer) take(w http.ResponseWriter, r *http.Request) {
	body, err := io.ReadAll(r.Body)
	if err == nil { // signed by the depot's clock, which is not this machine's
		var seconds int64
		if seconds, err = strconv.ParseInt(r.Header.Get(webhook.TimestampHeader), 10, 64); err == nil {
			err = webhook.Verify(hookSecret, r.Header, body, time.Unix(seconds, 0))
		}
	}
	var event struct{ ID, Type string }
	if err == nil {
		err = json.Unmarshal(body, &event)
	}
	if err != nil {
		http.Error(w, err.Error(), http.StatusForbidden)
		return
	}
	h.mu.Lock()
	defer h.mu.Unlock()
	h.types[event.ID] = event.Type
	w.WriteHeader(http.StatusNoContent)
}

// told counts the events by type.
func (h *hookServer) told() map[string]int {
	h.mu.Lock()
	defer h.mu.Unlock()
	n := map[string]int{}
	for _, kind := range h.types {
		n[kind]++
	}
	return n
}

// waitFor waits for an event of that type.
func (h *hookServer) waitFor(kind string) {
	require.Eventually(h.t, func() bool { return h.told()[kind] > 0 }, patience, tick, "no event %q: %v", kind, h.told())
}
