package sms

import (
	"context"
	"errors"
	"fmt"
	"time"

	"undersheet/alert"
)

// send sends every part of a letter, until the letter's context or run ends.
func (m *Modem) send(run context.Context, t *talk, j *job) error {
	ctx, cancel := context.WithCancel(j.ctx)
	defer cancel()
	defer context.AfterFunc(run, cancel)()
	if err := m.awaitNetwork(ctx, t); err != nil {
		return err
	}
	if err := m.setUp(ctx, t); err != nil {
		return err
	}
	for i, p := range j.parts {
		f := give(ctx, t, p)
		if f == nil {
			continue
		}
		if len(j.parts) > 1 {
			f.Err = fmt.Errorf("part %d of %d: %w", i+1, len(j.parts), f.Err)
		}
		f.InDoubt = f.InDoubt || i > 0 // the parts before were sent
		return f
	}
	return nil
}

// awaitNetwork waits until the modem is registered, at most Options.Register.
func (m *Modem) awaitNetwork(ctx context.Context, t *talk) error {
	timer := time.NewTimer(m.opts.Register)
	defer timer.Stop()
	for {
		n, err := m.registration(ctx, t)
		if err != nil {
			return err
		}
		f := n.failure()
		if f == nil {
			return nil
		}
		select {
		case <-ctx.Done():
			return temporary(ctx.Err())
		case <-timer.C:
			return f
		case <-time.After(m.opts.Again):
		}
	}
}

// give sends one part; nil when the service centre took charge of it.
func give(ctx context.Context, t *talk, p part) *alert.Failure {
	for _, c := range p.before {
		if _, err := t.ask(ctx, c, ""); err != nil {
			return notBegun(err)
		}
	}
	if err := t.announce(ctx, p.command); err != nil {
		return notBegun(err)
	}
	err := t.submit(ctx, p.body)
	var refused *refusal
	switch {
	case err == nil:
		return nil
	case errors.As(err, &refused):
		return refused.failure(err)
	}
	return &alert.Failure{Err: err, Everyone: true, InDoubt: true}
}

// notBegun is what an error before the message itself means: nothing was sent.
func notBegun(err error) *alert.Failure {
	var refused *refusal
	if !errors.As(err, &refused) {
		return temporary(err)
	}
	f := refused.failure(err)
	f.InDoubt = false
	return f
}
