package mqtt

import (
	"context"
	"crypto/tls"
	"fmt"
	"net"
	"net/url"
	"time"

	"undersheet/trust"

	paho "github.com/eclipse/paho.mqtt.golang"
)

// Dialer opens the one network connection of a client's connection, and knows
// when it is gone. (The library tells that only after its handlers returned, and
// they wait for it.)
type Dialer struct {
	Alive context.Context // ends with the connection
	Close context.CancelFunc
	// Timeout is the longest wait for the connection.
	Timeout time.Duration

	tls *tls.Config // nil for tcp
}

// NewDialer prepares one connection with settings (nil for tcp), which ends with
// ctx at the latest; timeout is the longest wait for it.
func NewDialer(ctx context.Context, settings *tls.Config, timeout time.Duration) *Dialer {
	d := &Dialer{tls: settings, Timeout: timeout}
	d.Alive, d.Close = context.WithCancel(ctx)
	return d
}

// TLS reads the settings of an encrypted connection to a broker from files in PEM
// form, each of which may be empty; nil for one that is not encrypted. Errors begin
// with the field of the site file. Call it
// anew for each connection, so that certificates can be renewed while the program
// runs.
func TLS(broker, ca, cert, key string) (*tls.Config, error) {
	u, err := url.Parse(broker)
	if err != nil {
		return nil, fmt.Errorf("broker: read the address: %w", err)
	}
	if u.Scheme != "tls" {
		return nil, nil
	}
	authorities, err := trust.Authorities(ca)
	if err != nil {
		return nil, err
	}
	t := &tls.Config{ServerName: u.Hostname(), MinVersion: tls.VersionTLS12, RootCAs: authorities}
	if cert != "" {
		pair, err := tls.LoadX509KeyPair(cert, key)
		if err != nil {
			return nil, fmt.Errorf("cert: read cert %q and key %q: %w", cert, key, err)
		}
		t.Certificates = []tls.Certificate{pair}
	}
	return t, nil
}

// Open connects to the broker.
func (d *Dialer) Open(u *url.URL, _ paho.ClientOptions) (net.Conn, error) {
	ctx, cancel := context.WithTimeout(d.Alive, d.Timeout)
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
	context.AfterFunc(d.Alive, func() { _ = conn.Close() })
	return &watched{conn, d.Close}, nil
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
