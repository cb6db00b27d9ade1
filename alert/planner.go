package alert

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"undersheet/logbook"
	"undersheet/logbook/sqlite"
	"undersheet/rules"
	"undersheet/rules/alarm"
	"undersheet/rules/daylight"
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
	Quiet    time.Duration // how long an alarm must stay over before people are told that it is; 0 = 30 min
	Together time.Duration // how long after an alarm those that it names as following from it get no message of their own; 0 = 15 min
}

// Planner is the fold that messages come from. Its exported fields are what a
// snapshot keeps; they are not for others to change.
type Planner struct {
	Site  *logbook.Site       // as last configured; nil before
	Now   logbook.Time        // running maximum of received
	Known map[string]*episode // alarms that stand, or are over for less than Quiet, by keyOf
	Gates map[string]string   // state of each store's gate, as last recorded
	Held  []*news             `json:",omitempty"` // what is told by SMS at first light, oldest first
	Owing []*news             `json:",omitempty"` // what people owe and hear of by e-mail in a little while, oldest first

	opts    PlannerOptions
	night   daylight.Night
	nightOf *logbook.Site // the site that night was read from
}

// episode is one alarm from its first message to its last.
type episode struct {
	Alarm   logbook.Alarm // as last raised
	Top     string        // highest priority told
	Times   int           // how often it was raised
	Since   logbook.Time  // when it was first raised
	Told    logbook.Time  // when people were last told that it is raised
	Over    logbook.Time  // since when it is over; 0 = it stands
	EndedBy uint64        // seq of the record that it is over
	EndOf   uint64        // seq of the entry for which that record was made

	Under   string       `json:",omitempty"` // key of the alarm that names this one; people were not told of this one by itself
	Woke    bool         `json:",omitempty"` // it was one that wakes people
	Taken   string       `json:",omitempty"` // who acknowledged it
	Texted  []string     `json:",omitempty"` // who was told by SMS
	Again   logbook.Time `json:",omitzero"`  // when the SMS is repeated; 0 = never
	Repeats int          `json:",omitempty"` // how often it was repeated
}

// NewPlanner returns a Planner before any entry.
func NewPlanner(o PlannerOptions) *Planner {
	if o.Quiet == 0 {
		o.Quiet = 30 * time.Minute
	}
	if o.Together == 0 {
		o.Together = 15 * time.Minute
	}
	return &Planner{Known: map[string]*episode{}, Gates: map[string]string{}, opts: o}
}

// What is told.
const (
	toldRaised = "raised"
	toldOver   = "over"
	toldFell   = "fell"  // a clearance
	toldTaken  = "taken" // somebody acknowledged it
	toldStill  = "still" // nobody acknowledged it
	toldEvent  = "event" // a record, to programs
)

// news is one thing that people or programs are told.
type news struct {
	What     string         // one of the above
	Key      string         // of the alarm, or the store
	Seq      uint64         // of the record; 0 = it has none yet
	Of       uint64         // entry that made it known
	Priority string         //
	Alarm    *logbook.Alarm `json:",omitempty"` // or
	Gate     *logbook.Gate  `json:",omitempty"`
	Times    int            `json:",omitempty"` // toldOver: how often it was raised; toldStill: how often the SMS was repeated
	Since    logbook.Time   // first raised
	To       []string       `json:",omitempty"` // people who were told by SMS; nobody else gets an SMS of its end, or a repeat
	Late     bool           `json:",omitempty"` // it was held until first light
}

// about tells news apart, for the keys of messages. It is the same in every run.
func (n *news) about() string {
	switch n.What {
	case toldStill:
		return fmt.Sprintf("%s\x00%d\x00%s", n.What, n.Times, n.Key)
	case toldEvent:
		if n.Alarm != nil {
			return n.What + "\x00" + n.Alarm.State + "\x00" + n.Key
		}
		return n.What + "\x00" + n.Gate.State + "\x00" + n.Key
	}
	return n.What + "\x00" + n.Key
}

// wakes reports whether people are woken for the news: to act, or because they were woken before
// and need not set out any more.
func (n *news) wakes() bool {
	return n.Alarm != nil && n.Alarm.Wake && (n.What == toldRaised || n.What == toldStill || n.What == toldTaken)
}

