package main

import (
	"context"
	"fmt"
	"io"
	"mime"
	"net"
	netmail "net/mail"
	"strings"
	"sync"
	"time"

	"github.com/emersion/go-smtp"

	"undersheet/alert"
	"undersheet/alert/sms/modem"
)

// postbox is a mail server in this process that shows what it takes.
type postbox struct {
	out      io.Writer
	listener net.Listener
	server   *smtp.Server
	mu       sync.Mutex
	count    int
}

// newPostbox listens on a free loopback port.
func newPostbox(out io.Writer) (*postbox, error) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return nil, fmt.Errorf("open mail server: %w", err)
	}
	p := &postbox{out: out, listener: l}
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
	p.count++
	fmt.Fprintf(p.out, "%16s  SMS to %s: %s\n", "", m.To, strings.ReplaceAll(m.Text, "\n", " / "))
}

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

// Data shows the subject of the mail.
func (d *delivery) Data(r io.Reader) error {
	m, err := netmail.ReadMessage(r)
	if err != nil {
		return fmt.Errorf("read mail: %w", err)
	}
	subject, err := new(mime.WordDecoder).DecodeHeader(m.Header.Get("Subject"))
	if err != nil {
		subject = m.Header.Get("Subject")
	}
	d.box.mu.Lock()
	defer d.box.mu.Unlock()
	d.box.count++
	fmt.Fprintf(d.box.out, "%16s  mail to %s: %s\n", "", d.to, subject)
	return nil
}

// Reset implements smtp.Session.
func (*delivery) Reset() {}

// Logout implements smtp.Session.
func (*delivery) Logout() error { return nil }
