package web

import (
	"bytes"
	"context"
	"net/http"
	"net/http/httptest"
	"sync"
	"time"
)

// stream is a reader of /live.
type stream struct {
	header http.Header
	mu     sync.Mutex
	b      bytes.Buffer
}

func newStream(ctx context.Context) (*http.Request, *stream) {
	r := httptest.NewRequestWithContext(ctx, http.MethodGet, "/live", nil)
	r.Host, r.RemoteAddr = "localhost", "127.0.0.1:1"
	return r, &stream{header: http.Header{}}
}

func (s *stream) Header() http.Header              { return s.header }
func (s *stream) WriteHeader(int)                  {}
func (s *stream) SetWriteDeadline(time.Time) error { return nil }
func (s *stream) Flush()                           {}
func (s *stream) Write(p []byte) (int, error)      { s.mu.Lock(); defer s.mu.Unlock(); return s.b.Write(p) }

// take returns what came since the last call.
func (s *stream) take() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	got := s.b.String()
	s.b.Reset()
	return got
}

// change shows a new view and tells those who wait.
func (f *fake) change(seq uint64) {
	f.mu.Lock()
	defer f.mu.Unlock()
	v := *f.view
	v.Seq = seq
	f.view = &v
	close(f.changed)
	f.changed = make(chan struct{})
}
