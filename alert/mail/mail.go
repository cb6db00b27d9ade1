package mail

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"net"
	"net/mail"
	"strconv"
	"strings"
	"time"

	gomail "github.com/wneessen/go-mail"

	"undersheet/alert"
	"undersheet/logbook"
	"undersheet/trust"
)

// Ways of encryption in a site file.
const (
	StartTLS    = "starttls" // the default
	ImplicitTLS = "tls"
	NoTLS       = "none"
)

// Options are what the site file does not say.
type Options struct {
	Timeout time.Duration // longest wait for the server, per letter; 0 = 30 s
	Version string        // of the program, for the User-Agent header
}

// Server is a mail server that takes letters.
type Server struct {
	conf  logbook.Mail
	opts  Options
	roots *x509.CertPool // nil = those of the operating system
}

// New checks the mail part of a site file. It opens no connection. The errors
// name the field to put right.
func New(conf logbook.Mail, opts Options) (*Server, error) {
	if opts.Timeout <= 0 {
		opts.Timeout = 30 * time.Second
	}
	if conf.TLS == "" {
		conf.TLS = StartTLS
	}
	if conf.Port == 0 {
		conf.Port = map[string]int{StartTLS: 587, ImplicitTLS: 465, NoTLS: 25}[conf.TLS]
	}
	if err := check(conf); err != nil {
		return nil, err
	}
	roots, err := trust.Authorities(conf.CA)
	if err != nil {
		err = fmt.Errorf("mail.%w", err)
	}
	s := &Server{conf: conf, opts: opts, roots: roots}
	_, errPassword := s.password()
	if err := errors.Join(err, errPassword); err != nil {
		return nil, err
	}
	return s, nil
}

// Name implements alert.Messenger.
func (*Server) Name() string { return "mail" }

// check reports what is wrong with the configuration.
func check(c logbook.Mail) error {
	switch {
	case c.Host == "":
		return errors.New("mail.host: is missing")
	case c.Port < 1 || c.Port > 65535:
		return fmt.Errorf("mail.port: must be 1 to 65535 (got %d)", c.Port)
	case c.TLS != StartTLS && c.TLS != ImplicitTLS && c.TLS != NoTLS:
		return fmt.Errorf("mail.tls: must be starttls, tls or none (got %q)", c.TLS)
	case c.TLS == NoTLS && !trust.Loopback(c.Host):
		return fmt.Errorf("mail.tls: none is allowed only when the server runs on this computer (host localhost or 127.0.0.1, got %q): use starttls", c.Host)
	case c.User != "" && c.PasswordEnv == "" && c.PasswordFile == "":
		return errors.New("mail.user: needs password_env or password_file beside it")
	case c.User == "" && (c.PasswordEnv != "" || c.PasswordFile != ""):
		return errors.New("mail.user: is missing beside the password")
	}
	if _, err := mail.ParseAddress(c.From); err != nil {
		return fmt.Errorf("mail.from: %q is not a mail address: %w", c.From, err)
	}
	return nil
}

// password reads the password from where the site file says; "" without a user.
func (s *Server) password() (string, error) {
	return trust.Secret("mail.password", s.conf.PasswordEnv, s.conf.PasswordFile)
}

// Deliver implements alert.Messenger.
func (s *Server) Deliver(ctx context.Context, d *alert.Delivery) error {
	m, err := s.message(d)
	if err != nil {
		return &alert.Failure{Err: fmt.Errorf("write mail to %q: %w", d.Person, err), Permanent: true}
	}
	ctx, cancel := context.WithTimeout(ctx, s.opts.Timeout)
	defer cancel()
	client, err := s.client(ctx)
	if err != nil {
		return &alert.Failure{Err: err, Permanent: true, Everyone: true}
	}
	err = client.DialAndSendWithContext(ctx, m)
	if err == nil || m.IsDelivered() { // a farewell that fails changes nothing
		return nil
	}
	f := classify(err)
	f.Err = fmt.Errorf("send mail to %q through %s: %w", d.Person, s.address(), f.Err)
	return f
}

