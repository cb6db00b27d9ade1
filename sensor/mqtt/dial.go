package mqtt

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"fmt"
	"net"
	"net/url"
	"os"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
)

// dialer opens the one network connection of a session's connection, and knows
// when it is gone. (The library tells that only after its handlers returned, and
// they wait for it.)
type dialer struct {
	alive   context.Context // ends with the connection
	close   context.CancelFunc
	tls     *tls.Config // nil for tcp
	timeout time.Duration
}

// dialer prepares a connection. The certificates are read each time, so that
// they can be renewed while the program runs.
func (s *session) dialer(ctx context.Context) (*dialer, error) {
	u, err := url.Parse(s.cfg.Broker)
	if err != nil {
		return nil, fmt.Errorf("read the broker's address: %w", err)
	}
	d := &dialer{timeout: s.o.Timeout}
	if u.Scheme == "tls" {
		if d.tls, err = s.tls(u.Hostname()); err != nil {
			return nil, err
		}
	}
	d.alive, d.close = context.WithCancel(ctx)
	return d, nil
}

// tls makes the settings of an encrypted connection.
func (s *session) tls(host string) (*tls.Config, error) {
	t := &tls.Config{ServerName: host, MinVersion: tls.VersionTLS12}
	if s.cfg.CA != "" {
		pem, err := os.ReadFile(s.cfg.CA)
		if err != nil {
			return nil, fmt.Errorf("read ca: %w", err)
		}
		t.RootCAs = x509.NewCertPool()
		if !t.RootCAs.AppendCertsFromPEM(pem) {
			return nil, fmt.Errorf("read ca %q: there is no certificate in PEM form in it", s.cfg.CA)
		}
	}
	if s.cfg.Cert != "" {
		pair, err := tls.LoadX509KeyPair(s.cfg.Cert, s.cfg.Key)
		if err != nil {
			return nil, fmt.Errorf("read cert %q and key %q: %w", s.cfg.Cert, s.cfg.Key, err)
		}
		t.Certificates = []tls.Certificate{pair}
	}
	return t, nil
}

// open connects to the broker.
func (d *dialer) open(u *url.URL, _ paho.ClientOptions) (net.Conn, error) {
	ctx, cancel := context.WithTimeout(d.alive, d.timeout)
	defer cancel()
	conn, err := (&net.Dialer{}).DialContext(ctx, "tcp", u.Host)
	if err != nil {
		return nil, err
	}
	if d.tls != nil {
		t := tls.Client(conn, d.tls)
		if err := t.HandshakeContext(ctx); err != nil {
			_ = conn.Close()
			return nil, err
		}
		conn = t
	}
	context.AfterFunc(d.alive, func() { _ = conn.Close() })
	return &watched{conn, d.close}, nil
}

// watched is a connection that tells when it is closed.
type watched struct {
	net.Conn
	closed context.CancelFunc
}

// Close implements net.Conn.
func (w *watched) Close() error {
	defer w.closed()
	return w.Conn.Close()
}
