package alert

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"net/mail"
	"sort"
	"strings"
	"time"

	"undersheet/logbook"
	"undersheet/logbook/sqlite"
	"undersheet/rules"
	"undersheet/rules/gate"
)

// Names of messengers.
const (
	ByMail    = "mail"    // e-mail
	BySMS     = "sms"     // SMS by a GSM modem
	ByWebhook = "webhook" // signed events to programs
)

// PlannerOptions say how messages are planned.
type PlannerOptions struct {
	Quiet    time.Duration // how long an alarm must stay over before that is told; 0 = 30 min
	Language string        // of the messages; empty = "en"
}

// Planner is the fold that messages come from. Its exported fields are what a
// snapshot keeps; they are not for others to change.
type Planner struct {
	Site  *logbook.Site       // as last configured; nil before
	Now   logbook.Time        // running maximum of received
	Known map[string]*episode // alarms that people were told of, by what they are of
	Gates map[string]string   // state of each store's gate, as last recorded

	opts PlannerOptions
}

// episode is one alarm from its first message to its last.
type episode struct {
	Alarm   logbook.Alarm // as last raised
	Top     string        // highest priority told
	Times   int           // raised so often
	Since   logbook.Time  // first raised
	Over    logbook.Time  // since when it is over; 0 = it stands
	EndedBy uint64        // seq of the record that said so
	EndOf   uint64        // entry that made it known
}

// NewPlanner returns a Planner before any entry.
func NewPlanner(o PlannerOptions) *Planner {
	if o.Quiet == 0 {
		o.Quiet = 30 * time.Minute
	}
	if o.Language == "" {
		o.Language = "en"
	}
	return &Planner{Known: map[string]*episode{}, Gates: map[string]string{}, opts: o}
}

// news is one thing that people are told.
type news struct {
	seq      uint64 // of the record; 0 = it has none yet
	of       uint64 // entry that made it known
	about    string // what it is of: the same in every run
	priority string
	alarm    *logbook.Alarm // or
	gate     *logbook.Gate
	times    int          // raised so often, when over
	since    logbook.Time // first raised, when over
}

// Fold takes the next entry and returns the messages it asks for. now gives the
// view after the entry and the head of the log; it is called only when there is
// a message to write.
func (p *Planner) Fold(e logbook.Entry, now func() (*rules.View, sqlite.Head)) []sqlite.Outgoing {
	p.Now = max(p.Now, e.Head().Received)
	var told []news
	switch e := e.(type) {
	case *logbook.SiteConfigured:
		site := e.Site
		p.Site = &site
	case *logbook.Alarm:
		told = p.alarm(e)
	case *logbook.Gate:
		told = p.gate(e)
	}
	told = append(told, p.quiet()...)
	if len(told) == 0 || p.Site == nil || p.Site.Mail == nil {
		return nil
	}
	return p.letters(told, now)
}

// keyOf names what an alarm is of; its code and line may change while it lasts.
func keyOf(a *logbook.Alarm) string {
	return strings.Join([]string{a.Alarm, a.Store, a.Stack, a.Line, a.Point, a.Channel}, "\x00")
}

// alarm takes an alarm that was raised or is over.
func (p *Planner) alarm(a *logbook.Alarm) []news {
	ep := p.Known[keyOf(a)]
	if a.State == logbook.AlarmCleared {
		if ep != nil && ep.Over == 0 {
			ep.Over, ep.EndedBy, ep.EndOf = max(p.Now, a.Time), a.Seq, a.Of
		}
		return nil
	}
	again := ep != nil && ep.Over != 0 && rank(a.Priority) <= rank(ep.Top) && a.Code == ep.Alarm.Code
	if ep == nil {
		ep = &episode{Since: max(p.Now, a.Time)}
		p.Known[keyOf(a)] = ep
	}
	ep.Alarm, ep.Over = *a, 0
	ep.Times++
	if rank(a.Priority) > rank(ep.Top) || ep.Top == "" {
		ep.Top = a.Priority
	}
	if again {
		return nil // people still believe that it stands
	}
	return []news{{seq: a.Seq, of: a.Of, about: "raised\x00" + keyOf(a), priority: a.Priority, alarm: a}}
}

