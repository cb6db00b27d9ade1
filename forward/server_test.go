package forward

import (
	"compress/gzip"
	"context"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/logbook"
	"undersheet/logbook/sqlite"
)

// taker is a server that keeps the lines it took, each once, as a database
// keeps points, and behaves as the test says.
type taker struct {
	*httptest.Server
	mu     sync.Mutex
	lines  map[string]int // how often each was taken
	order  []string       // of first arrival
	asked  int            // requests
	header http.Header    // of the last request
	// before answers a request in its own way; false: take it.
	before func(w http.ResponseWriter, r *http.Request, lines []string) bool
}

func newTaker(t testing.TB, before func(w http.ResponseWriter, r *http.Request, lines []string) bool) *taker {
	t.Helper()
	k := &taker{lines: map[string]int{}, before: before}
	k.Server = httptest.NewServer(k)
	t.Cleanup(k.Close)
	return k
}

// ServeHTTP implements http.Handler.
func (k *taker) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	z, err := gzip.NewReader(r.Body)
	if err != nil {
		http.Error(w, "no gzip", http.StatusTeapot)
		return
	}
	b, err := io.ReadAll(z)
	if err != nil {
		return
	}
	got := strings.SplitAfter(string(b), "\n")
	got = got[:len(got)-1]
	k.mu.Lock()
	defer k.mu.Unlock()
	k.asked++
	k.header = r.Header.Clone()
	if k.before == nil || !k.before(w, r, got) {
		k.take(got...)
		w.WriteHeader(http.StatusNoContent)
	}
}

// take keeps lines. The caller holds the lock.
func (k *taker) take(lines ...string) {
	for _, l := range lines {
		if k.lines[l]++; k.lines[l] == 1 {
			k.order = append(k.order, l)
		}
	}
}

// content returns what was taken.
func (k *taker) content() string {
	k.mu.Lock()
	defer k.mu.Unlock()
	return strings.Join(k.order, "")
}

// requests returns how many there were.
func (k *taker) requests() int {
	k.mu.Lock()
	defer k.mu.Unlock()
	return k.asked
}

// to is a destination at k.
func (k *taker) to() logbook.Forward {
	return logbook.Forward{Name: "history", URL: k.URL + "/write?db=depot"}
}

// hasty makes a Forwarder of f that waits milliseconds where it waits seconds.
func hasty(f *Forwarder) *Forwarder {
	f.quick, f.slow = waits(time.Millisecond, 20*time.Millisecond), waits(2*time.Millisecond, 20*time.Millisecond)
	return f
}

// newHasty returns a hasty Forwarder.
func newHasty(t testing.TB, conf logbook.Forward, log Log, o Options) *Forwarder {
	t.Helper()
	if o.Logger == nil {
		o.Logger = quiet(t)
	}
	if o.Gather == 0 {
		o.Gather = time.Millisecond
	}
	f, err := New(conf, log, o)
	require.NoError(t, err)
	return hasty(f)
}

// TestServer: a server gets the whole log in order, in bounded batches, gzipped.
func TestServer(t *testing.T) {
	most := 0
	k := newTaker(t, func(_ http.ResponseWriter, _ *http.Request, lines []string) bool {
		most = max(most, len(lines))
		return false
	})
	s := store(t)
	fill(t, s, 0, 3000)
	f := newHasty(t, k.to(), s, Options{Lines: 500})
	run(t, f)
	arrive(t, f)
	require.Equal(t, want(t, s), k.content())
	require.LessOrEqual(t, most, 500)
	require.Equal(t, "gzip", k.header.Get("Content-Encoding"))
	require.Empty(t, k.header.Get("Authorization"))
	fill(t, s, 1000, 50)
	arrive(t, f)
	require.Equal(t, want(t, s), k.content())
	require.EqualValues(t, len(k.order), f.Stats().Sent)
	require.Equal(t, logbook.Forward{Name: "history", URL: k.URL + "/write?db=depot"}, k.to())
}

// TestBytes: a batch ends when it has so many bytes.
func TestBytes(t *testing.T) {
	longest := 0
	k := newTaker(t, func(_ http.ResponseWriter, _ *http.Request, lines []string) bool {
		longest = max(longest, len(strings.Join(lines, "")))
		return false
	})
	s := store(t)
	fill(t, s, 0, 1000)
	f := newHasty(t, k.to(), s, Options{Bytes: 4000})
	run(t, f)
	arrive(t, f)
	require.Equal(t, want(t, s), k.content())
	require.Less(t, longest, 4400)
	require.Greater(t, longest, 3600)
}

// TestGoesOn: a new run goes on from the cursor, at most Settle behind.
func TestGoesOn(t *testing.T) {
	k, s := newTaker(t, nil), store(t)
	fill(t, s, 0, 500)
	f := newHasty(t, k.to(), s, Options{Settle: time.Nanosecond})
	stop := run(t, f)
	arrive(t, f)
	stop()
	fill(t, s, 1000, 500)
	f = newHasty(t, k.to(), s, Options{Settle: time.Nanosecond})
	run(t, f)
	arrive(t, f)
	require.Equal(t, want(t, s), k.content())
	for l, n := range k.lines {
		require.Equal(t, 1, n, l)
	}
}

