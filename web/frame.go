package web

import (
	"context"
	"log/slog"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"undersheet/logbook"
	"undersheet/logbook/words"
	"undersheet/rules"
	"undersheet/rules/daylight"
	"undersheet/web/form"
)

// frame is what every page has around its content.
type frame struct {
	Lang, Title, Site string // Lang: of the reader
	Tongues           []tongue
	AsOf, AsOfUTC     string
	Zone              string
	Version           string
	Trouble           string   // why the watch does not keep up; empty = it does
	Attention         []string // what somebody has to put right: instruments that are silent, messages that do not go out
	Emergency         string   // the site's line for an emergency
	Here              string   // which part of the pages this is: depot, alarms, instruments, logbook, acts
	Raised            int      // alarms that stand
	Overdue           int      // follow-ups that are overdue
	Still             bool     // the page holds a form, so scripts renew only parts of it
	Curves            bool     // it has curves that a script draws
	Pictured          bool     // it takes a photo, which a script makes small
	view              *rules.View
	now               logbook.Time
	zone              *time.Location
	nights            daylight.Night // when nobody goes in, by the clock of zone
	shut              string         // reason code for which every gate is shut; empty = none
}

// frame begins a page on v for a reader; its title is the sentence of a key.
func (p *site) frame(r *http.Request, v *rules.View, title string, pairs ...string) frame {
	nights := nightsOf(v)
	f := frame{Lang: langOf(r), Tongues: tongues(r), Site: v.Site, Version: p.opts.Version, Zone: nights.Zone().String(), zone: nights.Zone(), nights: nights,
		now: logbook.At(p.opts.Clock()), view: v, Here: "depot", Raised: len(v.Alarms), Overdue: overdue(v)}
	if f.Title = f.text(title, pairs...); v.Site != "" {
		f.Title += " – " + v.Site
	}
	if v.Now != 0 {
		f.AsOf, f.AsOfUTC = f.clock(v.Now), v.Now.String()
	}
	if h := p.health(v); !h.OK {
		f.shut, f.Trouble = h.Reason, words.Reason(f.Lang, logbook.Reason{Code: h.Reason})
		if h.Error != "" {
			f.Trouble += " " + h.Error
		}
	}
	if v.Config != nil {
		f.Emergency = v.Config.Emergency
	}
	f.Attention = p.attention(&f)
	return f
}

// attention lists what somebody has to put right: instruments that do not answer, a logbook
// that cannot be written, messages that do not go out, a beacon that cannot publish, a copy
// of the logbook that does not go on.
func (p *site) attention(f *frame) []string {
	var all []string
	if in := p.opts.Intake; in != nil {
		st := in.Stats()
		if st.LogError != "" {
			all = append(all, f.text("page/log-failing", "{error}", st.LogError))
		}
		for _, i := range st.Instruments {
			for _, d := range i.Down {
				all = append(all, f.text("page/instrument-down", "{name}", strings.TrimSpace(i.Name+" "+words.Said(f.Lang, d.Unit)), "{detail}", words.Said(f.Lang, d.Detail)))
			}
		}
	}
	if p.opts.Outbox != nil {
		for _, a := range p.opts.Outbox.Stats().Attention {
			all = append(all, f.text("page/messages", "{text}", a))
		}
	}
	if p.opts.Machinery.Beacon != nil {
		if b, err := p.opts.Machinery.Beacon(); err == nil && b.Trouble != "" {
			all = append(all, f.text("page/beacon", "{text}", b.Trouble))
		}
	}
	if p.opts.Machinery.Forwards != nil {
		copies, _ := p.opts.Machinery.Forwards() // what is known of them is told
		for _, c := range copies {
			if c.Trouble != "" {
				all = append(all, f.text("page/copy", "{name}", c.Name, "{text}", c.Trouble))
			}
		}
	}
	return append(all, p.unsent(f)...)
}

// lateMessage is how long a message may wait after a second attempt before the
// pages say so: common practice.
const lateMessage = 5 * time.Minute

// unsent tells of ways out on which messages do not go out.
func (p *site) unsent(f *frame) []string {
	if p.opts.Machinery.Messengers == nil {
		return nil
	}
	ms, err := p.opts.Machinery.Messengers()
	if err != nil {
		return nil // the outbox itself says what is wrong with it
	}
	var all []string
	for _, m := range ms {
		if m.Attempts > 1 && m.Oldest >= lateMessage {
			all = append(all, f.text("page/messages-wait",
				"{way}", m.Name, "{count}", strconv.Itoa(m.Pending), "{time}", f.span(m.Oldest)))
		}
	}
	return all
}

