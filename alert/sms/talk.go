package sms

import (
	"context"
	"errors"
	"fmt"
	"os"
	"strings"
	"time"

	"undersheet/sensor/port"
)

var (
	// errSilent says that an answer did not come in time.
	errSilent = errors.New("the modem did not answer in time")
	// errBare is errSilent where an OK came, but not the line that was asked for.
	errBare = fmt.Errorf("%w, but for an OK", errSilent)
	// errHung says that a modem answers nothing any more.
	errHung = errors.New("the modem answers nothing; check that it has power, the cable and the speed (sms.baud)")
)

// Control characters of TS 27.005.
const (
	ctrlZ = "\x1a" // ends a message
	esc   = "\x1b" // drops it
)

// talk is the dialogue with an open modem. Only one goroutine uses it, beside
// the pump that reads.
type talk struct {
	port *port.Port
	opts Options
	in   chan []byte // what the pump read; a few chunks, then the pump waits and the system's buffer fills
	err  error       // why the pump ended; read after in was closed

	lex   lexer
	queue []string // lines not yet looked at
	dirty bool     // an answer may still come that nobody waits for
	asked int      // questions of resync so far
}

// newTalk begins a dialogue. Until its first answer it is dirty: nobody knows
// what was said to the modem before.
func newTalk(p *port.Port, o Options) *talk {
	return &talk{port: p, opts: o, in: make(chan []byte, 4), dirty: true}
}

// pump reads until the port is gone or closed.
func (t *talk) pump(ctx context.Context) {
	defer close(t.in)
	buf := make([]byte, 256)
	for {
		n, err := t.port.Read(buf)
		if err != nil && !errors.Is(err, os.ErrDeadlineExceeded) {
			t.err = err
			return
		}
		if n == 0 {
			continue
		}
		select {
		case t.in <- append([]byte(nil), buf[:n]...):
		case <-ctx.Done():
			t.err = ctx.Err()
			return
		}
	}
}

// write sends raw to the modem.
func (t *talk) write(raw string) error {
	_, err := t.port.Write([]byte(raw))
	return err
}

// next returns the next line or prompt. It fails with errSilent when timer
// fires, with ctx's error, or with that of the port.
func (t *talk) next(ctx context.Context, timer *time.Timer) (string, error) {
	for len(t.queue) == 0 {
		select {
		case <-ctx.Done():
			return "", ctx.Err()
		case <-timer.C:
			return "", errSilent
		case b, open := <-t.in:
			if !open {
				return "", t.err
			}
			t.queue = t.lex.feed(b)
		}
	}
	line := t.queue[0]
	t.queue = t.queue[1:]
	return line, nil
}

// drop throws away what came unasked since the last answer.
func (t *talk) drop() {
	t.queue = nil
	for {
		select {
		case b, open := <-t.in:
			if !open {
				return // next will say it
			}
			t.lex.feed(b)
		default:
			return
		}
	}
}

// await returns the lines of an answer that begin with want, once it is
// complete. With a want, an OK before such a line is a late one of another
// command and is passed over; where nothing else comes, the error is errBare. A final error of the modem is a *refusal.
func (t *talk) await(ctx context.Context, want string, within time.Duration) ([]string, error) {
	timer := time.NewTimer(within)
	defer timer.Stop()
	var got []string
	bare := false
	for {
		line, err := t.next(ctx, timer)
		if err != nil {
			if t.dirty = true; bare && errors.Is(err, errSilent) {
				err = errBare
			}
			return got, err
		}
		if want != "" && strings.HasPrefix(line, want) && len(got) < 8 {
			got = append(got, line)
			continue
		}
		refused, done := final(line)
		switch {
		case done && refused != nil:
			return nil, refused
		case done && (want == "" || len(got) > 0):
			return got, nil
		case done:
			bare = true
		}
	}
}

// ask sends a command line and returns the lines of its answer that begin with
// want; with an empty want only that it was OK. Errors name the command up to
// its first "=", so that they never hold a PIN.
func (t *talk) ask(ctx context.Context, command, want string) ([]string, error) {
	if err := t.clean(ctx); err != nil {
		return nil, err
	}
	t.drop()
	err := t.write(command + "\r")
	var got []string
	if err == nil {
		got, err = t.await(ctx, want, t.opts.Command)
	}
	if err != nil {
		name, _, _ := strings.Cut(command, "=")
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	return got, nil
}

// announce sends AT+CMGS and waits for the prompt.
func (t *talk) announce(ctx context.Context, command string) error {
	if err := t.clean(ctx); err != nil {
		return err
	}
	t.drop()
	if err := t.write(command + "\r"); err != nil {
		return err
	}
	timer := time.NewTimer(t.opts.Command)
	defer timer.Stop()
	for {
		line, err := t.next(ctx, timer)
		if err != nil {
			t.dirty = true
			return fmt.Errorf("wait for the prompt of AT+CMGS: %w", err)
		}
		if line == promptToken {
			return nil
		}
		if refused, done := final(line); done && refused != nil {
			return fmt.Errorf("AT+CMGS: %w", refused)
		}
	}
}

// submit sends the message itself and waits until the service centre took charge
// of it, which "+CMGS:" says. After any error but a *refusal nobody knows whether it did.
func (t *talk) submit(ctx context.Context, body string) error {
	if err := t.write(body + ctrlZ); err != nil {
		return err
	}
	got, err := t.await(ctx, "+CMGS:", t.opts.Send)
	if err != nil && len(got) == 0 { // with +CMGS: read, the OK after it adds nothing
		return fmt.Errorf("wait for the answer to the message: %w", err)
	}
	return nil
}

// settle drops what comes until nothing came for Options.Quiet, at most ten
// times that long.
func (t *talk) settle(ctx context.Context) error {
	whole := time.NewTimer(10 * t.opts.Quiet)
	defer whole.Stop()
	quiet := time.NewTimer(t.opts.Quiet)
	defer quiet.Stop()
	t.queue = nil
	for {
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-whole.C:
			return nil
		case <-quiet.C:
			return nil
		case b, open := <-t.in:
			if !open {
				return t.err
			}
			t.lex.feed(b)
			quiet.Reset(t.opts.Quiet)
		}
	}
}

// questions are asked in turn after an answer was lost. Each answer names its
// question, so that it cannot be taken for that of another command.
var questions = []string{"+CSQ", "+CMEE?", "+CREG?", "+CMGF?"}

// clean makes sure that no answer is outstanding: it drops a message that may
// have been begun, waits for silence, and asks until a question is answered.
// After three that were not it fails with errHung.
func (t *talk) clean(ctx context.Context) error {
	if !t.dirty {
		return nil
	}
	for range 3 {
		if err := t.write(esc); err != nil {
			return err
		}
		if err := t.settle(ctx); err != nil {
			return err
		}
		if err := t.write("ATE0Q0V1\r"); err != nil {
			return err
		}
		if err := t.settle(ctx); err != nil {
			return err
		}
		err := t.question(ctx)
		if err == nil {
			t.dirty = false
			return nil
		}
		var refused *refusal
		if !errors.Is(err, errSilent) && !errors.As(err, &refused) {
			return err
		}
	}
	return errHung
}

// question asks the next of the questions.
func (t *talk) question(ctx context.Context) error {
	q := questions[t.asked%len(questions)]
	t.asked++
	if err := t.write("AT" + q + "\r"); err != nil {
		return err
	}
	_, err := t.await(ctx, strings.TrimSuffix(q, "?")+":", t.opts.Command)
	return err
}
