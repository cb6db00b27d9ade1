package web

import (
	"context"
	"net"
	"net/http"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestOnlyThisMachine(t *testing.T) {
	h := invented().handler(Options{})
	for host, want := range map[string]int{"127.0.0.1:8080": 200, "localhost:8080": 200, "LOCALHOST": 200, "[::1]:8080": 200, "127.9.9.9": 200,
		"evil.example": 403, "evil.example:8080": 403, "192.168.1.5:8080": 403, "127.0.0.1.evil.example": 403, "localhost.evil.example": 403, "": 403, "0.0.0.0:8080": 403, "[::]:8080": 403} {
		require.Equal(t, want, ask(h, http.MethodGet, "/", host, "127.0.0.1:4321").Code, host)
	}
	for from, want := range map[string]int{"[::1]:99": 200, "192.168.1.5:99": 403, "[fe80::1%25eth0]:99": 403, "": 403, "@": 403} {
		require.Equal(t, want, ask(h, http.MethodGet, "/metrics", "localhost", from).Code, from)
	}
	for _, method := range []string{"PUT", "DELETE", "PATCH", "OPTIONS", "CONNECT", "TRACE"} {
		w := ask(h, method, "/", "localhost", "127.0.0.1:1")
		require.Equal(t, http.StatusMethodNotAllowed, w.Code, method)
		require.Equal(t, "GET, HEAD, POST", w.Header().Get("Allow"))
	}
	posted := ask(h, "POST", "/", "localhost", "127.0.0.1:1")
	require.Equal(t, http.StatusMethodNotAllowed, posted.Code)
	require.Equal(t, "GET, HEAD", posted.Header().Get("Allow"))
	w := ask(h, http.MethodHead, "/", "localhost", "127.0.0.1:1")
	require.Equal(t, http.StatusOK, w.Code)
	require.Contains(t, w.Header().Get("Content-Security-Policy"), "default-src 'self'")
	require.Equal(t, "no-store", w.Header().Get("Cache-Control"))
	require.Equal(t, "nosniff", w.Header().Get("X-Content-Type-Options"))
}

func TestCheckLoopback(t *testing.T) {
	for _, ok := range []string{"127.0.0.1:8080", "localhost:0", "[::1]:80", "127.1.2.3:1"} {
		require.NoError(t, CheckLoopback(ok), ok)
	}
	for _, bad := range []string{":8080", "0.0.0.0:8080", "[::]:8080", "192.168.0.1:80", "depot.example:80", "127.0.0.1", "", "localhost.example:1"} {
		require.Error(t, CheckLoopback(bad), bad)
	}
}

func TestServeEndsWithItsContext(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- Serve(ctx, l, invented().handler(Options{})) }()
	stream, err := http.Get("http://" + l.Addr().String() + "/live")
	require.NoError(t, err)
	defer stream.Body.Close()
	require.Equal(t, "text/event-stream", stream.Header.Get("Content-Type"))
	cancel()
	require.NoError(t, <-ended, "a live stream does not hold the end up")
	_, err = net.Dial("tcp", l.Addr().String())
	require.Error(t, err)
}

func TestServeRefusesOtherAddresses(t *testing.T) {
	l, err := net.Listen("tcp", "0.0.0.0:0")
	require.NoError(t, err)
	require.ErrorContains(t, Serve(t.Context(), l, http.NotFoundHandler()), "ssh tunnel")
	_, err = l.Accept()
	require.ErrorIs(t, err, net.ErrClosed)
}
