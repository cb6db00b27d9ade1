package rules

import (
	"maps"
	"slices"

	"undersheet/logbook"
	"undersheet/rules/alarm"
	"undersheet/rules/followup"
	"undersheet/rules/ledger"
	"undersheet/rules/treatment"
)

// Owed is a follow-up as it was last recorded.
type Owed struct {
	State              string
	Due, Until, At     logbook.Time
	Owner, By, Result  string
	Treatment, Channel string       `json:",omitempty"` // what it is of
	Person, FollowUp   string       `json:",omitempty"`
	Told               logbook.Time // when it was recorded
}

// Past is a treatment of a stack before the current one, with what was placed in it.
type Past struct {
	Treatment *treatment.Treatment
	Product   ledger.Product `json:",omitempty"`
}

// keepPast bounds the treatments of a stack that are remembered for what they owe.
const keepPast = 8

// place is what a follow-up is of.
type place struct{ store, stack, treatment, channel, person string }

// key names a follow-up among those of its stack, or of the site.
func (p *place) key(kind string) string {
	return kind + "\x00" + p.treatment + p.channel + p.person
}

// all lists the treatments that a stack remembers, oldest first.
func (k *Stack) all() []*Past {
	if k.Treatment == nil {
		return nil
	}
	return append(slices.Clip(k.Owing), &Past{k.Treatment, k.Product})
}

// place is what follow-ups of a treatment are of.
func (k *Stack) place(t *treatment.Treatment) place {
	return place{store: k.Store, stack: t.Stack, treatment: t.Called()}
}

// items are what a treatment is owed.
func (p *Past) items(g *followup.Figures) []followup.Item {
	laid := followup.Product{}
	laid.Known, laid.Inside, laid.Remaining = p.Product.Left()
	return p.Treatment.FollowUps(g, laid)
}

// passOwed looks at what a stack still owes for its treatments, and closes treatments that owe
// nothing. What was owed for treatments that a correction has struck out is forgotten.
func (s *State) passOwed(name string, k *Stack, g *followup.Figures) {
	s.resistance(name, k)
	if t := k.Treatment; len(k.Owing) == 0 && len(k.Owed) == 0 && (t == nil || t.AiringFirst == 0 && t.After.None()) {
		return // nothing is owed, as during most exposures
	}
	var known []string
	for _, p := range k.all() {
		known = s.passPast(k, p, g, known)
	}
	s.forget(&k.Owed, known, place{store: k.Store, stack: name})
}

// passPast looks at what is owed for one treatment, and returns known with the keys of it
// added.
func (s *State) passPast(k *Stack, p *Past, g *followup.Figures, known []string) []string {
	items := p.items(g)
	if len(items) > 0 {
		if k.Owed == nil {
			k.Owed = map[string]Owed{}
		}
		of := k.place(p.Treatment)
		for i := range items {
			if !slices.Contains(known, of.key(items[i].Kind)) { // of two treatments with one name the older comes first
				known = append(known, s.follow(k.Owed, &of, &items[i]))
			}
		}
	}
	p.Treatment.Close(items)
	s.putPhase(p.Treatment)
	return known
}

// replace puts the current treatment among the past ones, for what it still owes, when another
// begins. When there are more than keepPast, the oldest is let go and owes nothing more.
func (s *State) replace(stack string, k *Stack, at logbook.Time) {
	t := k.Treatment
	if t == nil {
		return
	}
	g := followup.FiguresOf(s.Site)
	t.Replace(at)
	k.Owing = append(k.Owing, &Past{t, k.Product})
	k.Treatment, k.Product = nil, nil
	if len(k.Owing) > keepPast {
		first := k.Owing[0]
		first.Treatment.LetGo(s.At, first.items(&g))
		s.passPast(k, first, &g, nil)
		k.Owing = slices.Delete(k.Owing, 0, 1)
	}
	var known []string
	for _, p := range k.Owing {
		known = s.passPast(k, p, &g, known)
	}
	s.forget(&k.Owed, known, place{store: k.Store, stack: stack})
}

// follow records a follow-up if it differs from what is on record of it, and raises or clears
// its alarm. It returns the key of the follow-up.
func (s *State) follow(told map[string]Owed, of *place, i *followup.Item) string {
	r := followup.RuleOf(s.Site, i.Kind)
	key := of.key(i.Kind)
	now := Owed{State: i.State, Due: i.Due, Until: i.Until, At: i.At, Owner: r.Owner, By: i.By, Result: i.Result,
		Treatment: of.treatment, Channel: of.channel, Person: of.person, FollowUp: i.Kind}
	was, known := told[key]
	if now.Told = was.Told; !known || was != now {
		now.Told = s.At
		told[key] = now
		s.putOwed(of, &now)
	}
	s.followAlarm(of, i, &r)
	return key
}

