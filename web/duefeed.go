package web

import (
	"bytes"
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"time"

	"undersheet/logbook"
	"undersheet/logbook/words"
	"undersheet/rules"
	"undersheet/web/calendar"
)

// calendarPath is where the calendar of follow-ups is.
const calendarPath = "/follow-ups.ics"

// Figures of the calendar: common practice.
const (
	askAgain = time.Hour        // how often a subscription fetches it
	takes    = 30 * time.Minute // how long a follow-up is drawn that has no window
	ownDay   = 20 * time.Hour   // a window longer than this is drawn as whole days
)

// calendar serves the follow-ups that have a date as a calendar: all of them, those of
// ?store=, those that ?owner= has to see to.
func (p *site) calendar(w http.ResponseWriter, r *http.Request) {
	feed := CalendarOf(p.source.View(), langOf(r), r.URL.Query().Get("owner"), r.URL.Query().Get("store"))
	body, err := feed.Bytes()
	if err != nil {
		p.opts.Logger.Error("make the calendar", "error", err)
		unmade(w, r)
		return
	}
	sum := sha256.Sum256(body)
	h := w.Header()
	h.Set("Content-Type", "text/calendar; charset=utf-8")
	h.Set("Content-Disposition", `inline; filename="follow-ups.ics"`)
	h.Set("ETag", `"`+hex.EncodeToString(sum[:16])+`"`)
	h.Set("Cache-Control", "no-cache") // keep it, and ask whether it is still this one
	http.ServeContent(w, r, "", time.Time{}, bytes.NewReader(body))
}

// CalendarOf makes the calendar of the follow-ups of v that have a date. With an owner
// it holds what that person has to see to: what they own, and what nobody is named for.
// With a store it holds what is owed there. It depends on v alone, not on a clock.
func CalendarOf(v *rules.View, lang, owner, store string) *calendar.Feed {
	nights := nightsOf(v)
	f := &frame{Lang: lang, zone: nights.Zone(), nights: nights, view: v}
	feed := &calendar.Feed{Name: f.text("due/calendar/name", "{site}", v.Site), Fresh: askAgain}
	if of := strings.Join(filled(owner, store), ", "); of != "" {
		feed.Name = f.text("due/calendar/of", "{of}", of, "{site}", v.Site)
	}
	for i := range v.FollowUps {
		x := &v.FollowUps[i]
		if x.Due == 0 || owner != "" && x.Owner != "" && !strings.EqualFold(x.Owner, owner) || store != "" && x.Store != store {
			continue
		}
		feed.Items = append(feed.Items, f.eventOf(v.Site, x))
	}
	slices.SortFunc(feed.Items, func(a, b calendar.Item) int { return cmp.Or(a.Start.Compare(b.Start), cmp.Compare(a.UID, b.UID)) })
	return feed
}

// filled are the texts that are not empty.
func filled(all ...string) []string {
	var out []string
	for _, n := range all {
		if n != "" {
			out = append(out, n)
		}
	}
	return out
}

// eventOf makes an event of a follow-up.
func (f *frame) eventOf(site string, x *rules.FollowUpView) calendar.Item {
	r := recordOf(x)
	what, how := words.FollowUp(f.Lang, r)
	it := calendar.Item{UID: uidOf(site, x), Summary: what, Location: strings.Join(filled(x.Store, x.Stack), ", ")}
	it.Start, it.End, it.WholeDay = f.window(x)
	changed := x.Changed
	lines := filled(words.FollowUpWhen(f.Lang, r, f.zone), words.FollowUpResult(f.Lang, r))
	switch {
	case x.State == logbook.FollowDone:
		it.Status, it.Summary = calendar.Done, f.text("due/calendar/done", "{what}", what)
	case x.State == logbook.FollowWrittenOff:
		it.Status, it.Summary = calendar.Cancelled, f.text("due/calendar/cancelled", "{what}", what)
	default:
		if x.Overdue {
			it.Summary, changed = f.text("due/calendar/overdue", "{what}", what), max(changed, x.Escalate)
		}
		lines = append(lines, how)
		if x.Owner != "" {
			lines = append(lines, f.text("due/owner", "{name}", x.Owner))
		}
		lines = append(lines, f.text("due/calendar/caution"))
		it.Reminders = f.reminders(x, it.Start)
	}
	it.Description = strings.Join(lines, "\n")
	it.Modified = changed.Std()
	it.Sequence = uint64(max(0, changed.Std().Unix()))
	return it
}

// window is the time that a follow-up takes up in a calendar. It begins when the follow-up is
// due, or at the next daylight, and lasts until the end of its window, else half an hour. One
// that is owed by the end of a day, or whose window is longer than ownDay, takes whole days.
func (f *frame) window(x *rules.FollowUpView) (start, end time.Time, wholeDay bool) {
	start, end = x.Due.Std().In(f.zone), x.Until.Std().In(f.zone)
	switch {
	case words.OfDay(recordOf(x), f.zone):
		start = midnight(words.LastDay(x.Due, f.zone))
		return start, start.AddDate(0, 0, 1), true
	case x.Until > x.Due && end.Sub(start) > ownDay:
		return midnight(start), midnight(end).AddDate(0, 0, 1), true // the end of whole days is exclusive
	}
	start = f.byDay(start)
	if !end.After(start) {
		end = start.Add(takes)
	}
	return start, end, false
}

// midnight is when the day of t begins.
func midnight(t time.Time) time.Time {
	y, m, d := t.Date()
	return time.Date(y, m, d, 0, 0, 0, 0, t.Location())
}

// byDay is the first moment from t on that is not at night: nobody is sent in then.
func (f *frame) byDay(t time.Time) time.Time {
	if f.nights.Dark(t) {
		return f.nights.Light(t).In(f.zone)
	}
	return t
}

// reminders are when a calendar reminds: when the program tells the owner, and when it
// is due, both by day. What ends by itself reminds nobody.
func (f *frame) reminders(x *rules.FollowUpView, start time.Time) []time.Duration {
	if x.Remind == 0 {
		return nil
	}
	ahead, due := start.Sub(f.byDay(x.Remind.Std().In(f.zone))), start.Sub(f.byDay(start))
	if ahead <= due {
		return []time.Duration{due}
	}
	return []time.Duration{ahead, due}
}

// uidOf names a follow-up for calendars: the same at every writing, and another for
// anything else of this site.
func uidOf(site string, x *rules.FollowUpView) string {
	h := sha256.Sum256(fmt.Appendf(nil, "%q", []string{site, x.FollowUp, x.Store, x.Stack, x.Treatment, x.Channel, x.Person}))
	return hex.EncodeToString(h[:16]) + "@undersheet"
}