func (s *Server) address() string { return net.JoinHostPort(s.conf.Host, strconv.Itoa(s.conf.Port)) }

// message writes the letter as a mail.
func (s *Server) message(d *alert.Delivery) (*gomail.Msg, error) {
	m := gomail.NewMsg(gomail.WithCharset(gomail.CharsetUTF8), gomail.WithEncoding(gomail.EncodingQP), gomail.WithNoDefaultUserAgent())
	if err := m.From(s.conf.From); err != nil {
		return nil, err
	}
	if err := m.AddToFormat(d.Person, d.Address); err != nil {
		return nil, err
	}
	m.Subject(d.Heading())
	m.SetDateWithValue(d.At)
	m.SetMessageIDWithValue(d.ID)
	m.SetGenHeader(gomail.HeaderUserAgent, strings.TrimSpace("undersheet "+s.opts.Version))
	m.SetGenHeader("Auto-Submitted", "auto-generated") // RFC 3834: keeps vacation notices away
	if d.Priority == logbook.PriorityHigh {
		m.SetImportance(gomail.ImportanceHigh)
	}
	m.SetBodyString(gomail.TypeTextPlain, d.Content())
	return m, nil
}

// preferred lists ways to prove who we are, strongest first. PLAIN and LOGIN
// refuse by themselves to go unencrypted to another computer.
var preferred = []gomail.SMTPAuthType{gomail.SMTPAuthSCRAMSHA256PLUS, gomail.SMTPAuthSCRAMSHA256, gomail.SMTPAuthSCRAMSHA1PLUS,
	gomail.SMTPAuthSCRAMSHA1, gomail.SMTPAuthPlain, gomail.SMTPAuthLogin, gomail.SMTPAuthCramMD5}

// client makes the client for one letter.
func (s *Server) client(ctx context.Context) (*gomail.Client, error) {
	tlsConf := &tls.Config{ServerName: s.conf.Host, RootCAs: s.roots, MinVersion: tls.VersionTLS12}
	options := []gomail.Option{gomail.WithPort(s.conf.Port), gomail.WithTimeout(s.opts.Timeout), gomail.WithTLSConfig(tlsConf),
		gomail.WithDialContextFunc(s.dialer(ctx, tlsConf))}
	switch s.conf.TLS {
	case StartTLS:
		options = append(options, gomail.WithTLSPolicy(gomail.TLSMandatory))
	case ImplicitTLS:
		options = append(options, gomail.WithSSL())
	default:
		options = append(options, gomail.WithTLSPolicy(gomail.NoTLS))
	}
	if s.conf.User != "" {
		pw, err := s.password()
		if err != nil {
			return nil, err
		}
		options = append(options, gomail.WithUsername(s.conf.User), gomail.WithPassword(pw), gomail.WithOpportunisticSMTPAuth(preferred...))
	}
	c, err := gomail.NewClient(s.conf.Host, options...)
	if err != nil {
		return nil, fmt.Errorf("set up mail server %s: %w", s.address(), err)
	}
	return c, nil
}

// dialer returns a dial function whose connections break when life ends: the
// library leaves a connection open after a failed login, and its own deadlines
// add up to several times the timeout.
func (s *Server) dialer(life context.Context, conf *tls.Config) gomail.DialContextFunc {
	return func(ctx context.Context, network, address string) (net.Conn, error) {
		var d net.Dialer
		conn, err := d.DialContext(ctx, network, address)
		if err != nil {
			return nil, fmt.Errorf("reach mail server: %w", err)
		}
		context.AfterFunc(life, func() { conn.Close() })
		if s.conf.TLS != ImplicitTLS {
			return conn, nil
		}
		t := tls.Client(conn, conf)
		if err := t.HandshakeContext(ctx); err != nil {
			conn.Close()
			return nil, fmt.Errorf("encrypt connection to mail server: %w", err)
		}
		return t, nil
	}
}
