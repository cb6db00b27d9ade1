package alert

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"net/mail"
	"slices"
	"strings"
	"time"

	"undersheet/logbook"
	"undersheet/logbook/sqlite"
	"undersheet/logbook/words"
	"undersheet/rules"
)

// parcel is what goes to one recipient one way: one thing, or several put together.
type parcel struct {
	messenger, to string
	lang          string // of the recipient
	items         []*news
	notBefore     logbook.Time // 0 = now
}

// key names the message. It depends on nothing but the log, the entries that made
// the news known, what they are of, and the recipient.
func (c *parcel) key(logID string) string {
	b := []byte(logID)
	for _, n := range c.items {
		b = fmt.Appendf(b, "\x00%d\x00%s", n.Of, n.about())
	}
	b = append(append(b, 0), c.to...)
	if c.messenger != ByMail {
		b = append(append(b, 0), c.messenger...)
	}
	sum := sha256.Sum256(b)
	return hex.EncodeToString(sum[:16])
}

// wants reports whether somebody who is told from a priority on (empty: from otherwise) is told
// of news of this priority.
func wants(from, otherwise, priority string) bool {
	if from == "" {
		from = otherwise
	}
	return rank(priority) >= rank(from)
}

// mails addresses news to people's e-mail, at any hour: each at once and in a message of its
// own, except for what people owe, see bundle.
func (p *Planner) mails(told []*news) []parcel {
	if p.Site.Mail == nil {
		p.Owing = nil
		return nil
	}
	due, over, rest := p.bundle(told)
	ps := append(p.together(due), p.together(over)...)
	for _, n := range rest {
		for _, person := range p.Site.People {
			if person.Email != "" && p.concerns(n, person) {
				ps = append(ps, parcel{messenger: ByMail, to: person.Name, lang: p.Site.Reads(person), items: []*news{n}})
			}
		}
	}
	return ps
}

// concerns reports whether a person gets news by e-mail.
func (p *Planner) concerns(n *news, person logbook.Person) bool {
	if n.What == toldTaken {
		return slices.Contains(n.To, person.Name) && person.Name != n.Alarm.By
	}
	if owner := p.owner(n); owner != "" {
		return person.Name == owner
	}
	return wants(person.From, logbook.PriorityMedium, n.Priority)
}

// owner is the one person who is told of something that is owed, until it is overdue. It is empty
// where everybody is told: nobody is named as owner, or no message can reach the owner.
func (p *Planner) owner(n *news) string {
	if n.Alarm == nil || n.Alarm.Owed == nil || rank(n.Priority) >= rank(logbook.PriorityHigh) {
		return ""
	}
	for _, person := range p.Site.People {
		if person.Name == n.Alarm.Owed.Owner && (person.Email != "" && p.Site.Mail != nil || person.Phone != "" && p.Site.SMS != nil) {
			return person.Name
		}
	}
	return ""
}

// events addresses a record of an alarm or a gate to programs: at once, at any hour, whether
// people are told or not. A webhook gets the alarms from its own lowest priority on. Every
// change of a gate goes to all of them, since a program that learns of a clearance must also
// learn that it fell.
func (p *Planner) events(e logbook.Entry) []parcel {
	var n *news
	switch e := e.(type) {
	case *logbook.Alarm:
		a := *e
		n = &news{What: toldEvent, Key: keyOf(e), Seq: e.Seq, Of: e.Of, Priority: e.Priority, Alarm: &a}
		if ep := p.Known[n.Key]; ep != nil {
			n.Since = ep.Since
		}
	case *logbook.Gate:
		g := *e
		g.Reasons = slices.Clone(g.Reasons)
		n = &news{What: toldEvent, Key: e.Store, Seq: e.Seq, Of: e.Of, Priority: logbook.PriorityLow, Gate: &g}
	default:
		return nil
	}
	var ps []parcel
	for _, hook := range p.Site.Webhooks {
		if n.Gate != nil || wants(hook.From, logbook.PriorityLow, n.Priority) {
			ps = append(ps, parcel{messenger: ByWebhook, to: hook.Name, lang: p.Site.Speaks(), items: []*news{n}})
		}
	}
	return ps
}

