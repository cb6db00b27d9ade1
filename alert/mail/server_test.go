package mail

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"errors"
	"io"
	"math/big"
	"net"
	"os"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"github.com/emersion/go-sasl"
	"github.com/emersion/go-smtp"
	"github.com/stretchr/testify/require"
)

// server is a real mail server in this process that answers as the test asks.
type server struct {
	port int

	mu      sync.Mutex
	got     []received
	rcptErr []error // replies to the next RCPT TO; nil = take it
	dataErr []error // replies to the next message
	hangUp  bool    // close the connection right after the reply to a message
	cut     bool    // close the connection after the message instead of a reply
}

// received is one mail as it came.
type received struct {
	to, user, text string
	tls            bool
}

func (s *server) mails() []received {
	s.mu.Lock()
	defer s.mu.Unlock()
	return append([]received(nil), s.got...)
}

// next takes the first of a list of planned replies.
func next(list *[]error) error {
	if len(*list) == 0 {
		return nil
	}
	err := (*list)[0]
	*list = (*list)[1:]
	return err
}

// session is one connection.
type session struct {
	s    *server
	conn *smtp.Conn
	user string
	to   string
}

func (c *session) Reset() {
	c.s.mu.Lock()
	defer c.s.mu.Unlock()
	if c.s.hangUp && len(c.s.got) > 0 {
		c.conn.Conn().Close()
	}
}

func (c *session) Logout() error { return nil }

func (c *session) AuthMechanisms() []string { return []string{sasl.Plain, sasl.Login} }

func (c *session) Auth(string) (sasl.Server, error) {
	return sasl.NewPlainServer(func(_, user, password string) error {
		if user != "depot" || password != "s3cret ü" {
			return smtp.ErrAuthFailed
		}
		c.user = user
		return nil
	}), nil
}

func (c *session) Mail(string, *smtp.MailOptions) error { return nil }

func (c *session) Rcpt(to string, _ *smtp.RcptOptions) error {
	c.s.mu.Lock()
	defer c.s.mu.Unlock()
	c.to = to
	return next(&c.s.rcptErr)
}

func (c *session) Data(r io.Reader) error {
	b, err := io.ReadAll(r)
	if err != nil {
		return err
	}
	_, isTLS := c.conn.TLSConnectionState()
	c.s.mu.Lock()
	defer c.s.mu.Unlock()
	if err := next(&c.s.dataErr); err != nil {
		return err
	}
	c.s.got = append(c.s.got, received{c.to, c.user, string(b), isTLS})
	if c.s.cut {
		return errors.Join(errors.New("cut"), c.conn.Conn().Close())
	}
	return nil
}

// serve starts a server. conf nil = without STARTTLS; implicit = encrypted from
// the first byte.
func serve(t *testing.T, conf *tls.Config, implicit bool) *server {
	t.Helper()
	s := &server{}
	be := smtp.NewServer(smtp.BackendFunc(func(c *smtp.Conn) (smtp.Session, error) { return &session{s: s, conn: c}, nil }))
	be.Domain, be.TLSConfig, be.EnableSMTPUTF8 = "mail.depot.example", conf, true
	be.ErrorLog = quiet{}
	be.AllowInsecureAuth = conf == nil
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	s.port = l.Addr().(*net.TCPAddr).Port
	if implicit {
		l = tls.NewListener(l, conf)
	}
	done := make(chan struct{})
	go func() { defer close(done); be.Serve(l) }()
	t.Cleanup(func() { be.Close(); <-done })
	return s
}

type quiet struct{}

func (quiet) Printf(string, ...any) {}
func (quiet) Println(...any)        {}

// certificate is one for localhost that signs itself, as PEM files.
type certificate struct {
	cert, key string
	conf      *tls.Config
}

func newCertificate(t *testing.T) certificate {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	require.NoError(t, err)
	tmpl := &x509.Certificate{SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "localhost"}, DNSNames: []string{"localhost"},
		IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}, NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(24 * time.Hour),
		IsCA: true, BasicConstraintsValid: true, KeyUsage: x509.KeyUsageDigitalSignature | x509.KeyUsageCertSign,
		ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth}}
	der, err := x509.CreateCertificate(rand.Reader, tmpl, tmpl, &key.PublicKey, key)
	require.NoError(t, err)
	pk, err := x509.MarshalPKCS8PrivateKey(key)
	require.NoError(t, err)
	dir := t.TempDir()
	c := certificate{cert: filepath.Join(dir, "cert.pem"), key: filepath.Join(dir, "key.pem")}
	require.NoError(t, os.WriteFile(c.cert, pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der}), 0o600))
	require.NoError(t, os.WriteFile(c.key, pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: pk}), 0o600))
	pair, err := tls.LoadX509KeyPair(c.cert, c.key)
	require.NoError(t, err)
	c.conf = &tls.Config{Certificates: []tls.Certificate{pair}}
	return c
}
