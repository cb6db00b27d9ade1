package webhook

import (
	"bufio"
	"context"
	"encoding/pem"
	"fmt"
	"io"
	"log"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/alert"
	"undersheet/logbook"
)

var _ alert.Messenger = (*Hooks)(nil)

func hookTo(url string) logbook.Webhook {
	return logbook.Webhook{Name: "duty room", URL: url, SecretEnv: "HOOK"}
}

// failure delivers d and returns how that failed.
func failure(t *testing.T, h *Hooks, d *alert.Delivery) *alert.Failure {
	t.Helper()
	var f *alert.Failure
	require.ErrorAs(t, h.Deliver(t.Context(), d), &f)
	require.False(t, f.Everyone, "one hook's trouble must not hold up the others")
	require.NotContains(t, f.Error(), secret)
	require.Contains(t, f.Error(), "duty room")
	return f
}

// receiver takes events as a receiver should: it checks the signature and keeps
// what it took.
type receiver struct {
	mu   sync.Mutex
	took [][]byte
}

func (r *receiver) ServeHTTP(w http.ResponseWriter, req *http.Request) {
	body, err := io.ReadAll(req.Body)
	if err == nil {
		err = Verify(secret, req.Header, body, noon.Std())
	}
	if err != nil || req.Method != http.MethodPost || req.Header.Get("Content-Type") != "application/cloudevents+json" {
		http.Error(w, fmt.Sprint(err), http.StatusUnauthorized)
		return
	}
	r.mu.Lock()
	r.took = append(r.took, body)
	r.mu.Unlock()
	w.WriteHeader(http.StatusNoContent)
}

func TestDeliver(t *testing.T) {
	file := filepath.Join(t.TempDir(), "secret")
	require.NoError(t, os.WriteFile(file, []byte(secret+"\n"), 0o600))
	r := &receiver{}
	plain, secure := httptest.NewServer(r), httptest.NewTLSServer(r)
	defer plain.Close()
	defer secure.Close()
	ca := filepath.Join(t.TempDir(), "ca.pem")
	require.NoError(t, os.WriteFile(ca, pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: secure.Certificate().Raw}), 0o600))
	h := newHooks(t, hookTo(plain.URL+"/in?depot=7"), logbook.Webhook{Name: "siren", URL: secure.URL, CA: ca, SecretFile: file})
	require.Equal(t, "webhook", h.Name())
	for i, to := range []string{"duty room", "siren"} {
		d := letter()
		d.Person = to
		require.NoError(t, h.Deliver(t.Context(), d))
		require.Len(t, r.took, i+1)
		require.Equal(t, "8f3a@depot.example", parsed(t, r.took[i])["id"])
	}
	d := letter()
	d.Person = "nobody"
	var f *alert.Failure
	require.ErrorAs(t, h.Deliver(t.Context(), d), &f)
	require.Equal(t, [3]bool{true, false, false}, flags(f))

	t.Run("secret is read anew", func(t *testing.T) {
		require.NoError(t, os.WriteFile(file, []byte(strings.Repeat("x", 32)), 0o600))
		d := letter()
		d.Person = "siren"
		require.ErrorAs(t, h.Deliver(t.Context(), d), &f)
		require.ErrorContains(t, f, "401")
		require.ErrorContains(t, f, "is the secret the same")
		require.True(t, f.Permanent)
		require.NoError(t, os.Remove(file))
		require.ErrorAs(t, h.Deliver(t.Context(), d), &f)
		require.ErrorContains(t, f, "secret_file")
		require.NoError(t, os.WriteFile(file, []byte(secret), 0o600))
		require.NoError(t, h.Deliver(t.Context(), d), "put right, it goes on at once")
	})
}

func TestCertificates(t *testing.T) {
	var asked atomic.Int32
	secure := httptest.NewUnstartedServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { asked.Add(1) }))
	secure.Config.ErrorLog = log.New(io.Discard, "", 0)
	secure.StartTLS()
	defer secure.Close()
	plain := httptest.NewServer(http.NotFoundHandler())
	defer plain.Close()
	for name, address := range map[string]string{"unknown authority": secure.URL, "no TLS there": strings.Replace(plain.URL, "http", "https", 1)} {
		f := failure(t, newHooks(t, hookTo(address)), letter())
		require.Equal(t, [3]bool{true, false, false}, flags(f), "%s: %v", name, f)
	}
	require.Zero(t, asked.Load())
}

