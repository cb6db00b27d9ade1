package alert

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"undersheet/logbook"
	"undersheet/logbook/words"
)

// do says the one thing to do about news; care: the sentence on how to go in has to stand before
// it.
func (p voice) do(n *news) (do string, care bool) {
	switch n.What {
	case toldOver:
		return words.First(p.lang, "sms/do-over-"+n.Alarm.Alarm, "sms/do-over"), false
	case toldFell:
		return p.text("sms/do-fell"), false
	case toldTaken:
		return p.text("sms/do-taken"), n.careful()
	}
	if s := words.First(p.lang, "sms/"+n.Alarm.Alarm+"/"+n.Alarm.Code, "sms/"+n.Alarm.Alarm); s != "" {
		return s, n.careful()
	}
	return p.text("sms/do-else"), true
}

// what says what is the matter, and where, without the full stop.
func (p voice) what(n *news) string {
	if n.Gate != nil {
		s := p.text("mail/fell", "{store}", n.Gate.Store)
		if len(n.Gate.Reasons) > 0 {
			s += ": " + words.Reason(p.lang, n.Gate.Reasons[0])
		}
		return strings.TrimSuffix(oneLine(s), ".")
	}
	headline, _ := words.Alarm(p.lang, n.Alarm)
	if missed := words.Missed(p.lang, n.Alarm, p.zone()); missed != "" {
		headline = missed
	}
	return strings.TrimSuffix(oneLine(headline), ".")
}

// standing says since when an alarm stands and who has taken charge of it, where the message
// does not make that clear by itself.
func (p voice) standing(n *news) string {
	var s string
	if n.Late {
		s = p.text("sms/since", "{since}", p.since(n.Since))
	}
	if ep := p.Known[n.Key]; ep != nil && n.What == toldRaised && ep.Taken != "" {
		s += ", " + p.text("sms/taken", "{by}", cut(p.named(ep.Taken), 24))
	}
	if s = strings.TrimPrefix(s, ", "); s != "" {
		return " (" + s + ")"
	}
	return ""
}

// named is the name of whoever acknowledged an alarm.
func (p voice) named(by string) string {
	if by == unnamed {
		return p.text("mail/somebody")
	}
	return by
}

// brief writes subject and text of an SMS: what is the matter, what to do, who
// goes in how, and the emergency line.
func (p voice) brief(items []*news) (subject, text string) {
	if len(items) > 1 {
		return p.digest(items)
	}
	n := items[0]
	what, still := p.what(n), ""
	if n.What == toldStill {
		still = p.text("sms/still", "{since}", p.since(n.Since)) + " "
	}
	do, care := p.do(n)
	b := brief{head: p.heading(n.Priority) + still, tail: p.standing(n), care: p.care(care),
		end: p.emergency("sms/no-emergency")}
	if n.careful() && n.What != toldTaken {
		b.ask = p.text("sms/do-short")
	}
	return p.subject(n.Priority, still+what), b.fit(what, do)
}

// heading opens an SMS.
func (p voice) heading(priority string) string {
	return p.text("sms/head", "{site}", cut(p.Site.Name, 30), "{priority}", words.Word(p.lang, "mail", priority)) + " "
}

// care is the sentence about going in, by day or by night; empty unless it is wanted.
func (p voice) care(wanted bool) string {
	switch {
	case !wanted:
		return ""
	case p.dark():
		return p.text("sms/night-care")
	}
	return p.text("two-people")
}

// brief is the text of an SMS but for what may be shortened.
type brief struct {
	head, tail, care, end string
	ask                   string // what is to be done, where there is no room to say more; empty = nothing
}

// with puts the text together.
func (b *brief) with(what, do string) string {
	s := b.head + what + b.tail
	if !strings.HasSuffix(s, "...") {
		s += "."
	}
	for _, part := range []string{b.care, do} {
		if part != "" {
			s += " " + part
		}
	}
	return plainer.Replace(oneLine(s)) + "\n" + plainer.Replace(b.end)
}

// Letters that are left of what is the matter, when it has to be shortened.
const (
	whatGood  = 60
	whatLeast = 24
)

// fit writes the text so that it fits into two parts of an SMS, if it can. First what is the
// matter is shortened; then what to do is said in few words, or left out if the sentence about
// going in is there.
func (b *brief) fit(what, do string) string {
	least := len([]rune(what))
	dos := []string{do}
	if b.ask != "" {
		dos = append(dos, b.ask)
	}
	for _, do := range dos {
		for n := least; n >= min(whatGood, least); n -= 4 {
			if s := b.with(cut(what, n), do); fits(s) {
				return s
			}
		}
	}
	if b.care != "" {
		do = ""
	}
	for n := least; n > whatLeast; n -= 4 {
		if s := b.with(cut(what, n), do); fits(s) {
			return s
		}
	}
	return b.with(cut(what, whatLeast), do)
}

// digest writes one SMS on several news, the gravest first. News for which there is no room is
// only counted.
func (p voice) digest(items []*news) (subject, text string) {
	since := items[0].Since
	key := "sms/alarms"
	for _, n := range items {
		since = min(since, n.Since)
		if n.What == toldOver || n.What == toldFell || n.What == toldTaken {
			key = "sms/messages"
		}
	}
	count := p.text(key, "{count}", strconv.Itoa(len(items)), "{since}", p.since(since))
	if !slices.ContainsFunc(items, func(n *news) bool { return !n.owed() }) {
		count = p.text("mail/owed", "{count}", strconv.Itoa(len(items)))
	}
	b := brief{head: p.heading(highest(items)) + count + ": ", care: p.care(true), end: p.emergency("sms/no-emergency")}
	for told := len(items); told > 0; told-- {
		for _, most := range []int{200, 70, 50, 36} {
			if text = b.with(p.list(items, told, most), ""); fits(text) {
				return p.subject(highest(items), count), text
			}
		}
	}
	return p.subject(highest(items), count), b.with(p.list(items, 1, 36), "")
}

// item says in few words what is the matter; of something owed, what that is.
func (p voice) item(n *news) string {
	if !n.owed() {
		return p.what(n)
	}
	a := n.Alarm
	s, _ := words.FollowUp(p.lang, &logbook.FollowUp{FollowUp: a.Code, Store: a.Store, Stack: a.Stack, Channel: a.Channel, Person: a.Owed.Person})
	return oneLine(s)
}

// list names the first of several news, each with at most so many letters.
func (p voice) list(items []*news, told, most int) string {
	var parts []string
	for i, n := range items[:told] {
		s := cut(p.item(n), most)
		if n.What == toldStill {
			s += " " + p.text("sms/unacknowledged")
		}
		parts = append(parts, fmt.Sprintf("%d) %s", i+1, s))
	}
	s := strings.Join(parts, "; ")
	if rest := len(items) - told; rest > 0 {
		s += "; " + p.text("sms/rest", "{count}", strconv.Itoa(rest))
	}
	return s
}
