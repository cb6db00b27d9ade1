// Package calendar writes a calendar that telephones and calendar programs read: an
// iCalendar stream by RFC 5545, as a subscription fetches it again and again.
//
//	feed := calendar.Feed{Name: "Follow-ups", Items: items}
//	body, err := feed.Bytes()
//
// It knows nothing of treatments: whoever calls it says what is due and when. It reads
// no clock; every date comes with its item, so that the same items give the same bytes.
// Line folding and escapes are left to a library that many use; what that library does
// not look after (control characters, broken UTF-8, fractions of seconds) is put right
// before it.
//
// # Why events and not to-dos
//
// RFC 5545 has a component for what is owed, VTODO with DUE, but calendars that
// telephones subscribe to show events only and drop to-dos without a word. A follow-up
// that nobody sees is worse than one that looks like an appointment. So each is a VEVENT
// that ends when the follow-up is due, does not block the time of its owner (TRANSP), and
// carries reminders. STATUS of an event has no "done": what was done stays as an event
// without reminders, and its caller says so in the summary; what is no longer owed is
// CANCELLED, so that programs that keep copies take it away.
//
// # Times
//
// Moments are written in UTC with a Z (form 2 of section 3.3.5), which no program can
// take for another zone and which needs no VTIMEZONE; telephones show them in their own
// zone. A whole day is a DATE in the zone of its time.
package calendar

import (
	"bytes"
	"fmt"
	"strings"
	"time"

	ics "github.com/arran4/golang-ical"
)

// product names the writer (PRODID, section 3.7.3).
const product = "-//undersheet//follow-ups//EN"

// Feed is one calendar.
type Feed struct {
	Name  string        // shown over the calendar; empty = the reader's program makes one up
	Fresh time.Duration // how often to ask again (RFC 7986, section 5.7); 0 = not said; whole minutes
	Items []Item        // in the order in which they are written
}

// Status is how an item stands.
type Status int

// What an item may be.
const (
	Owed      Status = iota
	Done             // stays, without reminders
	Cancelled        // no longer owed
)

// Item is one entry of a calendar.
type Item struct {
	UID         string    // the same for the same thing at every writing, and of nothing else anywhere
	Sequence    uint64    // grows with every change (section 3.8.7.4)
	Modified    time.Time // when it last changed: DTSTAMP and LAST-MODIFIED
	Start, End  time.Time // End is exclusive; of a whole-day item, only their dates in their own zones count
	WholeDay    bool
	Summary     string
	Description string // empty = none
	Location    string // empty = none
	Status      Status
	Reminders   []time.Duration // before Start; negative = after it
}

// Bytes returns the calendar as it is served, or why an item cannot be written.
func (f *Feed) Bytes() ([]byte, error) {
	cal := ics.NewCalendar()
	cal.SetProductId(product)
	cal.SetCalscale("GREGORIAN")
	if f.Name != "" {
		cal.SetName(text(f.Name)) // NAME, and the older X-WR-CALNAME that more programs read
	}
	if f.Fresh > 0 {
		every := duration(f.Fresh)
		cal.SetRefreshInterval(every)
		cal.SetXPublishedTTL(every)
	}
	for i := range f.Items {
		if err := add(cal, &f.Items[i]); err != nil {
			return nil, err
		}
	}
	var b bytes.Buffer
	if err := cal.SerializeTo(&b, ics.WithNewLineWindows); err != nil {
		return nil, fmt.Errorf("write calendar: %w", err)
	}
	return b.Bytes(), nil
}

// add adds an item to cal.
func add(cal *ics.Calendar, it *Item) error {
	switch {
	case it.UID == "":
		return fmt.Errorf("write calendar: item %q has no UID: give it one that stays", it.Summary)
	case it.Start.IsZero() || it.End.Before(it.Start) || it.WholeDay && !it.End.After(it.Start):
		return fmt.Errorf("write calendar: item %q runs from %v to %v: the end must come after the start", it.UID, it.Start, it.End)
	case it.Modified.IsZero():
		return fmt.Errorf("write calendar: item %q does not say when it last changed", it.UID)
	}
	e := cal.AddEvent(text(it.UID))
	e.SetDtStampTime(it.Modified)
	e.SetLastModifiedAt(it.Modified)
	e.SetProperty(ics.ComponentPropertySequence, fmt.Sprint(it.Sequence%(1<<31))) // an INTEGER has 31 bits (section 3.3.8)
	if it.WholeDay {
		e.SetAllDayStartAt(it.Start)
		e.SetAllDayEndAt(it.End)
	} else {
		e.SetStartAt(it.Start)
		e.SetEndAt(it.End)
	}
	e.SetSummary(text(it.Summary))
	if it.Description != "" {
		e.SetDescription(text(it.Description))
	}
	if it.Location != "" {
		e.SetLocation(text(it.Location))
	}
	e.SetTimeTransparency(ics.TransparencyTransparent)
	if it.Status == Cancelled {
		e.SetStatus(ics.ObjectStatusCancelled)
	} else {
		e.SetStatus(ics.ObjectStatusConfirmed)
	}
	if it.Status != Owed {
		return nil
	}
	for _, before := range it.Reminders {
		a := e.AddAlarm()
		a.SetAction(ics.ActionDisplay)
		a.SetTrigger(duration(-before))
		a.SetDescription(text(it.Summary)) // a display alarm must have one (section 3.6.6)
	}
	return nil
}

// duration writes d in whole minutes (section 3.3.6).
func duration(d time.Duration) string {
	sign, minutes := "", int64(d/time.Minute)
	if minutes < 0 {
		sign, minutes = "-", -minutes
	}
	return fmt.Sprintf("%sPT%dM", sign, minutes)
}

// text makes s fit for a value of type TEXT: line breaks of all sorts become one
// newline, which the library escapes; other control characters, which section 3.1
// forbids, become spaces; broken UTF-8 becomes U+FFFD.
func text(s string) string {
	s = strings.NewReplacer("\r\n", "\n", "\r", "\n").Replace(strings.ToValidUTF8(s, "\uFFFD"))
	return strings.Map(func(r rune) rune {
		if r != '\n' && r != '\t' && (r < ' ' || r == 0x7F) {
			return ' '
		}
		return r
	}, s)
}