// TestRedirectsAreNotFollowed, neither to another server nor on the same one.
func TestRedirectsAreNotFollowed(t *testing.T) {
	var elsewhere atomic.Int32
	other := httptest.NewServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { elsewhere.Add(1) }))
	defer other.Close()
	for _, status := range []int{301, 302, 303, 307, 308} {
		var asked atomic.Int32
		s := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			asked.Add(1)
			to := other.URL
			if status == 308 {
				to = "/there"
			}
			http.Redirect(w, r, to, status)
		}))
		f := failure(t, newHooks(t, hookTo(s.URL)), letter())
		require.Equal(t, [3]bool{true, false, false}, flags(f), f.Error())
		require.EqualValues(t, 1, asked.Load())
		s.Close()
	}
	require.Zero(t, elsewhere.Load())
}

// raw starts a server that answers with whatever talk writes once it has read
// the request's headers and, unless early, its body, too.
func raw(t *testing.T, early bool, talk func(c net.Conn, gone <-chan struct{})) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	gone := make(chan struct{})
	var all sync.WaitGroup
	all.Go(func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			all.Go(func() {
				defer c.Close()
				if req, err := http.ReadRequest(bufio.NewReader(c)); err == nil && !early {
					io.Copy(io.Discard, req.Body)
				}
				talk(c, gone)
			})
		}
	})
	t.Cleanup(func() { close(gone); l.Close(); all.Wait() })
	return "http://" + l.Addr().String()
}

// TestMisbehavingServers: none costs more than the timeout or more than bounded
// memory, and what is in doubt is said to be.
func TestMisbehavingServers(t *testing.T) {
	hang := func(c net.Conn, gone <-chan struct{}) { <-gone }
	trickle := func(head string) func(net.Conn, <-chan struct{}) {
		return func(c net.Conn, gone <-chan struct{}) {
			io.WriteString(c, head)
			tick := time.NewTicker(10 * time.Millisecond)
			defer tick.Stop()
			for {
				select {
				case <-gone:
					return
				case <-tick.C:
					if _, err := io.WriteString(c, "x"); err != nil {
						return
					}
				}
			}
		}
	}
	flood := func(head, line string) func(net.Conn, <-chan struct{}) {
		return func(c net.Conn, _ <-chan struct{}) {
			io.WriteString(c, head)
			for range 2000 { // 2 MB, less than what the library would take by itself
				if _, err := io.WriteString(c, line); err != nil {
					return
				}
			}
		}
	}
	say := func(s string) func(net.Conn, <-chan struct{}) {
		return func(c net.Conn, _ <-chan struct{}) { io.WriteString(c, s) }
	}
	long := strings.Repeat("y", 1000)
	for _, tt := range []struct {
		name  string
		early bool
		talk  func(net.Conn, <-chan struct{})
		want  [3]bool
		says  string
	}{
		{"hangs after the request", false, hang, [3]bool{false, false, true}, "no answer in time"},
		{"closes without an answer", false, say(""), [3]bool{false, false, true}, "EOF"},
		{"half a status line", false, say("HTTP/1.1 2"), [3]bool{false, false, true}, ""},
		{"half a header", false, say("HTTP/1.1 200 OK\r\nContent-Len"), [3]bool{false, false, true}, ""},
		{"no HTTP", false, say("220 mail.depot.example ESMTP\r\n"), [3]bool{false, false, true}, "malformed"},
		{"header trickles", false, trickle("HTTP/1.1 200 OK\r\nX: "), [3]bool{false, false, true}, "no answer in time"},
		{"header floods", false, flood("HTTP/1.1 200 OK\r\n", "X-Y: "+long+"\r\n"), [3]bool{false, false, true}, "exceeded"},
		{"continues for ever", false, flood("", "HTTP/1.1 103 Early Hints\r\nX-Y: "+long+"\r\n\r\n"), [3]bool{false, false, true}, ""},
		{"refusal trickles", false, trickle("HTTP/1.1 400 Bad\r\nContent-Length: 100000\r\n\r\nno such depot "), [3]bool{true, false, false}, "no such depot xx"},
		{"refusal floods", false, flood("HTTP/1.1 503 Busy\r\n\r\n", long), [3]bool{false, false, false}, "503"},
		{"refusal is cut", false, say("HTTP/1.1 422 No\r\nContent-Length: 500\r\n\r\nhalf an ans"), [3]bool{true, false, false}, "half an ans"},
		{"refuses before the body", true, say("HTTP/1.1 413 Too Large\r\nConnection: close\r\n\r\n"), [3]bool{true, false, false}, "413"},
		{"changes the protocol", false, say("HTTP/1.1 101 Switching Protocols\r\nUpgrade: x\r\nConnection: Upgrade\r\n\r\n"), [3]bool{true, false, false}, "101"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			h, err := New([]logbook.Webhook{hookTo(raw(t, tt.early, tt.talk))}, Options{Source: Source("depot"), Timeout: 400 * time.Millisecond})
			require.NoError(t, err)
			began := time.Now()
			f := failure(t, h, letter())
			require.Less(t, time.Since(began), 3*time.Second)
			require.Equal(t, tt.want, flags(f), f.Error())
			require.Contains(t, f.Error(), tt.says)
			require.Less(t, len(f.Error()), 1000)
		})
	}
}

