package mail

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"mime"
	"mime/quotedprintable"
	"net"
	netmail "net/mail"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/emersion/go-smtp"
	"github.com/stretchr/testify/require"

	"undersheet/alert"
	"undersheet/logbook"
	"undersheet/peer"
)

// TestMain sets the passwords that site files of these tests name.
func TestMain(m *testing.M) {
	os.Setenv("DEPOT_MAIL", "s3cret ü")
	os.Setenv("WRONG", "guess")
	m.Run()
}

func config(port int) logbook.Mail {
	return logbook.Mail{Host: "localhost", Port: port, From: "Depot Ostrava <depot@depot.example>", User: "depot", PasswordEnv: "DEPOT_MAIL"}
}

// letter is what is sent; it has what headers and lines trip over.
func letter() *alert.Delivery {
	return &alert.Delivery{
		Letter: alert.Letter{ID: "8f3a@depot.example", Of: 7, Priority: logbook.PriorityHigh, Subject: "[Depot] HIGH: Plyn únik, stack B\r\nBcc: all@depot.example",
			Text: "Fumigación — 412 ppm\n.\n" + strings.Repeat("long ", 300) + "\nEmergency: +00 1\n", Written: logbook.At(time.Date(2026, 3, 1, 14, 0, 0, 0, time.UTC))},
		Person: "R. Amadi, Ü", Address: "amadi@depot.example", At: time.Date(2026, 3, 1, 14, 0, 5, 0, time.UTC),
	}
}

func newServer(t *testing.T, conf logbook.Mail) *Server {
	t.Helper()
	s, err := New(conf, Options{Timeout: 5 * time.Second, Version: "1.2"})
	require.NoError(t, err)
	return s
}

// failure returns err as what the sender looks at.
func failure(t *testing.T, err error) *alert.Failure {
	t.Helper()
	var f *alert.Failure
	require.ErrorAs(t, err, &f)
	return f
}

// parse reads a mail back as its reader would.
func parse(t *testing.T, raw string) (netmail.Header, string, string) {
	t.Helper()
	m, err := netmail.ReadMessage(strings.NewReader(raw))
	require.NoError(t, err)
	subject, err := new(mime.WordDecoder).DecodeHeader(m.Header.Get("Subject"))
	require.NoError(t, err)
	body, err := io.ReadAll(quotedprintable.NewReader(m.Body))
	require.NoError(t, err)
	return m.Header, subject, strings.ReplaceAll(string(body), "\r\n", "\n")
}

func TestDeliverWithEveryEncryption(t *testing.T) {
	c := newCertificate(t)
	file := filepath.Join(t.TempDir(), "password")
	require.NoError(t, os.WriteFile(file, []byte("s3cret ü\n"), 0o600))
	for _, tt := range []struct {
		tls      string
		implicit bool
	}{{"", false}, {StartTLS, false}, {ImplicitTLS, true}, {NoTLS, false}} {
		t.Run("tls "+tt.tls, func(t *testing.T) {
			conf := c.conf
			if tt.tls == NoTLS {
				conf = nil
			}
			s := serve(t, conf, tt.implicit)
			set := config(s.port)
			set.TLS, set.CA, set.PasswordEnv, set.PasswordFile = tt.tls, c.cert, "", file
			d := letter()
			require.NoError(t, newServer(t, set).Deliver(t.Context(), d))
			got := s.mails()
			require.Len(t, got, 1)
			require.Equal(t, tt.tls != NoTLS, got[0].tls)
			require.Equal(t, "depot", got[0].user)
			require.Equal(t, "amadi@depot.example", got[0].to)
			checkMail(t, got[0].text, d)
		})
	}
}

// checkMail checks headers against RFC 5322 (Date, Message-ID, addresses), RFC
// 3834 (Auto-Submitted), RFC 2047 (subject) and RFC 2045 (body).
func checkMail(t *testing.T, raw string, d *alert.Delivery) {
	t.Helper()
	h, subject, body := parse(t, raw)
	require.Equal(t, d.Heading(), subject)
	require.NotContains(t, subject, "\n")
	require.Empty(t, h.Get("Bcc"), "a name must not add a header")
	require.Equal(t, "<"+d.ID+">", h.Get("Message-Id"))
	at, err := h.Date()
	require.NoError(t, err)
	require.True(t, at.Equal(d.At), "the date is that of the depot's clock")
	require.Equal(t, "auto-generated", h.Get("Auto-Submitted"))
	require.Equal(t, "high", h.Get("Importance"))
	to, err := h.AddressList("To")
	require.NoError(t, err)
	require.Equal(t, []*netmail.Address{{Name: d.Person, Address: d.Address}}, to)
	require.Equal(t, d.Content(), body)
	for _, line := range strings.Split(raw, "\n") {
		require.LessOrEqual(t, len(line), 998, "RFC 5322, 2.1.1")
	}
}