// Fold takes the next entry and returns the messages it asks for. now gives the
// view after the entry and the head of the log; it is called only when there is
// a message to write.
func (p *Planner) Fold(e logbook.Entry, now func() (*rules.View, sqlite.Head)) []sqlite.Outgoing {
	p.Now = max(p.Now, e.Head().Received)
	var told []*news
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
	if p.Site == nil {
		return nil
	}
	parcels := p.mails(told)
	parcels = append(parcels, p.texts(told)...)
	parcels = append(parcels, p.events(e)...)
	return p.letters(parcels, now)
}

// nights are when it is night at the site.
func (p *Planner) nights() daylight.Night {
	if p.nightOf != p.Site {
		p.night, p.nightOf = NightOf(p.Site), p.Site
	}
	return p.night
}

// dark reports whether nobody goes in now because it is night.
func (p *Planner) dark() bool { return p.nights().Dark(p.Now.Std()) }

// NightOf reads the night of a site.
func NightOf(site *logbook.Site) daylight.Night {
	zone, err := time.LoadLocation(site.Timezone)
	if err != nil {
		zone = nil
	}
	return daylight.NightOf(site.Settings.Night, zone)
}

// keyOf tells alarms apart: by name and place, but not by code, which may change while an alarm
// lasts. Keys of messages are made of it, so a program that made it otherwise would send
// messages a second time.
func keyOf(a *logbook.Alarm) string {
	parts := []string{a.Alarm, a.Store, a.Stack, a.Line, a.Point, a.Channel}
	if which := a.Which(); which != "" {
		parts = append(parts, which)
	}
	return strings.Join(parts, "\x00")
}

// alarm takes an alarm as it was raised, acknowledged or cleared.
func (p *Planner) alarm(a *logbook.Alarm) []*news {
	switch a.State {
	case logbook.AlarmCleared:
		if ep := p.Known[keyOf(a)]; ep != nil && ep.Over == 0 {
			ep.Over, ep.EndedBy, ep.EndOf = max(p.Now, a.Time), a.Seq, a.Of
		}
		return nil
	case logbook.AlarmSeen:
		return p.taken(a)
	}
	return p.raised(a)
}

// chatters reports whether it is no news that an alarm is raised again, because people were not
// told yet that it was over. It is always news if lives hang on the alarm: people may have gone
// in meanwhile, trusting the pages and the gate, or it may be another person who lies inside.
// It is news, too, if somebody had taken charge of it before it was over, or if it is graver
// now.
func (ep *episode) chatters(a *logbook.Alarm) bool {
	return ep.Over != 0 && ep.Taken == "" && !alarm.LivesHangOn(a.Alarm) &&
		rank(a.Priority) <= rank(ep.Top) && a.Code == ep.Alarm.Code && (!a.Wake || ep.Woke)
}

// raised takes an alarm that was raised.
func (p *Planner) raised(a *logbook.Alarm) []*news {
	key := keyOf(a)
	ep := p.Known[key]
	again := ep != nil && ep.chatters(a)
	untold := ep == nil || ep.Under != ""
	if ep == nil {
		ep = &episode{Since: max(p.Now, a.Time)}
		p.Known[key] = ep
	}
	ep.Alarm, ep.Over, ep.Woke = *a, 0, ep.Woke || a.Wake
	ep.Times++
	if rank(a.Priority) > rank(ep.Top) || ep.Top == "" {
		ep.Top = a.Priority
	}
	if again {
		return nil
	}
	if untold {
		if ep.Under = p.cause(key, a); ep.Under != "" {
			return nil // the message about its cause names it
		}
	}
	return []*news{p.raise(key, ep)}
}

// raise returns the news that an alarm is raised. That somebody took charge of it before does
// not count any more.
func (p *Planner) raise(key string, ep *episode) *news {
	ep.Under, ep.Taken, ep.Again, ep.Repeats, ep.Told = "", "", 0, 0, max(p.Now, ep.Alarm.Time)
	a := ep.Alarm
	return &news{What: toldRaised, Key: key, Seq: a.Seq, Of: a.Of, Priority: a.Priority, Alarm: &a, Since: ep.Since}
}