// quiet returns the alarms that have stayed over for long enough.
func (p *Planner) quiet() []news {
	var told []news
	for key, ep := range p.Known {
		if ep.Over == 0 || p.Now.Sub(ep.Over) < p.opts.Quiet {
			continue
		}
		a := ep.Alarm
		a.State = logbook.AlarmCleared
		told = append(told, news{seq: ep.EndedBy, of: ep.EndOf, about: "over\x00" + key, priority: ep.Top, alarm: &a, times: ep.Times, since: ep.Since})
		delete(p.Known, key)
	}
	sort.Slice(told, func(i, k int) bool { return told[i].seq < told[k].seq })
	return told
}

// gate takes a gate record; a clearance that fell is told, unless gas in air
// made it fall, which is the alarm gate-rebound.
func (p *Planner) gate(g *logbook.Gate) []news {
	was := p.Gates[g.Store]
	p.Gates[g.Store] = g.State
	if was != logbook.GateCleared || g.State == logbook.GateCleared {
		return nil
	}
	priority := logbook.PriorityHigh
	for _, r := range g.Reasons {
		switch r.Code {
		case gate.AboveLimit, gate.HandAbove, gate.OverRange:
			return nil
		case gate.Lapsed, gate.Dosing, gate.Inside: // expected: time ran out, or people at work made it
			priority = logbook.PriorityMedium
		}
	}
	return []news{{seq: g.Seq, of: g.Of, about: "fell\x00" + g.Store, priority: priority, gate: g}}
}

// rank orders priorities; an unknown one counts as high.
func rank(priority string) int {
	switch priority {
	case logbook.PriorityLow:
		return 1
	case logbook.PriorityMedium:
		return 2
	}
	return 3
}

// wants reports whether a person is told of a priority.
func wants(p logbook.Person, priority string) bool {
	from := p.From
	if from == "" {
		from = logbook.PriorityMedium
	}
	return rank(priority) >= rank(from)
}

// letters writes one message for each news and person.
func (p *Planner) letters(told []news, now func() (*rules.View, sqlite.Head)) []sqlite.Outgoing {
	var out []sqlite.Outgoing
	var v *rules.View
	var h sqlite.Head
	for _, n := range told {
		var subject, text string
		for _, person := range p.Site.People {
			if person.Email == "" || !wants(person, n.priority) {
				continue
			}
			if v == nil {
				v, h = now()
			}
			if text == "" {
				subject, text = p.compose(n, v, h)
			}
			out = append(out, p.outgoing(n, person, h, subject, text))
		}
	}
	return out
}

// outgoing addresses a message. Its key and Message-ID depend on nothing but the
// log, the entry that made it known, what it is of, and the person.
func (p *Planner) outgoing(n news, person logbook.Person, h sqlite.Head, subject, text string) sqlite.Outgoing {
	sum := sha256.Sum256(fmt.Appendf(nil, "%s\x00%d\x00%s\x00%s", h.LogID, n.of, n.about, person.Name))
	key := hex.EncodeToString(sum[:16])
	seq := n.seq
	if seq == 0 {
		seq = n.of
	}
	at := p.Now
	if at == 0 && n.alarm != nil {
		at = n.alarm.Time
	}
	body, err := json.Marshal(Letter{ID: key + "@" + p.domain(), Of: seq, Priority: n.priority, Subject: subject, Text: text, Written: at})
	if err != nil {
		panic(err) // strings and numbers only
	}
	return sqlite.Outgoing{Key: key, Messenger: ByMail, To: person.Name, Body: body, NotBefore: at.Std()}
}

// domain is the right side of Message-IDs: that of the sender's address.
func (p *Planner) domain() string {
	if p.Site.Mail != nil {
		if a, err := mail.ParseAddress(p.Site.Mail.From); err == nil {
			if i := strings.LastIndexByte(a.Address, '@'); i >= 0 {
				return a.Address[i+1:]
			}
		}
	}
	return "undersheet.invalid"
}
