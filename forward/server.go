package forward

import (
	"bytes"
	"compress/gzip"
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"net/http/httptrace"
	"net/url"
	"strconv"
	"strings"
	"time"

	"undersheet/logbook"
	"undersheet/logbook/sqlite"
	"undersheet/trust"
)

// server is a destination that takes batches over HTTP.
type server struct {
	conf   logbook.Forward
	shown  string // the URL without its query, for messages
	client *http.Client
	opts   Options
	logger *slog.Logger
	zip    *gzip.Writer
	buf    bytes.Buffer // reused for each request
	linked bool         // a connection was up and the server did not announce its end
}

// newServer checks conf and returns the server that it describes.
func newServer(conf logbook.Forward, o Options) (*server, error) {
	u, err := url.Parse(conf.URL)
	if err != nil {
		return nil, errors.New("url: cannot be read: want https://host/path?query") // err would hold the query
	}
	roots, err := trust.Authorities(conf.CA)
	if err := errors.Join(checkURL(u), checkSecrets(conf), err); err != nil {
		return nil, err
	}
	s := &server{conf: conf, opts: o, logger: o.Logger.With("destination", conf.Name), zip: gzip.NewWriter(io.Discard)}
	s.shown = (&url.URL{Scheme: u.Scheme, Host: u.Host, Path: u.Path}).String()
	s.client = &http.Client{
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
		Transport: &http.Transport{Proxy: http.ProxyFromEnvironment, ForceAttemptHTTP2: true, MaxConnsPerHost: 1,
			DialContext:     (&net.Dialer{Timeout: o.Timeout}).DialContext,
			TLSClientConfig: &tls.Config{RootCAs: roots, MinVersion: tls.VersionTLS12}, TLSHandshakeTimeout: o.Timeout,
			IdleConnTimeout: 5 * time.Minute, MaxResponseHeaderBytes: 64 << 10},
	}
	return s, nil
}

// checkURL refuses what must not stand in a site file or go over a network.
func checkURL(u *url.URL) error {
	q := u.Query()
	switch {
	case u.Scheme != "https" && u.Scheme != "http" || u.Hostname() == "":
		return errors.New("url: must begin with https:// (or http:// to this computer) and a host")
	case u.Scheme == "http" && !trust.Loopback(u.Hostname()):
		return fmt.Errorf("url: plain http is allowed only when the server runs on this computer (host localhost or 127.0.0.1, got %q): use https", u.Hostname())
	case u.User != nil || q.Has("u") || q.Has("p") || q.Has("token") || q.Has("password"):
		return errors.New("url: holds a user or a secret: give user_env or user_file, and password_env or password_file")
	case q.Has("precision") && q.Get("precision") != "ns" && q.Get("precision") != "n":
		return errors.New("url: lines have nanoseconds: leave precision out of the query")
	}
	return nil
}

// checkSecrets refuses two places for one secret, and a user alone.
func checkSecrets(c logbook.Forward) error {
	switch {
	case c.UserEnv != "" && c.UserFile != "":
		return errors.New("user_env: give either user_env or user_file, not both")
	case c.PasswordEnv != "" && c.PasswordFile != "":
		return errors.New("password_env: give either password_env or password_file, not both")
	case (c.UserEnv != "" || c.UserFile != "") && c.PasswordEnv == "" && c.PasswordFile == "":
		return errors.New("user_env: needs password_env or password_file beside it")
	}
	return nil
}

// authorise puts the password into r.
func (s *server) authorise(r *http.Request) error {
	user, err := trust.Secret("user", s.conf.UserEnv, s.conf.UserFile)
	if err != nil {
		return err
	}
	password, err := trust.Secret("password", s.conf.PasswordEnv, s.conf.PasswordFile)
	switch {
	case err != nil:
		return err
	case user != "":
		r.SetBasicAuth(user, password)
	case password != "":
		r.Header.Set("Authorization", "Token "+password)
	}
	return nil
}

// begin implements destination: a server does not tell how far it got.
func (s *server) begin(head sqlite.Head, c sqlite.Cursor) (sqlite.Cursor, error) {
	if c.Seq > head.Seq {
		return c, fmt.Errorf("the cursor stands at seq %d, the log ends at %d", c.Seq, head.Seq)
	}
	return c, nil
}

// end implements destination.
func (s *server) end() { s.client.CloseIdleConnections() }

// answer is what a server said to one request.
type answer struct {
	status int
	said   string        // beginning of the body
	page   bool          // the body is a web page
	after  time.Duration // how long it asks to be left alone
	broken bool          // the connection was lost since the request before, or now
}

// mostSaid is how much of a body is looked at, in bytes.
const mostSaid = 4 << 10

// post makes one request. An error means that no answer came; errConfigured
// marks one for which no request was made.
func (s *server) post(ctx context.Context, text []byte) (a answer, err error) {
	ctx, cancel := context.WithTimeout(ctx, s.opts.Timeout)
	defer cancel()
	fresh := false
	ctx = httptrace.WithClientTrace(ctx, &httptrace.ClientTrace{GotConn: func(i httptrace.GotConnInfo) { fresh = !i.Reused }})
	r, err := http.NewRequestWithContext(ctx, http.MethodPost, s.conf.URL, bytes.NewReader(s.compress(text)))
	if err != nil {
		return a, errConfigured{errors.New("url: no request can be made of it")}
	}
	r.Header.Set("Content-Type", "text/plain; charset=utf-8")
	r.Header.Set("Content-Encoding", "gzip")
	if err := s.authorise(r); err != nil {
		return a, errConfigured{err}
	}
	resp, err := s.client.Do(r)
	if err != nil {
		a.broken, s.linked = s.linked, false
		var ue *url.Error
		if errors.As(err, &ue) {
			err = ue.Err // without the URL, whose query may hold more than others should read
		}
		return a, fmt.Errorf("post to %s: %w", s.shown, err)
	}
	defer resp.Body.Close()
	a.broken, s.linked = fresh && s.linked, !resp.Close
	said, err := io.ReadAll(io.LimitReader(resp.Body, mostSaid))
	if err == nil {
		_, err = io.CopyN(io.Discard, resp.Body, mostSaid) // to use the connection again
	}
	if err != nil && !errors.Is(err, io.EOF) && resp.StatusCode < 300 {
		a.broken, s.linked = true, false
		return a, fmt.Errorf("read the answer of %s: %w", s.shown, err)
	}
	a.status, a.said, a.after = resp.StatusCode, string(said), s.retryAfter(resp.Header.Get("Retry-After"))
	a.page = strings.HasPrefix(resp.Header.Get("Content-Type"), "text/html")
	return a, nil
}

// errConfigured marks what somebody must put right at the depot.
type errConfigured struct{ error }

// Unwrap returns the cause.
func (e errConfigured) Unwrap() error { return e.error }

// compress returns text in gzip form, valid until the next call.
func (s *server) compress(text []byte) []byte {
	s.buf.Reset()
	s.zip.Reset(&s.buf)
	s.zip.Write(text) // a bytes.Buffer takes all
	s.zip.Close()
	return s.buf.Bytes()
}

// longestAfter is how long a server may ask to be left alone.
const longestAfter = time.Hour

// retryAfter reads a Retry-After header, in seconds or as a date (RFC 9110, 10.2.3).
func (s *server) retryAfter(v string) time.Duration {
	if n, err := strconv.ParseUint(v, 10, 32); err == nil {
		return min(time.Duration(n)*time.Second, longestAfter)
	}
	if at, err := http.ParseTime(v); err == nil {
		return min(max(0, at.Sub(s.opts.Clock())), longestAfter)
	}
	return 0
}