// failed answers for a page whose figures could not be read from the logbook.
func (p *site) failed(w http.ResponseWriter, r *http.Request, err error) {
	p.unread(r.Context(), "read the logbook for a page", "path", r.URL.Path, "error", err)
	page := missingPage{frame: p.frame(r, p.source.View(), "page/not-to-be-read")}
	page.Trouble = page.text("page/log-unread", "{error}", err.Error())
	p.show(w, r, http.StatusInternalServerError, "missing", page)
}

// unread logs that the logbook could not be read; a reader who has gone meanwhile
// is no fault.
func (p *site) unread(ctx context.Context, msg string, args ...any) {
	level := slog.LevelError
	if ctx.Err() != nil {
		level = slog.LevelDebug
	}
	p.opts.Logger.Log(ctx, level, msg, args...)
}

// printable makes outside text fit for a page.
func printable(s string) string { return strings.ToValidUTF8(s, "\uFFFD") }

// link is a way to a stack's page.
type link struct{ Name, Path string }

func linkTo(stack string) link { return link{Name: stack, Path: "/stack/" + url.PathEscape(stack)} }

// missingPage says that there is no such page.
type missingPage struct {
	frame
	Path    string
	Stacks  []link
	Reports []link // of other treatments
	Trouble string // why a page that there is cannot be shown
}

// gateView is a gate in words.
type gateView struct {
	State, Word, Headline, Since string
	Owed                         string // what the reasons are
	Reasons                      []string
}

// gate puts a gate into words. While the watch does not keep up, and for a state
// that it has no word for, it is shut.
func (f *frame) gate(store string, g logbook.Gate) gateView {
	g.Store = store
	if f.shut != "" && g.State != logbook.GateShut {
		g.State, g.Reasons = logbook.GateShut, append([]logbook.Reason{{Code: f.shut}}, g.Reasons...)
	}
	if !slices.Contains(gateStates, g.State) {
		g.State = logbook.GateShut
	}
	headline, _ := words.Gate(f.Lang, &g)
	v := gateView{State: g.State, Word: f.text("gate/" + g.State), Headline: headline, Since: f.clock(g.Time), Owed: f.text("page/keeps-shut")}
	if g.State == logbook.GateCheckOwed {
		v.Owed = f.text("page/still-owed")
	}
	if g.State == logbook.GateCleared {
		v.Owed = f.text("page/take-care")
	}
	for _, r := range g.Reasons {
		v.Reasons = append(v.Reasons, words.Reason(f.Lang, r))
	}
	return v
}

// alarmView is one raised alarm in words.
type alarmView struct {
	Priority, Urgency              string // as a code, and in words
	Headline, Advice, Since, Onset string
	Seen                           string // by whom it was acknowledged; empty = by nobody
	Also                           string // alarms of the same cause that it speaks for
	Acknowledge                    string // path of the form; empty when it was seen
}

// alarms puts the raised alarms that keep wants into words, by priority and then by age.
func (f *frame) alarms(v *rules.View, keep func(*rules.AlarmView) bool) []alarmView {
	var out []alarmView
	for _, priority := range []string{logbook.PriorityHigh, logbook.PriorityMedium, logbook.PriorityLow, ""} {
		for _, a := range v.Alarms {
			if !keep(&a) || priorityOf(&a.Alarm) != priority {
				continue
			}
			headline, advice := words.Alarm(f.Lang, &a.Alarm)
			advice = strings.TrimSpace(words.Missed(f.Lang, &a.Alarm, f.zone) + " " + advice)
			x := alarmView{Priority: a.Alarm.Priority, Urgency: f.code("priority", a.Alarm.Priority), Headline: headline, Advice: advice, Since: f.clock(a.Since), Seen: f.seenBy(&a)}
			var also []string
			for _, name := range a.Alarm.Also {
				also = append(also, words.Consequence(f.Lang, name))
			}
			x.Also = strings.Join(also, ", ")
			if x.Seen == "" {
				x.Acknowledge = "/act/" + string(logbook.KindAcknowledged) + "?" + form.AlarmChoice(&a.Alarm)
			}
			if a.Alarm.Onset != 0 && a.Alarm.Onset != a.Since {
				x.Onset = f.clock(a.Alarm.Onset)
			}
			out = append(out, x)
		}
	}
	return out
}

// seenBy says who took charge of an alarm; empty while nobody did.
func (f *frame) seenBy(a *rules.AlarmView) string {
	switch {
	case a.Acknowledged == 0:
		return ""
	case strings.TrimSpace(a.By) == "":
		return f.text("page/somebody")
	}
	return a.By
}

// priorityOf returns a known priority, or "" for any other.
func priorityOf(a *logbook.Alarm) string {
	switch a.Priority {
	case logbook.PriorityHigh, logbook.PriorityMedium, logbook.PriorityLow:
		return a.Priority
	}
	return ""
}