func TestRepeatSaysSo(t *testing.T) {
	s := serve(t, nil, false)
	set := config(s.port)
	set.TLS, set.User, set.PasswordEnv = NoTLS, "", ""
	d := letter()
	d.Repeat, d.At = true, d.At.Add(26*time.Hour)
	require.NoError(t, newServer(t, set).Deliver(t.Context(), d))
	h, subject, body := parse(t, s.mails()[0].text)
	require.Equal(t, "<8f3a@depot.example>", h.Get("Message-Id"))
	require.True(t, strings.HasPrefix(subject, "May be a repeat: [Depot]"), subject)
	require.Contains(t, body, "may be a repeat")
	require.Contains(t, body, "This message is late: it was written at 2026-03-01 14:00 UTC and")
}

// TestReplies: which of RFC 5321's replies are tried again soon (4.2.1: 4yz is
// transient, 5yz permanent).
func TestReplies(t *testing.T) {
	reply := func(code int) error {
		return &smtp.SMTPError{Code: code, EnhancedCode: smtp.EnhancedCode{code / 100, 1, 1}, Message: "no"}
	}
	for _, tt := range []struct {
		name                string
		rcpt, data          error
		permanent, everyone bool
	}{
		{"mailbox busy", reply(450), nil, false, false},
		{"mailbox unknown", reply(550), nil, true, false},
		{"local error", nil, reply(451), false, false},
		{"refused as a whole", nil, reply(554), true, false},
		{"server is closing", reply(421), nil, false, true},
	} {
		t.Run(tt.name, func(t *testing.T) {
			s := serve(t, nil, false)
			set := config(s.port)
			set.TLS = NoTLS
			if tt.rcpt != nil {
				s.rcptErr = []error{tt.rcpt}
			}
			if tt.data != nil {
				s.dataErr = []error{tt.data}
			}
			m := newServer(t, set)
			f := failure(t, m.Deliver(t.Context(), letter()))
			require.Equal(t, [3]bool{tt.permanent, tt.everyone, false}, [3]bool{f.Permanent, f.Everyone, f.InDoubt}, f.Error())
			require.Empty(t, s.mails())
			require.NoError(t, m.Deliver(t.Context(), letter()), "the next attempt gets through")
			require.Len(t, s.mails(), 1)
		})
	}
}

func TestCutAfterTheMessageIsInDoubt(t *testing.T) {
	s := serve(t, nil, false)
	set := config(s.port)
	set.TLS = NoTLS
	s.cut = true
	f := failure(t, newServer(t, set).Deliver(t.Context(), letter()))
	require.True(t, f.InDoubt, f.Error())
	require.False(t, f.Permanent)
	require.Len(t, s.mails(), 1, "the server has it all the same")
}

// TestHangUpAfterTheReply: a server that took the message and then leaves
// without a farewell has taken it.
func TestHangUpAfterTheReply(t *testing.T) {
	s := serve(t, nil, false)
	s.hangUp = true
	set := config(s.port)
	set.TLS = NoTLS
	require.NoError(t, newServer(t, set).Deliver(t.Context(), letter()))
	require.Len(t, s.mails(), 1)
}

func TestTroubleBeforeTheMessage(t *testing.T) {
	c := newCertificate(t)
	secure, plain := serve(t, c.conf, false), serve(t, nil, false)
	free, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	nobody := free.Addr().(*net.TCPAddr).Port
	free.Close()
	for _, tt := range []struct {
		name      string
		port      int
		change    func(*logbook.Mail)
		permanent bool
	}{
		{"wrong password", secure.port, func(m *logbook.Mail) { m.PasswordEnv = "WRONG" }, true},
		{"unknown certificate", secure.port, func(m *logbook.Mail) { m.CA = "" }, true},
		{"no STARTTLS offered", plain.port, func(m *logbook.Mail) {}, true},
		{"no TLS on that port", plain.port, func(m *logbook.Mail) { m.TLS = ImplicitTLS }, true},
		{"nobody listens", nobody, func(m *logbook.Mail) {}, false},
	} {
		t.Run(tt.name, func(t *testing.T) {
			set := config(tt.port)
			set.CA = c.cert
			tt.change(&set)
			f := failure(t, newServer(t, set).Deliver(t.Context(), letter()))
			require.Equal(t, tt.permanent, f.Permanent, f.Error())
			require.True(t, f.Everyone)
			require.False(t, f.InDoubt)
			require.NotContains(t, f.Error(), "guess", "the password stays out of errors")
		})
	}
	require.Empty(t, plain.mails())
	require.Empty(t, secure.mails())
}

// TestServerThatHangs: a server that says nothing, or stops in the middle, costs
// no more than the timeout, and a stop costs nothing.
func TestServerThatHangs(t *testing.T) {
	for _, greeting := range []string{"", "220 mail.depot.example ESMTP\r\n"} {
		l, err := net.Listen("tcp", "127.0.0.1:0")
		require.NoError(t, err)
		accepted := make(chan struct{}, 2)
		go func() {
			for {
				c, err := l.Accept()
				if err != nil {
					return
				}
				defer c.Close()
				io.WriteString(c, greeting)
				accepted <- struct{}{}
			}
		}()
		set := config(l.Addr().(*net.TCPAddr).Port)
		s, err := New(set, Options{Timeout: 300 * time.Millisecond})
		require.NoError(t, err)
		began := time.Now()
		f := failure(t, s.Deliver(t.Context(), letter()))
		require.False(t, f.Permanent, f.Error())
		require.True(t, f.Everyone)
		require.Less(t, time.Since(began), 3*time.Second)
		<-accepted

		s.opts.Timeout = time.Hour
		ctx, cancel := context.WithCancel(t.Context())
		go func() { <-accepted; cancel() }()
		require.Error(t, s.Deliver(ctx, letter()))
		l.Close()
	}
}

