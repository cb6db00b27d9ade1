package web

import (
	"bufio"
	"fmt"
	"net"
	"net/http"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"
)

// here is a connection from this machine.
type here struct{ net.Conn }

func (here) RemoteAddr() net.Addr { return &net.TCPAddr{IP: net.IPv4(127, 0, 0, 1), Port: 4321} }

// lines is a listener whose connections hold nothing: what is not read blocks.
type lines struct {
	in     chan net.Conn
	closed chan struct{}
}

func (l *lines) Accept() (net.Conn, error) {
	select {
	case c := <-l.in:
		return c, nil
	case <-l.closed:
		return nil, net.ErrClosed
	}
}
func (l *lines) Close() error   { close(l.closed); return nil }
func (l *lines) Addr() net.Addr { return here{}.RemoteAddr() }

// dial opens a connection and asks for the live stream on it; nothing is read.
func (l *lines) dial(t *testing.T) net.Conn {
	ours, theirs := net.Pipe()
	l.in <- here{theirs}
	_, err := fmt.Fprint(ours, "GET /live HTTP/1.1\r\nHost: localhost\r\n\r\n")
	require.NoError(t, err)
	return ours
}

// Readers that never read are let go after a while, and hold up nobody but each
// other until then: no more than maxStreams are served.
func TestDeafReadersAreLetGo(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		l := &lines{in: make(chan net.Conn), closed: make(chan struct{})}
		s := &http.Server{Handler: invented().handler(Options{Clock: func() time.Time { return now }}), WriteTimeout: writeTimeout}
		ended := make(chan error, 1)
		go func() { ended <- s.Serve(l) }()
		for range maxStreams {
			defer l.dial(t).Close()
		}
		synctest.Wait()
		answer := func() string {
			c := l.dial(t)
			defer c.Close()
			status, err := bufio.NewReader(c).ReadString('\n')
			require.NoError(t, err)
			return status
		}
		require.Contains(t, answer(), "503", "every place is taken")
		time.Sleep(sendWithin + time.Second) // fake time
		synctest.Wait()
		require.Contains(t, answer(), "200", "the deaf were let go")
		require.NoError(t, s.Close())
		require.ErrorIs(t, <-ended, http.ErrServerClosed)
	})
}