// putOwed proposes the record of a follow-up.
func (s *State) putOwed(of *place, o *Owed) {
	s.put(&logbook.FollowUp{Store: of.store, Stack: of.stack, Treatment: o.Treatment, Channel: o.Channel, Person: o.Person, FollowUp: o.FollowUp,
		State: o.State, Due: o.Due, Until: o.Until, Owner: o.Owner, By: o.By, At: o.At, Result: o.Result}, logbook.KindFollowUp)
}

// forget drops from told the follow-ups that do not exist any more, which are those not in
// known. One that was open is recorded as written off.
func (s *State) forget(told *map[string]Owed, known []string, of place) {
	if len(*told) == len(known) {
		return
	}
	for _, key := range slices.Sorted(maps.Keys(*told)) {
		if slices.Contains(known, key) {
			continue
		}
		o := (*told)[key]
		delete(*told, key)
		if o.State != logbook.FollowOpen {
			continue
		}
		o.State, o.At, o.Result = logbook.FollowWrittenOff, s.At, followup.NoLonger
		s.putOwed(&of, &o)
		s.alarm(condition{of: logbook.Alarm{Alarm: alarm.FollowUpDue, Code: o.FollowUp, Store: of.store, Stack: of.stack, Channel: o.Channel,
			Owed: &logbook.Owed{Treatment: o.Treatment, Person: o.Person}}, atOnce: true})
	}
	if len(*told) == 0 {
		*told = nil
	}
}

// pressing are the priorities of a follow-up that is soon due, due and overdue.
var pressing = []string{followup.Ahead: logbook.PriorityLow, followup.Due: logbook.PriorityMedium, followup.Overdue: logbook.PriorityHigh}

// followAlarm raises the alarm of a follow-up, anew when it becomes more pressing.
func (s *State) followAlarm(of *place, i *followup.Item, r *followup.Rule) {
	level, next := i.Level(r, s.At)
	s.again(next)
	a := logbook.Alarm{Alarm: alarm.FollowUpDue, Code: i.Kind, Store: of.store, Stack: of.stack, Channel: of.channel,
		Owed: &logbook.Owed{Treatment: of.treatment, Person: of.person, Due: i.Due, Until: i.Until, Owner: r.Owner}}
	c := condition{active: level > followup.Quiet && !r.Silent}
	if c.active {
		a.Priority, a.Onset = pressing[level], i.Due
		a.Value, a.Limit = logbook.Number(s.At.Hours(i.Due)), logbook.Number(i.Overdue(r).Hours(i.Due))
		was := s.Alarms[keyOf(&a)]
		c.anew = was != nil && slices.Index(pressing, was.Record.Priority) < int(level)
	}
	c.of = a
	s.alarm(c)
}

// resistedFor is how long people are told that insects lived through a treatment: as long as
// samples of them are kept. Where the gas had not held the end level, a new treatment ends
// it earlier.
const resistedFor = followup.DefaultJar

// Resisted are insects that lived through a treatment.
type Resisted struct {
	At        logbook.Time
	Treatment string
	Held      bool // and its gas held the end level
	Over      bool // resistedFor has passed
}

// resists reports whether insects of the stack are suspected of resistance.
func (k *Stack) resists() bool { return k.Resisted != nil && k.Resisted.Held && !k.Resisted.Over }

// alive notes that live insects were found after a treatment.
func (s *State) alive(k *Stack, t *treatment.Treatment) {
	held, was := t.Resisted(), k.Resisted
	if !t.Live() || was != nil && was.Treatment == t.Called() && was.Held == held {
		return
	}
	code := alarm.LiveInsects
	if held {
		code = alarm.Resistance
	}
	s.find(logbook.Finding{Code: code, Store: k.Store, Stack: t.Stack, About: t.Called()})
	if was == nil || was.Treatment == t.Called() || held || !was.Held { // a suspicion of resistance stays, whatever another treatment shows
		k.Resisted = &Resisted{At: s.At, Treatment: t.Called(), Held: held}
	}
}

// resistance says that insects lived through a treatment: where its gas held the end
// level, more of the same gas is no answer.
func (s *State) resistance(name string, k *Stack) {
	r := k.Resisted
	if r == nil {
		return
	}
	for _, what := range []string{alarm.Resistance, alarm.LiveInsects} {
		of := logbook.Alarm{Alarm: what, Store: k.Store, Stack: name}
		active := r.Held == (what == alarm.Resistance) && s.At < r.At.Add(resistedFor)
		if active {
			of.Code, of.Onset = r.Treatment, r.At
			s.again(r.At.Add(resistedFor))
		}
		s.alarm(condition{of: of, active: active, atOnce: true})
	}
	r.Over = s.At >= r.At.Add(resistedFor)
}
