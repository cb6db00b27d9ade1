package alert

import (
	"context"
	"encoding/json"
	"strings"
	"time"

	"undersheet/logbook"
	"undersheet/logbook/words"
)

// Letter is one message to one person, as it waits in the outbox.
type Letter struct {
	ID       string       `json:"id"`       // Message-ID without angle brackets; the same for every attempt
	Of       uint64       `json:"of"`       // seq of the record that it tells of
	Priority string       `json:"priority"` // of the alarm
	Subject  string       `json:"subject"`
	Text     string       `json:"text"`
	Written  logbook.Time `json:"written"`
	Language string       `json:"language,omitempty"` // of subject and text; empty: en
	Zone     string       `json:"zone,omitempty"`     // IANA name of the depot's time zone; empty: UTC
	Wake     bool         `json:"wake,omitempty"`     // it goes out by SMS at night too

	Short  string          `json:"short,omitempty"`  // the text for a telephone's screen; empty: this letter goes by no SMS
	Record json.RawMessage `json:"record,omitempty"` // the record that it tells of, for programs; empty: it goes to people alone
}

// Delivery is one attempt to hand a letter over.
type Delivery struct {
	Letter
	Person  string
	Address string    // of the person, for the messenger that is asked
	Repeat  bool      // an earlier attempt may have reached the person
	At      time.Time // now, by the depot's clock
	Undated bool      // it may be new, whatever its date: the machine's clock stands before that
}

// lateAfter is the age from which a letter says that it is late.
const lateAfter = 15 * time.Minute

// Late reports whether the letter is to say that it is late.
func (d *Delivery) Late() bool { return !d.Undated && d.At.Sub(d.Written.Std()) > lateAfter }

// Heading returns the subject, saying when it may be a repeat.
func (d *Delivery) Heading() string {
	if d.Repeat {
		return words.Text(d.Language, "mail/repeat", "{subject}", oneLine(d.Subject))
	}
	return oneLine(d.Subject)
}

// WrittenAt is when the letter was written, by the depot's clock.
func (l *Letter) WrittenAt() string {
	zone, err := time.LoadLocation(l.Zone)
	if err != nil {
		zone = time.UTC // the site's zone is known where this was written
	}
	return l.Written.Std().In(zone).Format("2006-01-02 15:04 MST")
}

// Content returns the text, saying first when it may be a repeat and when it is late.
func (d *Delivery) Content() string {
	var b strings.Builder
	if d.Repeat {
		b.WriteString(words.Text(d.Language, "mail/repeated") + "\n\n")
	}
	if d.Late() {
		b.WriteString(words.Text(d.Language, "mail/late", "{when}", d.WrittenAt()) + "\n\n")
	}
	b.WriteString(d.Text)
	return b.String()
}

// Messenger hands letters over: one implementation for each way of reaching people.
type Messenger interface {
	// Name is the messenger's name in the outbox and in records.
	Name() string
	// Deliver hands one letter over and returns nil when the other side took
	// charge of it. Other errors than a *Failure count as temporary ones. It
	// returns soon after ctx is done.
	Deliver(ctx context.Context, d *Delivery) error
}

// Failure says how a hand-over failed.
type Failure struct {
	Err       error
	Permanent bool // the same attempt will fail again until somebody puts it right
	Everyone  bool // the messenger itself is in trouble, not this letter or this person
	InDoubt   bool // the other side may have taken charge of it all the same

	// RetryAfter is how long the other side asks not to be tried again; 0 = it
	// does not say. The messenger has bounded it.
	RetryAfter time.Duration
}

// Error implements error.
func (f *Failure) Error() string { return f.Err.Error() }

// Unwrap returns the cause.
func (f *Failure) Unwrap() error { return f.Err }

// oneLine keeps outside text from breaking a header.
func oneLine(s string) string { return strings.Join(strings.Fields(s), " ") }
