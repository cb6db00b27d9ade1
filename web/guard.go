package web

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/http"
	"strings"
	"time"

	"undersheet/trust"
)

// Limits of the server, on the wire's clock. They are hard.
const (
	headerTimeout = 5 * time.Second
	readTimeout   = 10 * time.Second
	writeTimeout  = 30 * time.Second // of a page; a live stream renews its own
	idleTimeout   = 2 * time.Minute
	closeTimeout  = 5 * time.Second
	maxHeader     = 16 << 10 // bytes
)

// CheckLoopback refuses an address to listen on ("host:port") that another
// machine could reach.
func CheckLoopback(addr string) error {
	host, _, err := net.SplitHostPort(addr)
	if err != nil {
		return fmt.Errorf("listen on %q: want host:port, for example 127.0.0.1:8080", addr)
	}
	if !trust.Loopback(host) {
		return fmt.Errorf("listen on %q: only 127.0.0.1, ::1 or localhost while nobody signs in; for another machine or a phone, use an ssh tunnel", addr)
	}
	return nil
}

// fromHere reports whether a request came from this machine and was meant for it.
func fromHere(r *http.Request) bool {
	host := r.Host
	if h, _, err := net.SplitHostPort(host); err == nil {
		host = h
	}
	sender, _, err := net.SplitHostPort(r.RemoteAddr)
	return err == nil && trust.Loopback(strings.Trim(host, "[]")) && trust.Loopback(sender)
}

// guard lets only requests of this machine through, and tells browsers to load
// nothing from elsewhere and to keep nothing.
func guard(next http.Handler) http.Handler {
	next = http.NewCrossOriginProtection().Handler(next)
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", "default-src 'self'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'; object-src 'none'")
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Cache-Control", "no-store")
		switch {
		case !fromHere(r):
			refuse(w, r, http.StatusForbidden, "page/only-here")
		case r.Method != http.MethodGet && r.Method != http.MethodHead && r.Method != http.MethodPost:
			h.Set("Allow", "GET, HEAD, POST")
			refuse(w, r, http.StatusMethodNotAllowed, "page/only-get-post")
		default:
			next.ServeHTTP(w, r)
		}
	})
}

// Serve serves h on l until ctx ends, then lets requests under way finish for a
// few seconds. It refuses a listener that another machine could reach.
func Serve(ctx context.Context, l net.Listener, h http.Handler) error {
	if err := CheckLoopback(l.Addr().String()); err != nil {
		return errors.Join(err, l.Close())
	}
	s := &http.Server{Handler: h, ReadHeaderTimeout: headerTimeout, ReadTimeout: readTimeout, WriteTimeout: writeTimeout,
		IdleTimeout: idleTimeout, MaxHeaderBytes: maxHeader, BaseContext: func(net.Listener) context.Context { return ctx }}
	ended := make(chan error, 1)
	go func() { ended <- s.Serve(l) }()
	select {
	case err := <-ended:
		return fmt.Errorf("serve pages: %w", err)
	case <-ctx.Done():
	}
	patience, cancel := context.WithTimeout(context.WithoutCancel(ctx), closeTimeout)
	defer cancel()
	err := s.Shutdown(patience)
	if err != nil {
		err = errors.Join(fmt.Errorf("close pages: %w", err), s.Close())
	}
	<-ended
	return err
}
