package forward

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"os"
	"regexp"
	"strconv"
)

// sending is one batch on its way to a server.
type sending struct {
	*server
	batch *batch
	sent  sent
	taken bool // the server took a line, or said which part of a batch it dropped
}

// send implements destination.
func (s *server) send(ctx context.Context, b *batch) sent {
	d := &sending{server: s, batch: b}
	d.sent.err = d.piece(ctx, 0, len(b.ends))
	if d.sent.err == nil && !d.taken {
		d.sent.err = d.refusesAll()
	}
	if d.sent.err != nil {
		d.sent.refused, d.sent.why = 0, nil // nothing is passed over yet
	}
	return d.sent
}

// mostAlone is how many single lines a server may refuse without taking one
// before it counts as set up wrongly.
const mostAlone = 32

// piece sends lines i up to k, in ever smaller pieces where some are refused. It
// returns why not all of the others were taken.
func (d *sending) piece(ctx context.Context, i, k int) *failure {
	a, err := d.post(ctx, d.batch.lines(i, k))
	d.sent.broken = d.sent.broken || a.broken
	if err != nil {
		var set errConfigured
		d.sent.smaller = d.sent.smaller || errors.Is(err, context.DeadlineExceeded) || errors.Is(err, os.ErrDeadlineExceeded)
		return &failure{err: err, slow: errors.As(err, &set)}
	}
	switch {
	case a.status >= 200 && a.status < 300 && !a.page:
		d.taken = true
		return nil
	case a.status == http.StatusRequestEntityTooLarge:
		d.sent.smaller = true
	case a.status != http.StatusBadRequest && a.status != http.StatusUnprocessableEntity:
		return d.put(a)
	default:
		if n := dropped(a.said); n > 0 && n <= k-i {
			d.taken = true
			d.refuse(n, fmt.Errorf("%s answers %d %q", d.shown, a.status, short(a.said)))
			return nil
		}
	}
	if k-i == 1 {
		d.refuse(1, fmt.Errorf("%s answers %d %q to the line %q", d.shown, a.status, short(a.said), short(string(d.batch.lines(i, k)))))
		if !d.taken && d.sent.refused >= mostAlone {
			return d.refusesAll()
		}
		return nil
	}
	half := (i + k) / 2
	if err := d.piece(ctx, i, half); err != nil {
		return err
	}
	return d.piece(ctx, half, k)
}

// mostTold is how many refused lines of one batch are written to the program's log.
const mostTold = 5

// refuse notes that n lines are never taken.
func (d *sending) refuse(n int, why error) {
	d.sent.refused, d.sent.why = d.sent.refused+n, why
	if d.sent.refused <= mostTold {
		d.logger.Warn("a line is refused", "lines", n, "error", why)
	}
}

// refusesAll is the failure of a server that takes nothing.
func (d *sending) refusesAll() *failure {
	return &failure{slow: true, err: fmt.Errorf("the server refuses every line: look at url and database, or at what else writes there under these names: %w", d.sent.why)}
}

// droppedOf finds the count in InfluxDB's answer to a batch that it wrote in part.
var droppedOf = regexp.MustCompile(`partial write:.*dropped=(\d+)`)

// dropped returns how many points a server says that it dropped while it wrote
// the others; 0 when it does not say.
func dropped(said string) int {
	m := droppedOf.FindStringSubmatch(said)
	if m == nil {
		return 0
	}
	n, err := strconv.Atoi(m[1])
	if err != nil {
		return 0
	}
	return n
}

// put is the failure for an answer that is not about single lines.
func (d *sending) put(a answer) *failure {
	f := &failure{after: a.after, slow: true}
	do := "is url the address for writing?"
	switch s := a.status; {
	case s == http.StatusUnauthorized || s == http.StatusForbidden:
		do = "put user and password, or what they may write to, right"
	case s == http.StatusNotFound:
		do = "look at the path of url and at its database, which may have to be made first"
	case s == http.StatusRequestTimeout || s == http.StatusTooManyRequests || s >= 500:
		f.slow, do = false, "it is tried again"
	case s >= 300 && s < 400:
		do = "redirects are not followed: put the address that it names into url"
	}
	f.err = fmt.Errorf("%s answers %d %q: %s", d.shown, a.status, short(a.said), do)
	return f
}

// short returns the beginning of s.
func short(s string) string {
	const most = 300
	if len(s) > most {
		return s[:most] + "…"
	}
	return s
}
