package main

import (
	"errors"
	"io"
	"mime"
	"net"
	netmail "net/mail"
	"strings"
	"sync"
	"testing"

	"github.com/emersion/go-smtp"
	"github.com/stretchr/testify/require"
)

// letter is one mail as it came.
type letter struct {
	id, to, subject, text string
}

// mailbox is a mail server in this process that keeps what it takes.
type mailbox struct {
	listener net.Listener
	server   *smtp.Server

	mu  sync.Mutex
	got []letter
	// The first mail whose subject contains stall is taken, and not answered
	// before release is closed; then stalled is closed.
	stall            string
	stalled, release chan struct{}
}

// newMailbox listens on a free loopback port until the test ends.
func newMailbox(t *testing.T) *mailbox {
	m := &mailbox{stalled: make(chan struct{}), release: make(chan struct{})}
	m.server = smtp.NewServer(smtp.BackendFunc(func(*smtp.Conn) (smtp.Session, error) { return &mailing{box: m}, nil }))
	m.server.Domain = "localhost"
	var err error
	m.listener, err = net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		_ = m.server.Serve(m.listener) // it ends when the test closes it
	}()
	t.Cleanup(func() {
		m.server.Close()
		<-ended
	})
	return m
}

func (m *mailbox) port() int { return m.listener.Addr().(*net.TCPAddr).Port }

// letters returns what came so far.
func (m *mailbox) letters() []letter {
	m.mu.Lock()
	defer m.mu.Unlock()
	return append([]letter(nil), m.got...)
}

// about returns the letters whose subject contains what.
func (m *mailbox) about(what string) []letter {
	var found []letter
	for _, l := range m.letters() {
		if strings.Contains(l.subject, what) {
			found = append(found, l)
		}
	}
	return found
}

// take keeps a letter, and says whether its answer stalls.
func (m *mailbox) take(l letter) (stalls bool) {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.got = append(m.got, l)
	if m.stall == "" || !strings.Contains(l.subject, m.stall) {
		return false
	}
	m.stall = ""
	close(m.stalled)
	return true
}

// mailing is one connection.
type mailing struct {
	box *mailbox
	to  string
}

func (*mailing) Mail(string, *smtp.MailOptions) error { return nil }
func (*mailing) Reset()                               {}
func (*mailing) Logout() error                        { return nil }

func (c *mailing) Rcpt(to string, _ *smtp.RcptOptions) error {
	c.to = to
	return nil
}

func (c *mailing) Data(r io.Reader) error {
	msg, err := netmail.ReadMessage(r)
	if err != nil {
		return err
	}
	body, err := io.ReadAll(msg.Body)
	if err != nil {
		return err
	}
	subject, err := new(mime.WordDecoder).DecodeHeader(msg.Header.Get("Subject"))
	if err != nil {
		return err
	}
	if c.box.take(letter{id: msg.Header.Get("Message-Id"), to: c.to, subject: subject, text: string(body)}) {
		<-c.box.release
		return errors.New("the sender is dead")
	}
	return nil
}

// waitFor waits until a letter about what is there, and returns the first.
func (m *mailbox) waitFor(t *testing.T, what string) letter {
	var found []letter
	require.Eventually(t, func() bool { found = m.about(what); return len(found) > 0 }, patience, tick, "no mail about %q", what)
	return found[0]
}