// cause returns the key of an alarm that people were told of not long ago and that names a as
// following from it, so that a needs no message of its own; "" = there is none. An alarm that
// is graver than its cause always gets one. So does one for which people are to be woken, if
// they were not woken for the cause, and it is night or lives hang on it.
func (p *Planner) cause(key string, a *logbook.Alarm) string {
	same := func(a, b string) bool { return a == "" || b == "" || a == b }
	night := p.Site == nil || p.dark()
	for _, k := range slices.Sorted(maps.Keys(p.Known)) {
		c := p.Known[k]
		switch {
		case k == key, c.Over != 0, c.Under != "", !slices.Contains(c.Alarm.Also, a.Alarm), p.Now.Sub(c.Told) > p.opts.Together,
			rank(a.Priority) > rank(c.Top), a.Wake && !c.Alarm.Wake && (night || alarm.LivesHangOn(a.Alarm)), !same(a.Store, c.Alarm.Store), !same(a.Stack, c.Alarm.Stack):
			continue
		}
		return k
	}
	return ""
}

// unnamed stands for whoever acknowledged an alarm without a name.
const unnamed = "?"

// taken takes an alarm that somebody acknowledged: whoever was called by SMS need
// not set out any more.
func (p *Planner) taken(a *logbook.Alarm) []*news {
	ep := p.Known[keyOf(a)]
	if ep == nil || ep.Taken != "" {
		return nil
	}
	ep.Taken, ep.Again = oneLine(a.By), 0
	if ep.Taken == "" {
		ep.Taken = unnamed
	}
	if rank(ep.Top) < rank(logbook.PriorityHigh) || len(ep.Texted) == 0 {
		return nil
	}
	of := *a
	return []*news{{What: toldTaken, Key: keyOf(a), Seq: a.Seq, Of: a.Of, Priority: ep.Top, Alarm: &of, Since: ep.Since, To: ep.Texted}}
}

// quiet returns the news of alarms that have stayed over for long enough, and of alarms that
// still stand while the alarm that named them is over.
func (p *Planner) quiet() []*news {
	var told []*news
	for _, key := range slices.Sorted(maps.Keys(p.Known)) {
		ep := p.Known[key]
		if ep == nil || ep.Over == 0 || p.Now.Sub(ep.Over) < p.opts.Quiet {
			continue
		}
		delete(p.Known, key)
		if ep.Under != "" {
			continue
		}
		a := ep.Alarm
		a.State = logbook.AlarmCleared
		told = append(told, &news{What: toldOver, Key: key, Seq: ep.EndedBy, Of: ep.EndOf, Priority: ep.Top, Alarm: &a,
			Times: ep.Times, Since: ep.Since, To: ep.Texted})
		told = append(told, p.orphans(key)...)
	}
	slices.SortStableFunc(told, func(a, b *news) int { return cmp.Compare(a.Seq, b.Seq) })
	return told
}

// orphans returns the news of alarms that stand and had no message of their own because cause,
// which is over now, named them.
func (p *Planner) orphans(cause string) []*news {
	var told []*news
	for _, key := range slices.Sorted(maps.Keys(p.Known)) {
		switch ep := p.Known[key]; {
		case ep.Under != cause:
		case ep.Over != 0:
			delete(p.Known, key) // if it comes back, it is a new one
		default:
			told = append(told, p.raise(key, ep))
		}
	}
	return told
}

// gate takes a gate record; a clearance that fell is told, unless gas in air
// made it fall, which is the alarm gate-rebound.
func (p *Planner) gate(g *logbook.Gate) []*news {
	was := p.Gates[g.Store]
	p.Gates[g.Store] = g.State
	if g.State == logbook.GateCleared {
		p.unhold(g.Store)
		return nil
	}
	if was != logbook.GateCleared {
		return nil
	}
	priority := fallen(g)
	if priority == "" {
		return nil
	}
	of := *g
	return []*news{{What: toldFell, Key: g.Store, Seq: g.Seq, Of: g.Of, Priority: priority, Gate: &of, Since: max(p.Now, g.Time)}}
}

// fallen returns the priority of a clearance that fell for the reasons of g;
// empty when an alarm tells of it.
func fallen(g *logbook.Gate) string {
	if gate.GasSeen(g.Reasons) {
		return ""
	}
	for _, r := range g.Reasons {
		switch r.Code {
		case gate.Lapsed, gate.Dosing, gate.Inside: // expected: time ran out, or people at work made it
			return logbook.PriorityMedium
		}
	}
	return logbook.PriorityHigh
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
