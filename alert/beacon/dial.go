package beacon

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

	"undersheet/logbook"
)

// dialer opens one network connection and knows when it is gone.
type dialer struct {
	alive   context.Context // ends with the connection
	close   context.CancelFunc
	tls     *tls.Config // nil for tcp
	timeout time.Duration
}

// tlsConfig makes the settings of an encrypted connection; nil for tcp. The
// error begins with the field.
func tlsConfig(c logbook.Beacon) (*tls.Config, error) {
	u, err := url.Parse(c.Broker)
	if err != nil || u.Scheme != "tls" {
		return nil, nil
	}
	t := &tls.Config{ServerName: u.Hostname(), MinVersion: tls.VersionTLS12}
	if c.CA != "" {
		pem, err := os.ReadFile(c.CA)
		if err != nil {
			return nil, fmt.Errorf("ca: read certificates: %w", err)
		}
		t.RootCAs = x509.NewCertPool()
		if !t.RootCAs.AppendCertsFromPEM(pem) {
			return nil, fmt.Errorf("ca: %q holds no certificate in PEM form", c.CA)
		}
	}
	if c.Cert != "" && c.Key != "" {
		pair, err := tls.LoadX509KeyPair(c.Cert, c.Key)
		if err != nil {
			return nil, fmt.Errorf("cert: read cert %q and key %q: %w", c.Cert, c.Key, err)
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
