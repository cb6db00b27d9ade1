package main

import (
	"context"
	"fmt"
	"io"
	"mime"
	"mime/quotedprintable"
	"net"
	netmail "net/mail"
	"strings"
	"sync"
	"time"

	"github.com/emersion/go-smtp"

	"undersheet/alert"
	"undersheet/alert/sms/modem"
)

// postbox is a mail server in this process that shows what it takes: in a line on
// the console, and whole in a file.
type postbox struct {
	out      io.Writer
	whole    io.Writer
	listener net.Listener
	server   *smtp.Server
	mu       sync.Mutex
}

// newPostbox listens on a free loopback port; whole takes every message as people read it.
func newPostbox(out, whole io.Writer) (*postbox, error) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return nil, fmt.Errorf("open mail server: %w", err)
	}
	p := &postbox{out: out, whole: whole, listener: l}
	p.server = smtp.NewServer(smtp.BackendFunc(func(*smtp.Conn) (smtp.Session, error) { return &delivery{box: p}, nil }))
	p.server.Domain = "localhost"
	return p, nil
}

func (p *postbox) port() int { return p.listener.Addr().(*net.TCPAddr).Port }

// run takes mail until ctx ends.
func (p *postbox) run(ctx context.Context) error {
	stop := context.AfterFunc(ctx, func() { p.server.Close() })
	defer stop()
	if err := p.server.Serve(p.listener); err != nil && ctx.Err() == nil {
		return fmt.Errorf("serve mail: %w", err)
	}
	return nil
}

// empty waits until every message was handed over.
func (p *postbox) empty(ctx context.Context, s *alert.Sender) error {
	tick := time.NewTicker(50 * time.Millisecond)
	defer tick.Stop()
	for s.Stats().Pending > 0 {
		s.Wake()
		select {
		case <-tick.C:
		case <-ctx.Done():
			return ctx.Err()
		}
	}
	return nil
}

// text shows an SMS that the modem was given.
func (p *postbox) text(m modem.Message) {
	p.mu.Lock()
	defer p.mu.Unlock()
	fmt.Fprintf(p.out, "%16s  SMS to %s: %s\n", "", m.To, strings.ReplaceAll(m.Text, "\n", " / "))
	fmt.Fprintf(p.whole, "SMS to %s\n\n%s\n\n%s\n", m.To, m.Text, between)
}

// between parts the messages of the file.
const between = "----------------------------------------"

// delivery is one mail that comes in.
type delivery struct {
	box *postbox
	to  string
}

// Mail implements smtp.Session.
func (*delivery) Mail(string, *smtp.MailOptions) error { return nil }

// Rcpt implements smtp.Session.
func (d *delivery) Rcpt(to string, _ *smtp.RcptOptions) error {
	d.to = to
	return nil
}

// Data shows the mail.
func (d *delivery) Data(r io.Reader) error {
	m, err := netmail.ReadMessage(r)
	if err != nil {
		return fmt.Errorf("read mail: %w", err)
	}
	subject, err := new(mime.WordDecoder).DecodeHeader(m.Header.Get("Subject"))
	if err != nil {
		subject = m.Header.Get("Subject")
	}
	body := io.Reader(m.Body)
	if m.Header.Get("Content-Transfer-Encoding") == "quoted-printable" {
		body = quotedprintable.NewReader(body)
	}
	text, err := io.ReadAll(body)
	if err != nil {
		return fmt.Errorf("read mail: %w", err)
	}
	d.box.mu.Lock()
	defer d.box.mu.Unlock()
	fmt.Fprintf(d.box.out, "%16s  mail to %s: %s\n", "", d.to, subject)
	fmt.Fprintf(d.box.whole, "mail to %s\n%s\n\n%s\n%s\n", d.to, subject, strings.ReplaceAll(string(text), "\r\n", "\n"), between)
	return nil
}

// Reset implements smtp.Session.
func (*delivery) Reset() {}

// Logout implements smtp.Session.
func (*delivery) Logout() error { return nil }
