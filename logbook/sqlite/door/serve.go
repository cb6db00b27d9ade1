package door

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net"
	"os"
	"sync"
	"time"

	"undersheet/logbook"
)

// Handle commits entries and has them judged; it returns an answer for each. An
// error means that none of them was kept.
type Handle func(ctx context.Context, entries []logbook.Entry) ([]Answer, error)

// listener takes its socket file away when it is closed.
type listener struct {
	net.Listener
	path string
	once sync.Once
}

// Close implements net.Listener.
func (l *listener) Close() error {
	l.once.Do(func() { os.Remove(l.path) })
	return l.Listener.Close()
}

// Listen makes the socket at path with mode 0660, in place of one that a killed
// process left. Only the holder of the logbook's lock may call it.
func Listen(path string) (net.Listener, error) {
	if len(path)+len(".new") > 107 { // sun_path of unix(7)
		return nil, fmt.Errorf("listen at %q: the path is longer than the 103 bytes that a socket can have: give the logbook a shorter path", path)
	}
	temp := path + ".new"
	for _, p := range []string{temp, path} {
		if info, err := os.Lstat(p); err == nil && info.Mode()&fs.ModeSocket == 0 {
			return nil, fmt.Errorf("listen at %q: a file that is no socket stands there", p)
		}
	}
	os.Remove(temp)
	l, err := net.ListenUnix("unix", &net.UnixAddr{Name: temp, Net: "unix"})
	if err != nil {
		return nil, fmt.Errorf("listen at %q: %w", path, err)
	}
	l.SetUnlinkOnClose(false)
	err = os.Chmod(temp, 0o660)
	if err == nil {
		err = os.Rename(temp, path)
	}
	if err != nil {
		l.Close()
		os.Remove(temp)
		return nil, fmt.Errorf("listen at %q: %w", path, err)
	}
	return &listener{Listener: l, path: path}, nil
}

// Serve answers requests on l until ctx ends; then it closes l, lets requests
// that are being handled finish within their limits, and returns nil.
func Serve(ctx context.Context, l net.Listener, handle Handle) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	defer context.AfterFunc(ctx, func() { l.Close() })()
	var conns sync.WaitGroup
	defer conns.Wait()
	defer cancel() // runs first, so that idle connections end
	places := make(chan struct{}, maxClients)
	for {
		select {
		case places <- struct{}{}:
		case <-ctx.Done():
			return nil
		}
		c, err := l.Accept()
		switch {
		case ctx.Err() != nil:
			if err == nil {
				c.Close()
			}
			return nil
		case errors.Is(err, net.ErrClosed):
			return fmt.Errorf("serve the door: %w", err)
		case err != nil: // for example too many open files: the next may be taken
			<-places
			if !pause(ctx, 100*time.Millisecond) {
				return nil
			}
			continue
		}
		conns.Go(func() {
			defer func() { <-places }()
			converse(ctx, c, handle)
		})
	}
}

// pause waits for d; false when ctx ended.
func pause(ctx context.Context, d time.Duration) bool {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
		return true
	case <-ctx.Done():
		return false
	}
}

// converse answers the requests of one connection.
func converse(ctx context.Context, c net.Conn, handle Handle) {
	defer c.Close()
	defer context.AfterFunc(ctx, func() { c.SetReadDeadline(time.Now()) })()
	r := bufio.NewReader(c)
	for {
		c.SetReadDeadline(time.Now().Add(idleTime))
		if ctx.Err() != nil {
			return
		}
		lines, err := readBlock(r)
		if err != nil && !errors.Is(err, errTooLarge) {
			return // done, gone or silent: nothing was asked in full
		}
		var answers []line
		if err == nil {
			answers, err = respond(ctx, lines, handle)
		}
		fatal := errors.Is(err, errTooLarge) // what follows is the rest of it
		if err != nil {
			answers = []line{{Error: err.Error()}}
		}
		c.SetWriteDeadline(time.Now().Add(answerTime))
		if err := writeBlock(c, answers, encodeLine); err != nil || fatal {
			drain(c, fatal)
			return
		}
	}
}

// drain reads on for a while, so that the answer is not lost with a connection
// that is closed on unread bytes.
func drain(c net.Conn, on bool) {
	if u, ok := c.(*net.UnixConn); ok && on {
		u.CloseWrite()
		c.SetReadDeadline(time.Now().Add(answerTime))
		io.Copy(io.Discard, io.LimitReader(c, 4*MaxRequest))
	}
}

// respond decodes a request and has it handled.
func respond(ctx context.Context, lines [][]byte, handle Handle) ([]line, error) {
	if len(lines) > MaxEntries {
		return nil, fmt.Errorf("a request of %d entries is larger than %d", len(lines), MaxEntries)
	}
	entries := make([]logbook.Entry, len(lines))
	for i, text := range lines {
		e, err := logbook.Decode(text)
		if err == nil {
			err = Check(e)
		}
		if err != nil {
			return nil, fmt.Errorf("line %d: %w", i+1, err)
		}
		h := e.Head()
		h.Seq, h.Received = 0, 0 // the logbook gives them
		entries[i] = e
	}
	if len(entries) == 0 {
		return nil, nil
	}
	// A request that came whole is finished although the process is stopping.
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), workTime)
	defer cancel()
	answers, err := handle(ctx, entries)
	if err != nil {
		return nil, err
	}
	if len(answers) != len(entries) {
		return nil, fmt.Errorf("%d answers for %d entries", len(answers), len(entries))
	}
	out := make([]line, len(answers))
	for i, a := range answers {
		out[i].Answer = a
	}
	return out, nil
}