// TestARefusalIsReadInPart, as far as its bounds go: of bytes, and of time however
// long the timeout is.
func TestARefusalIsReadInPart(t *testing.T) {
	t.Parallel()
	var sent atomic.Int64
	flood := raw(t, false, func(c net.Conn, _ <-chan struct{}) {
		io.WriteString(c, "HTTP/1.1 400 Bad\r\n\r\n")
		part := make([]byte, 1<<20)
		for range 100 {
			n, err := c.Write(part)
			if sent.Add(int64(n)); err != nil {
				return
			}
		}
	})
	trickle := raw(t, false, func(c net.Conn, gone <-chan struct{}) {
		io.WriteString(c, "HTTP/1.1 400 Bad\r\n\r\nno such depot")
		<-gone
	})
	h, err := New([]logbook.Webhook{hookTo(flood), {Name: "siren", URL: trickle, SecretEnv: "HOOK"}}, Options{Source: Source("depot"), Timeout: time.Hour})
	require.NoError(t, err)
	require.True(t, failure(t, h, letter()).Permanent)
	require.Less(t, sent.Load(), int64(32<<20), "what the kernel's buffers hold, not all of it")
	d, began := letter(), time.Now()
	d.Person = "siren"
	require.ErrorContains(t, h.Deliver(t.Context(), d), "no such depot")
	require.Less(t, time.Since(began), answerWithin+3*time.Second)
}

// TestEachLetterHasItsOwnConnection, so that a half-dead one harms no other and
// the library has nothing to send again by itself.
func TestEachLetterHasItsOwnConnection(t *testing.T) {
	var conns atomic.Int32
	s := httptest.NewUnstartedServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) {}))
	s.Config.ConnState = func(_ net.Conn, state http.ConnState) {
		if state == http.StateNew {
			conns.Add(1)
		}
	}
	s.Start()
	defer s.Close()
	h := newHooks(t, hookTo(s.URL))
	for range 3 {
		require.NoError(t, h.Deliver(t.Context(), letter()))
	}
	require.EqualValues(t, 3, conns.Load())
}

// TestTakenIsTaken: once the status is 2xx, what the body does changes nothing.
func TestTakenIsTaken(t *testing.T) {
	for _, rest := range []string{"Content-Length: 500\r\n\r\nhalf", "Transfer-Encoding: chunked\r\n\r\nzz\r\n", "Content-Encoding: gzip\r\n\r\nno gzip"} {
		url := raw(t, false, func(c net.Conn, _ <-chan struct{}) { io.WriteString(c, "HTTP/1.1 202 Accepted\r\n"+rest) })
		require.NoError(t, newHooks(t, hookTo(url)).Deliver(t.Context(), letter()), rest)
	}
}

