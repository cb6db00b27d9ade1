package alert

import (
	"maps"
	"slices"
	"time"

	"undersheet/logbook"
	"undersheet/rules/alarm"
)

// When an SMS about an alarm of high priority is repeated, as long as nobody
// acknowledges it.
const (
	repeatFirst = 15 * time.Minute
	repeatNext  = time.Hour
	repeatMost  = 7 // the first one and six more
)

// alarmStopped is the alarm after which no entry is folded any more.
const alarmStopped = "watch-stopped"

// texts addresses news to people's telephones. At night only what wakes people goes out; the
// rest is held until first light. News of what people owe is held for a little by day, too, so
// that the checks of all instruments make one message; that something owed is done is not told
// by SMS.
func (p *Planner) texts(told []*news) []parcel {
	if p.Site.SMS == nil {
		p.Held = nil
		return nil
	}
	night := p.nights().Quiet(p.Now.Std())
	var ps []parcel
	for _, n := range told {
		if n.What != toldTaken {
			p.unhold(n.Key)
		}
		switch {
		case n.owed() && n.What == toldRaised:
			p.Held = append(p.Held, n)
		case n.owed() && n.What == toldOver:
		case n.What == toldOver && len(n.To) == 0: // nobody was told that it began
		case n.What == toldTaken && night && !n.wakes(): // it woke nobody, and the page says it
		case !night || n.wakes():
			ps = append(ps, p.tell(0, n)...)
		case n.Alarm != nil && n.Alarm.Alarm == alarmStopped:
			ps = append(ps, p.tell(logbook.At(p.nights().Light(p.Now.Std())), n)...) // now, for light is not called any more once the watch has stopped
		default:
			p.Held = append(p.Held, n)
		}
	}
	var due []*news
	if !night {
		due = p.light()
	}
	return append(ps, p.tell(0, append(due, p.unanswered(night)...)...)...)
}

// unhold drops held news of an alarm or a gate, because something newer is told of it.
func (p *Planner) unhold(key string) {
	p.Held = slices.DeleteFunc(p.Held, func(n *news) bool { return n.Key == key })
	if len(p.Held) == 0 {
		p.Held = nil
	}
}

// light returns what was held for long enough and still stands.
func (p *Planner) light() []*news {
	due, kept := p.ripe(p.Held)
	for _, n := range due {
		n.Late = !n.owed()
	}
	p.Held = kept
	return due
}

// unanswered returns the alarms that nobody has acknowledged in time.
func (p *Planner) unanswered(night bool) []*news {
	var due []*news
	for _, key := range slices.Sorted(maps.Keys(p.Known)) {
		ep := p.Known[key]
		if ep.Again == 0 || ep.Over != 0 || p.Now < ep.Again || night && !ep.Alarm.Wake {
			continue
		}
		ep.Repeats++
		ep.Again = p.Now.Add(repeatNext)
		if ep.Repeats >= repeatMost {
			ep.Again = 0
		}
		a := ep.Alarm
		due = append(due, &news{What: toldStill, Key: key, Seq: a.Seq, Of: a.Of, Priority: ep.Top, Alarm: &a, Times: ep.Repeats,
			Since: ep.Told, To: ep.Texted})
	}
	return due
}

// tell addresses news to telephones, one message to each person that speaks of
// all that concerns them, and notes who was told.
func (p *Planner) tell(notBefore logbook.Time, told ...*news) []parcel {
	var ps []parcel
	for _, person := range p.Site.People {
		var items []*news
		for _, n := range told {
			if p.calls(n, person) {
				items = append(items, n)
				p.texted(n, person.Name)
			}
		}
		if len(items) > 0 {
			slices.SortStableFunc(items, func(a, b *news) int { return b.gravity() - a.gravity() })
			ps = append(ps, parcel{messenger: BySMS, to: person.Name, lang: p.Site.Reads(person), items: items, notBefore: notBefore})
		}
	}
	return ps
}

// gravity is how grave news is, by which it stands in a shared message, where the last may have
// no room: by priority, and within one what lives hang on before the rest.
func (n *news) gravity() int {
	g := 2 * rank(n.Priority)
	if n.What == toldFell || n.What != toldOver && n.Alarm != nil && alarm.LivesHangOn(n.Alarm.Alarm) {
		g++
	}
	return g
}

// calls reports whether a person gets news by SMS. The end of an alarm and a repeat go only to
// those who were told of the alarm by SMS; that somebody took charge of it, only to those among
// them who get no e-mail.
func (p *Planner) calls(n *news, person logbook.Person) bool {
	switch {
	case person.Phone == "":
		return false
	case n.What == toldOver, n.What == toldStill:
		return slices.Contains(n.To, person.Name)
	case n.What == toldTaken:
		return p.concerns(n, person) && (person.Email == "" || p.Site.Mail == nil)
	}
	return p.concerns(n, person)
}

// texted notes that a person was told of an alarm by SMS, and when that is
// repeated unless somebody acknowledges it.
func (p *Planner) texted(n *news, person string) {
	ep := p.Known[n.Key]
	if n.What != toldRaised || ep == nil {
		return
	}
	if !slices.Contains(ep.Texted, person) {
		ep.Texted = append(ep.Texted, person)
	}
	if rank(ep.Top) == rank(logbook.PriorityHigh) && ep.Taken == "" && !n.owed() && n.Alarm.Alarm != alarmStopped { // whoever folds on watches again
		ep.Again = p.Now.Add(repeatFirst)
	}
}
