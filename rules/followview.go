package rules

import (
	"cmp"
	"maps"
	"slices"

	"undersheet/logbook"
	"undersheet/rules/followup"
	"undersheet/rules/ledger"
)

// FollowUpView is something owed, done or written off.
type FollowUpView struct {
	FollowUp         string       // a code of logbook.FollowUps
	Store, Stack     string       // empty: of no stack
	Treatment        string       // empty: of none; one without a name goes by when its dosing began
	Channel, Person  string       // of an instrument; whose licence or canister
	Owner            string       // empty: everybody
	State            string       // open, done or written-off
	Changed          logbook.Time // when it was last recorded otherwise than before
	Due              logbook.Time // 0 = it waits for something
	Until            logbook.Time // last time; 0 = none is set
	At               logbook.Time // when it was done or written off
	By, Result       string
	Product          []ledger.FormAccount // of residue: what was laid for its treatment, by form
	InStore          bool                 // people go into the store for it
	Soon             bool                 // it is to be done before long, or was
	Overdue          bool
	Remind, Escalate logbook.Time // when people are reminded, and told that it is overdue; 0 = never
}

// followView shows a follow-up; told are those of its stack, or of the site, as they
// were last recorded.
func (s *State) followView(of *place, i *followup.Item, told map[string]Owed) FollowUpView {
	r := followup.RuleOf(s.Site, i.Kind)
	level, _ := i.Level(&r, s.At)
	v := FollowUpView{FollowUp: i.Kind, Store: of.store, Stack: of.stack, Treatment: of.treatment, Channel: of.channel, Person: of.person, Owner: r.Owner,
		State: i.State, Changed: told[of.key(i.Kind)].Told, Due: i.Due, Until: i.Until, At: i.At, By: i.By, Result: i.Result, InStore: i.InStore}
	if !r.Silent && i.Due != 0 {
		v.Remind, v.Escalate = i.Due.Add(-r.Lead), i.Overdue(&r)
		v.Soon, v.Overdue = level > followup.Quiet, level == followup.Overdue
	}
	return v
}

// followViews shows all follow-ups of the site, by when they are due; what waits for
// something comes last. Of treatments that are closed only what is owed is shown,
// unless it is the last one.
func (s *State) followViews() []FollowUpView {
	g := followup.FiguresOf(s.Site)
	var vs []FollowUpView
	for _, name := range slices.Sorted(maps.Keys(s.Stacks)) {
		k := s.Stacks[name]
		for _, p := range k.all() {
			of := k.place(p.Treatment)
			for _, i := range p.items(&g) {
				if i.Open() || p.Treatment == k.Treatment || p.Treatment.Phase != logbook.PhaseClosed {
					v := s.followView(&of, &i, k.Owed)
					if i.Kind == logbook.FollowResidue {
						v.Product = p.Product.List()
					}
					vs = append(vs, v)
				}
			}
		}
	}
	for _, i := range s.siteItems() {
		vs = append(vs, s.followView(&i.place, &i.Item, s.Owed))
	}
	slices.SortStableFunc(vs, func(a, b FollowUpView) int {
		return cmp.Compare(cmp.Or(a.Due, farOff), cmp.Or(b.Due, farOff))
	})
	return vs
}
