package modbus

import (
	"errors"
	"fmt"
	"os"
	"time"

	"undersheet/sensor/port"
)

var (
	// errNoAnswer says that a unit sent nothing in time.
	errNoAnswer = errors.New("no answer")
	// errNoisy says that the line was never silent, so that nothing could be asked.
	errNoisy = errors.New("the line is never silent")
)

const (
	// fastBaud is the speed above which the silence between frames is fixed,
	// and fastSilence that silence (serial line V1.02, section 2.5.1.1).
	fastBaud    = 19200
	fastSilence = 1750 * time.Microsecond

	// longestNoise is how long the master waits for the line to fall silent.
	longestNoise = 500 * time.Millisecond
	// keep is how many of the last bytes that came are kept while waiting: more
	// than the longest frame (256) with an echo and noise before it.
	keep = 512
)

// Silence is the least time between two frames on a line set like c: 3.5
// characters (t3.5), or 1.75 ms above 19200 baud.
func Silence(c port.Config) time.Duration {
	if c.WithDefaults().Baud > fastBaud {
		return fastSilence
	}
	return c.CharTime(7) / 2
}

// bus is a line as its one master uses it. Its times are those of the wire,
// never those of the depot's clock.
type bus struct {
	port *port.Port
}

// lost says whether err means that the device is gone or closed, so that
// asking again is useless.
func lost(err error) bool {
	return errors.Is(err, port.ErrGone) || errors.Is(err, port.ErrNotOpen) || errors.Is(err, os.ErrClosed)
}

// ask sends r once and waits for its answer: timeout until the answer begins,
// and what both frames take on the wire. sent is when the request was handed
// over; came is what came instead of an answer.
func (b bus) ask(r Request, timeout time.Duration) (words []uint16, came []byte, sent time.Time, err error) {
	if err := b.settle(); err != nil {
		return nil, nil, time.Now(), err
	}
	if _, err := b.port.Write(r.Append(nil)); err != nil {
		return nil, nil, time.Now(), err
	}
	sent = time.Now()
	wire := b.port.Config().CharTime(requestLen + r.ReplyLen())
	words, came, err = b.answer(r, sent.Add(timeout+wire))
	if errors.Is(err, errNoAnswer) {
		err = fmt.Errorf("%w within %v", err, timeout)
	}
	return words, came, sent, err
}

// answer reads until an answer to r came or the deadline passed. A broken
// frame does not end the waiting: the right one may still come, and a new
// request would collide with it.
func (b bus) answer(r Request, deadline time.Time) (words []uint16, came []byte, err error) {
	if err := b.port.SetReadDeadline(deadline); err != nil {
		return nil, nil, err
	}
	buf := make([]byte, keep)
	for {
		n, err := b.port.Read(buf)
		if err != nil && !errors.Is(err, os.ErrDeadlineExceeded) {
			return nil, came, err
		}
		came = append(came, buf[:n]...)
		came = came[max(0, len(came)-keep):]
		if words, found, err := r.FindReply(came); found {
			return words, came, err
		}
		if err != nil || !time.Now().Before(deadline) {
			return nil, came, complain(r, came)
		}
	}
}

// complain says what was wrong with what came instead of an answer to r.
func complain(r Request, came []byte) error {
	if len(came) == 0 {
		return errNoAnswer
	}
	_, err := r.DecodeReply(came)
	return err // never nil and no Exception: FindReply found no answer
}

// settle drops what is in the input and waits until the line was silent for t3.5.
func (b bus) settle() error {
	if err := b.port.Discard(); err != nil {
		return err
	}
	silence, limit := Silence(b.port.Config()), time.Now().Add(longestNoise)
	for time.Now().Before(limit) {
		switch err := b.drop(time.Now().Add(silence)); {
		case errors.Is(err, os.ErrDeadlineExceeded):
			return nil
		case err != nil:
			return err
		}
	}
	return errNoisy
}

// listen drops what comes until the given time.
func (b bus) listen(until time.Time) error {
	for time.Now().Before(until) {
		if err := b.drop(until); err != nil && !errors.Is(err, os.ErrDeadlineExceeded) {
			return err
		}
	}
	return nil
}

// drop reads and forgets what comes before the deadline.
func (b bus) drop(deadline time.Time) error {
	if err := b.port.SetReadDeadline(deadline); err != nil {
		return err
	}
	_, err := b.port.Read(make([]byte, keep))
	return err
}