// letters writes the parcels.
func (p *Planner) letters(ps []parcel, now func() (*rules.View, sqlite.Head)) []sqlite.Outgoing {
	if len(ps) == 0 {
		return nil
	}
	v, h := now()
	type version struct {
		of   *news
		lang string
	}
	written := map[version]Letter{} // what goes to many is written once for each way and language
	var out []sqlite.Outgoing
	for i, c := range ps {
		if i > 0 && c.messenger != ps[i-1].messenger {
			clear(written)
		}
		this := version{c.items[0], c.lang}
		l, ok := written[this]
		if !ok || len(c.items) > 1 {
			l = p.write(c, v, h)
		}
		if len(c.items) == 1 {
			written[this] = l
		}
		out = append(out, p.outgoing(c, l, h))
	}
	return out
}

// write writes a letter for one way.
func (p *Planner) write(c parcel, v *rules.View, h sqlite.Head) (l Letter) {
	say := voice{p, c.lang}
	l.Language, l.Zone = c.lang, p.zone().String()
	switch c.messenger {
	case BySMS:
		l.Subject, l.Short = say.brief(c.items)
		l.Text = l.Short
		l.Wake = c.notBefore == 0 && slices.ContainsFunc(c.items, (*news).wakes)
	case ByWebhook:
		l.Subject, l.Text, l.Record = say.event(c.items[0])
	default:
		if len(c.items) > 1 {
			l.Subject, l.Text = say.composeOwed(c.items, h)
		} else {
			l.Subject, l.Text = say.compose(c.items[0], v, h)
		}
	}
	return l
}

// event writes what a program is told: the record with its sentences, and the
// same as a text.
func (p voice) event(n *news) (subject, text string, record json.RawMessage) {
	subject, text = p.record(n)
	var e logbook.Entry = n.Gate
	if n.Alarm != nil {
		e = n.Alarm
	}
	words.Fill(p.lang, e)
	if n.Alarm != nil {
		n.Alarm.Text = oneLine(text)
	}
	record, err := logbook.Encode(e)
	if err != nil {
		return subject, text, nil // a number that JSON has no word for; the watch has mended what it commits
	}
	return subject, text, record
}

// outgoing addresses a letter.
func (p *Planner) outgoing(c parcel, l Letter, h sqlite.Head) sqlite.Outgoing {
	key := c.key(h.LogID)
	first := c.items[0]
	l.ID, l.Of, l.Priority, l.Written = key+"@"+p.domain(), first.Seq, highest(c.items), p.at(first)
	if l.Of == 0 {
		l.Of = first.Of
	}
	body, err := json.Marshal(l)
	if err != nil {
		panic(err) // strings, numbers, and JSON that was just written
	}
	due := max(c.notBefore, l.Written)
	return sqlite.Outgoing{Key: key, Messenger: c.messenger, To: c.to, Body: body, NotBefore: due.Std()}
}

// at is when news is written: now, but once the watch has stopped that stands still.
func (p *Planner) at(n *news) logbook.Time {
	if n.Alarm == nil {
		return p.Now
	}
	return max(p.Now, n.Alarm.Time)
}

// highest is the highest priority of several news.
func highest(items []*news) string {
	top := items[0].Priority
	for _, n := range items {
		if rank(n.Priority) > rank(top) {
			top = n.Priority
		}
	}
	return top
}

// domain is the right side of Message-IDs: that of the sender's address.
func (p *Planner) domain() string {
	if p.Site.Mail != nil {
		if a, err := mail.ParseAddress(p.Site.Mail.From); err == nil {
			return a.Address[strings.LastIndexByte(a.Address, '@')+1:]
		}
	}
	return "undersheet.invalid"
}

// since says when something began, by the site's clock, short; with the day when
// it was not within the last 20 hours.
func (p voice) since(t logbook.Time) string {
	local := t.Std().In(p.zone())
	if p.Now.Sub(t) > 20*time.Hour {
		return p.text("sms/on-day", "{when}", words.When(p.lang, local, "2 Jan 15:04"))
	}
	return local.Format("15:04")
}