// TestMisbehaving: servers that fail for a while in their own ways get the whole
// log in the end, and what is wrong is said meanwhile.
func TestMisbehaving(t *testing.T) {
	const late = "deadline exceeded"
	status := func(code int) func(w http.ResponseWriter, _ *http.Request) {
		return func(w http.ResponseWriter, _ *http.Request) { http.Error(w, `{"error":"so it is"}`, code) }
	}
	for name, tt := range map[string]struct {
		do        func(w http.ResponseWriter, r *http.Request)
		says      string
		attention bool
	}{
		"internal error": {status(500), `answers 500 "{\"error\":\"so it is\"}`, false},
		"unavailable":    {status(503), "answers 503", false},
		"too many":       {status(429), "answers 429", false},
		"password":       {status(401), "put user and password", true},
		"forbidden":      {status(403), "may write to, right", true},
		"no database":    {status(404), "its database", true},
		"no writing":     {status(405), "address for writing", true},
		"moved": {func(w http.ResponseWriter, r *http.Request) {
			http.Redirect(w, r, "http://127.0.0.1:1/", http.StatusTemporaryRedirect)
		}, "redirects are not followed", true},
		"log-in page": {func(w http.ResponseWriter, _ *http.Request) {
			w.Header().Set("Content-Type", "text/html; charset=utf-8")
			io.WriteString(w, "<html>please sign in")
		}, "address for writing", true},
		"hangs":    {func(_ http.ResponseWriter, r *http.Request) { <-r.Context().Done() }, late, false},
		"hangs up": {func(http.ResponseWriter, *http.Request) { panic(http.ErrAbortHandler) }, "EOF", false},
		"half said": {func(w http.ResponseWriter, _ *http.Request) {
			w.Header().Set("Content-Length", "9")
			w.WriteHeader(200)
		}, "read the answer", false},
		"endless":     {func(w http.ResponseWriter, r *http.Request) { drip(w, r) }, late, false},
		"much to say": {func(w http.ResponseWriter, _ *http.Request) { http.Error(w, strings.Repeat("no ", 1e6), 500) }, "answers 500", false},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			var well atomic.Bool
			k, s := newTaker(t, func(w http.ResponseWriter, r *http.Request, _ []string) bool {
				if !well.Load() {
					tt.do(w, r)
				}
				return !well.Load()
			}), store(t)
			k.Config.ErrorLog = slog.NewLogLogger(quiet(t).Handler(), slog.LevelDebug)
			fill(t, s, 0, 300)
			timeout := patience
			if tt.says == late {
				timeout = 100 * time.Millisecond
			}
			f := newHasty(t, k.to(), s, Options{Lines: 120, Timeout: timeout})
			run(t, f)
			require.Eventually(t, func() bool { return f.Stats().Failed >= 3 }, patience, time.Millisecond)
			st := f.Stats()
			require.Contains(t, st.LastError, tt.says)
			require.NotContains(t, st.LastError, "db=depot", "the query is not told")
			require.Less(t, len(st.LastError), 1000)
			require.Equal(t, tt.attention, st.Attention)
			require.Zero(t, st.Cursor)
			require.EqualValues(t, head(t, s).Seq, st.Lag)
			require.Empty(t, k.content())
			well.Store(true)
			arrive(t, f)
			require.Equal(t, want(t, s), k.content())
			require.False(t, f.Stats().Attention, "it is over")
			require.Zero(t, f.Stats().Refused)
		})
	}
}

// drip answers for ever, a little at a time.
func drip(w http.ResponseWriter, r *http.Request) {
	for r.Context().Err() == nil {
		if _, err := io.WriteString(w, "."); err != nil {
			return
		}
		w.(http.Flusher).Flush()
		select {
		case <-r.Context().Done():
		case <-time.After(10 * time.Millisecond):
		}
	}
}

// TestRetryAfter: seconds and dates (RFC 9110, section 10.2.3), and nothing beyond an hour.
func TestRetryAfter(t *testing.T) {
	s := &server{opts: Options{Clock: func() time.Time { return noon }}}
	for v, want := range map[string]time.Duration{"": 0, "120": 2 * time.Minute, "0": 0, "-5": 0, "soon": 0, "99999999": time.Hour, "4294967296": 0,
		"Sun, 01 Mar 2026 12:00:30 GMT": 30 * time.Second, "Sun, 01 Mar 2026 11:00:00 GMT": 0, "Mon, 02 Mar 2026 12:00:30 GMT": time.Hour} {
		require.Equal(t, want, s.retryAfter(v), v)
	}
	require.Equal(t, 2*time.Minute, (&sending{server: s}).put(answer{status: 429, after: 2 * time.Minute}).after)
}

// FuzzAnswer: whatever a server says, it cannot make a batch smaller than nothing
// or the copy wait for longer than an hour.
func FuzzAnswer(f *testing.F) {
	for _, v := range []string{"", "120", "-5", "soon", "Sun, 01 Mar 2026 12:00:30 GMT", "partial write: x dropped=3", "partial write: dropped=99999999999999999999"} {
		f.Add(v)
	}
	s := &server{opts: Options{Clock: func() time.Time { return noon }}}
	f.Fuzz(func(t *testing.T, v string) {
		require.GreaterOrEqual(t, dropped(v), 0)
		require.LessOrEqual(t, s.retryAfter(v), longestAfter)
		require.GreaterOrEqual(t, s.retryAfter(v), time.Duration(0))
		require.LessOrEqual(t, len(short(v)), 310)
	})
}

// TestClosedLog: Run ends with an error when the logbook is closed under it.
func TestClosedLog(t *testing.T) {
	s := store(t)
	fill(t, s, 0, 10)
	f := newHasty(t, toFile(filepath.Join(t.TempDir(), "x")), s, Options{})
	done := make(chan error, 1)
	go func() { done <- f.Run(context.Background()) }()
	arrive(t, f)
	require.NoError(t, s.Close())
	err := <-done
	require.ErrorIs(t, err, sqlite.ErrClosed)
}
