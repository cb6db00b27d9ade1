package alert

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"undersheet/logbook"
	"undersheet/logbook/sqlite"
)

// finishWithin is for writing down how an attempt ended, also after a stop.
const finishWithin = 10 * time.Second

// handOver makes one attempt at one message. Its errors are those of the outbox.
func (s *Sender) handOver(ctx context.Context, l *lane, key string) error {
	o, err := s.box.Begin(ctx, key)
	if errors.Is(err, sqlite.ErrNotWaiting) {
		return nil
	}
	if err != nil {
		return fmt.Errorf("begin to hand over: %w", err)
	}
	a := s.attempt(ctx, l, o)
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), finishWithin)
	defer cancel()
	if err := s.box.Finish(ctx, key, a.result, a.record); err != nil {
		s.hold(l, o.To, &Failure{}) // else a message that is handed over but not ticked off would go out at every look
		return fmt.Errorf("write down how a hand-over ended: %w", err)
	}
	if a.result.Outcome == sqlite.HandedOver {
		s.release(l, o.To)
	}
	s.tally(key, a)
	return nil
}

// attempted is how an attempt ended.
type attempted struct {
	result    sqlite.Result
	record    *logbook.Message
	repeat    bool
	attention error // what somebody has to put right
}

// attempt hands one message to its messenger.
func (s *Sender) attempt(ctx context.Context, in *lane, o sqlite.Outgoing) attempted {
	var l Letter
	if err := json.Unmarshal(o.Body, &l); err != nil {
		return s.giveUp(o, l, "the message in the outbox cannot be read: "+err.Error())
	}
	address, err := s.address(o)
	if errors.Is(err, errGone) {
		return s.giveUp(o, l, err.Error())
	}
	m := s.messengers[o.Messenger]
	if m == nil {
		err = fmt.Errorf("no messenger %q is set up", o.Messenger)
	}
	if err != nil {
		return s.failed(in, o, l, &Failure{Err: err, Permanent: true})
	}
	d := &Delivery{Letter: l, Person: o.To, Address: address, Repeat: o.InDoubt, At: s.opts.Clock(), Undated: o.Attempts == 1 && s.opts.Machine().Before(l.Written.Std())}
	ctx, cancel := context.WithTimeout(ctx, s.opts.Longest)
	defer cancel()
	err = m.Deliver(ctx, d)
	if err == nil {
		detail := ""
		if o.InDoubt {
			detail = "may be a repeat"
		}
		return attempted{result: sqlite.Result{Outcome: sqlite.HandedOver}, repeat: o.InDoubt,
			record: s.record(o, d.Heading(), l, string(sqlite.HandedOver), detail)}
	}
	var f *Failure
	if !errors.As(err, &f) {
		f = &Failure{Err: err}
	}
	f.InDoubt = f.InDoubt || o.InDoubt // a doubt stays until the message is handed over
	return s.failed(in, o, l, f)
}

// failed plans the next attempt, and a record now and then.
func (s *Sender) failed(in *lane, o sqlite.Outgoing, l Letter, f *Failure) attempted {
	at := s.opts.Clock().Add(s.spread(o.Attempts, f))
	if f.Everyone || in.ordered && !f.Permanent {
		at = s.hold(in, o.To, f)
	}
	s.opts.Logger.Warn("a message is delayed", "to", o.To, "attempt", o.Attempts, "again", at, "permanent", f.Permanent, "error", f.Err)
	a := attempted{result: sqlite.Result{Outcome: sqlite.Retry, RetryAt: at, InDoubt: f.InDoubt}}
	if f.Permanent {
		a.attention = f.Err
	}
	if o.Attempts&(o.Attempts-1) == 0 { // the 1st, 2nd, 4th, 8th …: a long wait must not fill the logbook
		state := "delayed"
		if f.InDoubt {
			state = "in-doubt"
		}
		a.record = s.record(o, l.Subject, l, state, f.Err.Error())
	}
	return a
}

// errGone says that nobody could ever get a message any more.
var errGone = errors.New("is no longer in the site file")

// address finds out where a message goes, by the site file as it is now.
func (s *Sender) address(o sqlite.Outgoing) (string, error) {
	if o.Messenger == ByWebhook {
		for _, h := range s.opts.Webhooks {
			if h.Name == o.To {
				return h.Name, nil
			}
		}
		return "", fmt.Errorf("the webhook %w", errGone)
	}
	person, known := s.people[o.To]
	switch {
	case !known:
		return "", fmt.Errorf("the person %w", errGone)
	case o.Messenger == BySMS && person.Phone == "":
		return "", fmt.Errorf("no telephone of %q is in the site file", o.To)
	case o.Messenger == BySMS:
		return person.Phone, nil
	case person.Email == "":
		return "", fmt.Errorf("no address of %q is in the site file", o.To)
	}
	return person.Email, nil
}

func (s *Sender) giveUp(o sqlite.Outgoing, l Letter, why string) attempted {
	s.opts.Logger.Error("a message is given up", "to", o.To, "subject", l.Subject, "why", why)
	return attempted{result: sqlite.Result{Outcome: sqlite.GivenUp}, attention: fmt.Errorf("a message to %q was given up: %s", o.To, why),
		record: s.record(o, l.Subject, l, string(sqlite.GivenUp), why)}
}

// record is what the logbook keeps of an attempt.
func (s *Sender) record(o sqlite.Outgoing, subject string, l Letter, state, detail string) *logbook.Message {
	return &logbook.Message{Header: logbook.Header{Time: logbook.At(s.opts.Clock()), Kind: logbook.KindMessage},
		Record: logbook.Record{Of: l.Of, Program: s.opts.Program}, Messenger: o.Messenger, To: o.To, Subject: subject,
		MessageID: l.ID, State: state, Attempt: o.Attempts, Detail: detail}
}
