package door

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net"
	"time"

	"undersheet/logbook"
)

// Client is a connection to the process that holds a logbook. It is for one
// goroutine.
type Client struct {
	path string
	conn net.Conn
	r    *bufio.Reader
}

// RefusedError is the door's answer to a request of which nothing was kept.
type RefusedError struct{ Why string }

// Error implements error.
func (e *RefusedError) Error() string { return "nothing was kept: " + e.Why }

// Dial connects to the socket at path.
func Dial(ctx context.Context, path string) (*Client, error) {
	var d net.Dialer
	c, err := d.DialContext(ctx, "unix", path)
	if err != nil {
		return nil, fmt.Errorf("reach the process that holds the logbook, through %q (is it starting or stopping? may you write to the socket?): %w", path, err)
	}
	return &Client{path: path, conn: c, r: bufio.NewReader(c)}, nil
}

// Send hands entries over and returns an answer for each. A *RefusedError says
// that nothing was kept. After any other error the outcome is not known: send
// the same again, duplicates are dropped.
func (c *Client) Send(ctx context.Context, entries []logbook.Entry) ([]Answer, error) {
	if len(entries) == 0 {
		return nil, nil
	}
	if len(entries) > MaxEntries {
		return nil, fmt.Errorf("send %d entries: more than %d", len(entries), MaxEntries)
	}
	deadline := time.Now().Add(answerTime + workTime)
	if d, ok := ctx.Deadline(); ok && d.Before(deadline) {
		deadline = d
	}
	c.conn.SetDeadline(deadline)
	defer context.AfterFunc(ctx, func() { c.conn.SetDeadline(time.Now()) })()
	if err := writeBlock(c.conn, entries, logbook.Encode); err != nil {
		if errors.Is(err, errTooLarge) {
			return nil, fmt.Errorf("send %d entries: %w: send fewer", len(entries), err)
		}
		return nil, c.broken(ctx, "send entries", err)
	}
	lines, err := readBlock(c.r)
	if err != nil {
		return nil, c.broken(ctx, "read answers", err)
	}
	return decodeAnswers(lines, len(entries))
}

// broken makes the error of a request whose answer did not come whole.
func (c *Client) broken(ctx context.Context, what string, err error) error {
	if ctx.Err() != nil {
		err = ctx.Err()
	}
	return fmt.Errorf("%s through %q, it is not known what was kept, so do the same again: %w", what, c.path, err)
}

// decodeAnswers reads the answers to n entries; a *RefusedError when the daemon refused them all.
func decodeAnswers(lines [][]byte, n int) ([]Answer, error) {
	answers := make([]Answer, 0, n)
	for _, text := range lines {
		var l line
		if err := json.Unmarshal(text, &l); err != nil {
			return nil, fmt.Errorf("read answers: %w", err)
		}
		if l.Error != "" {
			return nil, &RefusedError{Why: l.Error}
		}
		answers = append(answers, l.Answer)
	}
	if len(answers) != n {
		return nil, fmt.Errorf("read answers: %d came for %d entries", len(answers), n)
	}
	return answers, nil
}

// Close ends the connection.
func (c *Client) Close() error { return c.conn.Close() }