func TestNewRefuses(t *testing.T) {
	empty := filepath.Join(t.TempDir(), "empty")
	require.NoError(t, os.WriteFile(empty, nil, 0o600))
	for name, tt := range map[string]struct {
		change func(*logbook.Mail)
		says   string
	}{
		"no host":           {func(m *logbook.Mail) { m.Host = "" }, "mail.host"},
		"port":              {func(m *logbook.Mail) { m.Port = 70000 }, "mail.port"},
		"tls":               {func(m *logbook.Mail) { m.TLS = "ssl3" }, "mail.tls"},
		"plain to another":  {func(m *logbook.Mail) { m.TLS, m.Host = NoTLS, "mail.depot.example" }, "mail.tls: none is allowed only"},
		"plain to an IP":    {func(m *logbook.Mail) { m.TLS, m.Host = NoTLS, "192.0.2.7" }, "mail.tls: none is allowed only"},
		"plain, name trick": {func(m *logbook.Mail) { m.TLS, m.Host = NoTLS, "localhost.depot.example" }, "mail.tls: none is allowed only"},
		"no password":       {func(m *logbook.Mail) { m.PasswordEnv = "" }, "mail.user"},
		"two passwords":     {func(m *logbook.Mail) { m.PasswordFile = "x" }, "not both"},
		"no user":           {func(m *logbook.Mail) { m.User = "" }, "mail.user"},
		"unset variable":    {func(m *logbook.Mail) { m.PasswordEnv = "NOPE" }, "mail.password_env"},
		"empty file":        {func(m *logbook.Mail) { m.PasswordEnv, m.PasswordFile = "", empty }, "mail.password_file"},
		"missing file":      {func(m *logbook.Mail) { m.PasswordEnv, m.PasswordFile = "", empty+"x" }, "mail.password_file"},
		"from":              {func(m *logbook.Mail) { m.From = "depot" }, "mail.from"},
		"no CA":             {func(m *logbook.Mail) { m.CA = empty + "x" }, "mail.ca"},
		"CA without PEM":    {func(m *logbook.Mail) { m.CA = empty }, "mail.ca"},
	} {
		t.Run(name, func(t *testing.T) {
			set := config(25)
			tt.change(&set)
			s, err := New(set, Options{})
			require.ErrorContains(t, err, tt.says)
			require.Nil(t, s)
		})
	}
}

// TestAgainstIndependentServer sends to aiosmtpd, a server of other authors in
// another language, which insists on STARTTLS and on a login.
func TestAgainstIndependentServer(t *testing.T) {
	const python = "/usr/bin/python3"
	if err := exec.Command(python, "-c", "import aiosmtpd").Run(); err != nil {
		peer.Missing(t, "aiosmtpd", "python3-aiosmtpd")
	}
	c := newCertificate(t)
	cmd := exec.Command(python, "testdata/aiosmtpd_server.py", c.cert, c.key, "depot", "s3cret ü")
	in, err := cmd.StdinPipe()
	require.NoError(t, err)
	out, err := cmd.StdoutPipe()
	require.NoError(t, err)
	cmd.Stderr = os.Stderr
	require.NoError(t, cmd.Start())
	t.Cleanup(func() { in.Close(); cmd.Wait() })
	lines := bufio.NewScanner(out)
	lines.Buffer(nil, 1<<20)
	require.True(t, lines.Scan())
	port, err := strconv.Atoi(lines.Text())
	require.NoError(t, err)

	set := config(port)
	set.CA, set.PasswordEnv = c.cert, "WRONG"
	f := failure(t, newServer(t, set).Deliver(t.Context(), letter()))
	require.True(t, f.Permanent && f.Everyone && !f.InDoubt, "wrong password: %v", f)

	set.PasswordEnv = "DEPOT_MAIL"
	d := letter()
	require.NoError(t, newServer(t, set).Deliver(t.Context(), d))
	require.True(t, lines.Scan())
	var got struct {
		From, User, Data string
		To               []string
		TLS              bool
	}
	require.NoError(t, json.Unmarshal(lines.Bytes(), &got))
	require.True(t, got.TLS)
	require.Equal(t, "depot", got.User)
	require.Equal(t, "depot@depot.example", got.From)
	require.Equal(t, []string{"amadi@depot.example"}, got.To)
	checkMail(t, got.Data, d)
}

func TestClassifyUnknownErrorIsTemporary(t *testing.T) {
	f := classify(fmt.Errorf("dial failed: %w", errors.New("no route to host")))
	require.Equal(t, [3]bool{false, true, false}, [3]bool{f.Permanent, f.Everyone, f.InDoubt})
}
