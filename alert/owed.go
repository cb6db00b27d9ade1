package alert

import (
	"slices"
	"strconv"

	"undersheet/logbook"
	"undersheet/logbook/sqlite"
	"undersheet/logbook/words"
	"undersheet/rules/alarm"
)

// owed reports whether the news is of something that people owe and no life hangs on. Such news
// may wait a little, and share a message with others of its kind.
func (n *news) owed() bool {
	return n.Alarm != nil && n.Alarm.Owed != nil && !n.Alarm.Wake && !alarm.LivesHangOn(n.Alarm.Alarm)
}

// bundle parts news into what people owe, which goes into shared e-mails, and the rest. News
// that something is due is held for Together, so that what falls due together makes one
// message; due is what was held for long enough. over is news that something is settled; it is
// not held, and left out where nobody was told that it was due.
func (p *Planner) bundle(told []*news) (due, over, rest []*news) {
	for _, n := range told {
		if !n.owed() || n.What == toldTaken {
			rest = append(rest, n)
			continue
		}
		untold := false // it was settled before anybody was told that it was due
		p.Owing = slices.DeleteFunc(p.Owing, func(h *news) bool {
			untold = untold || h.Key == n.Key && h.Alarm.Time <= h.Since
			return h.Key == n.Key
		})
		switch {
		case n.What == toldRaised:
			p.Owing = append(p.Owing, n)
		case !untold:
			over = append(over, n)
		}
	}
	due, p.Owing = p.ripe(p.Owing)
	return due, over, rest
}

// ripe parts what was held into what is due to be told now, and what is kept: not held for long
// enough yet, or over for so short a time that it may come back. What is over for good is
// dropped.
func (p *Planner) ripe(held []*news) (due, kept []*news) {
	for _, n := range held {
		if n.What != toldRaised {
			due = append(due, n)
			continue
		}
		ep := p.Known[n.Key]
		switch {
		case ep == nil:
			continue
		case ep.Over != 0 || n.owed() && p.Now.Sub(ep.Told) < p.opts.Together:
			kept = append(kept, n)
			continue
		}
		a := ep.Alarm
		n.Alarm = &a
		due = append(due, n)
	}
	return due, kept
}

// together addresses news to e-mail: to each person one message of all that concerns them,
// the gravest first.
func (p *Planner) together(told []*news) []parcel {
	var ps []parcel
	for _, person := range p.Site.People {
		var items []*news
		for _, n := range told {
			if person.Email != "" && p.concerns(n, person) {
				items = append(items, n)
			}
		}
		if len(items) > 0 {
			slices.SortStableFunc(items, func(a, b *news) int { return b.gravity() - a.gravity() })
			ps = append(ps, parcel{messenger: ByMail, to: person.Name, lang: p.Site.Reads(person), items: items})
		}
	}
	return ps
}

// composeOwed writes subject and text of an e-mail on several things that people owe, each with
// its own priority.
func (p voice) composeOwed(items []*news, h sqlite.Head) (subject, text string) {
	w := p.writer()
	key := "mail/owed"
	if items[0].What == toldOver {
		key = "mail/owed-over"
	}
	count := p.text(key, "{count}", strconv.Itoa(len(items)))
	w.para(count + ".")
	for _, n := range items {
		headline, advice := words.Alarm(w.lang, n.Alarm)
		if n.What == toldOver { // how pressing it was is over, too
			headline = p.item(n)
		}
		w.para(p.text("mail/item", "{name}", words.Word(p.lang, "mail", n.Priority), "{what}", headline))
		w.owed(n.Alarm.Owed)
		if advice = w.advice(n, advice); advice != "" && n.Alarm.State != logbook.AlarmCleared {
			w.line(advice)
		}
	}
	w.goingIn()
	w.written(h, w.Now)
	return p.subject(highest(items), count), w.b.String()
}