// closedPort returns an address at which nobody listens.
func closedPort(t *testing.T) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer l.Close()
	return l.Addr().String()
}

func TestNobodyListens(t *testing.T) {
	f := failure(t, newHooks(t, hookTo("http://"+closedPort(t)+"/in?token=hidden")), letter())
	require.Equal(t, [3]bool{}, flags(f), f.Error())
	require.Contains(t, f.Error(), "refused")
	require.NotContains(t, f.Error(), "hidden", "a query may hold a secret")
}

// TestStopCutsAnAttemptShort, and leaves the webhook ready for the next start.
func TestStopCutsAnAttemptShort(t *testing.T) {
	came := make(chan struct{}, 1)
	url := raw(t, false, func(_ net.Conn, gone <-chan struct{}) { came <- struct{}{}; <-gone })
	h, err := New([]logbook.Webhook{hookTo(url)}, Options{Source: Source("depot"), Timeout: time.Hour})
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(t.Context())
	go func() { <-came; cancel() }()
	var f *alert.Failure
	require.ErrorAs(t, h.Deliver(ctx, letter()), &f)
	require.True(t, f.InDoubt && !f.Permanent, f.Error())
	require.Nil(t, h.hooks["duty room"].rest(noon.Std()))
}

// TestAHookThatHangsIsLeftAlone: while it rests, its letters cost nothing, and
// other hooks are told as ever.
func TestAHookThatHangsIsLeftAlone(t *testing.T) {
	var asked atomic.Int32
	r := &receiver{}
	good := httptest.NewServer(r)
	defer good.Close()
	bad := hookTo(raw(t, false, func(_ net.Conn, gone <-chan struct{}) { asked.Add(1); <-gone }))
	fine := hookTo(good.URL)
	fine.Name = "siren"
	h, err := New([]logbook.Webhook{bad, fine}, Options{Source: Source("depot"), Timeout: 100 * time.Millisecond})
	require.NoError(t, err)
	d := letter()
	failure(t, h, d)
	for _, s := range []time.Duration{0, 5 * time.Second, 9 * time.Second} {
		again := letter()
		again.At = d.At.Add(s)
		f := failure(t, h, again)
		require.Contains(t, f.Error(), "left alone")
		require.Equal(t, [3]bool{}, flags(f))
		require.Equal(t, 10*time.Second-s, f.RetryAfter)
	}
	require.EqualValues(t, 1, asked.Load())
	other := letter()
	other.Person = "siren"
	require.NoError(t, h.Deliver(t.Context(), other))
	d.At = d.At.Add(10 * time.Second)
	failure(t, h, d)
	require.EqualValues(t, 2, asked.Load())
	require.Equal(t, 20*time.Second, failure(t, h, d).RetryAfter, "longer each time")
	d.At = d.At.Add(-time.Hour)
	failure(t, h, d)
	require.EqualValues(t, 3, asked.Load(), "a clock that was put back does not silence a hook")
}

// TestRetryAfterIsObserved: "the sender MUST observe the value of the Retry-After
// header and refrain from sending further requests until the indicated time"
// (CloudEvents web hook specification 1.0.2, section 2.2).
func TestRetryAfterIsObserved(t *testing.T) {
	var asked atomic.Int32
	s := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		if asked.Add(1) == 1 {
			w.Header().Set("Retry-After", "120")
			w.WriteHeader(http.StatusTooManyRequests)
		}
	}))
	defer s.Close()
	h, d := newHooks(t, hookTo(s.URL)), letter()
	require.Equal(t, 2*time.Minute, failure(t, h, d).RetryAfter)
	d.At = d.At.Add(119 * time.Second)
	require.Equal(t, time.Second, failure(t, h, d).RetryAfter)
	require.EqualValues(t, 1, asked.Load())
	d.At = d.At.Add(time.Second)
	require.NoError(t, h.Deliver(t.Context(), d))
}
