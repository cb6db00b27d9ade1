package rules

import (
	"maps"
	"slices"
	"time"

	"undersheet/logbook"
	"undersheet/rules/followup"
	"undersheet/rules/people"
)

// canisterChanged takes a new canister.
func (s *State) canisterChanged(e *logbook.CanisterChanged) {
	at := min(e.Time, s.At)
	c := people.Canister{At: at, Expires: s.ends(e.Expires), By: e.By, Minutes: e.Minutes}
	if s.Canisters.Change(e.Person, c) && c.Expires <= at {
		s.find(logbook.Finding{Code: "canister-expired", About: e.Person, Value: logbook.Number(at.Hours(c.Expires) / 24)})
	}
}

// ends is the moment from which on a thing is not used; what cannot be read is expired.
func (s *State) ends(x logbook.Expiry) logbook.Time {
	day, at, err := x.Read()
	if err != nil || at != 0 {
		return at
	}
	return followup.Zone(s.Site.Offsets).End(day)
}

// CheckDue is the moment after which a check no longer holds; 0 = it does not say.
func (s *State) CheckDue(e *logbook.InstrumentChecked) logbook.Time {
	if e.Due == "" {
		return 0
	}
	return s.ends(e.Due)
}

// siteItem is a follow-up that is of no stack.
type siteItem struct {
	place
	followup.Item
	done logbook.Time // when the one before it was done
	by   string
}

// checksOwedAgain are the checks of an instrument that come back.
var checksOwedAgain = []struct{ check, followUp string }{
	{logbook.CheckCalibration, logbook.FollowCalibration}, {logbook.CheckBump, logbook.FollowBumpTest},
}

// siteItems lists what is owed of no stack: checks of instruments that said when the
// next is due, licences and canisters.
func (s *State) siteItems() []siteItem {
	var items []siteItem
	add := func(p place, kind string, due, done logbook.Time, by string) {
		items = append(items, siteItem{p, followup.Item{Kind: kind, State: logbook.FollowOpen, Due: due}, done, by})
	}
	for _, name := range slices.Sorted(maps.Keys(s.Site.Channels)) {
		c := s.Channels[name]
		if c == nil {
			continue
		}
		for _, x := range checksOwedAgain {
			p := place{channel: name}
			_, told := s.Owed[p.key(x.followUp)]
			switch k, ok := c.Checks[x.check]; {
			case !ok:
			case !k.Passed:
				add(p, x.followUp, k.At, 0, "")
			case k.Due != 0:
				add(p, x.followUp, k.Due, k.At, k.By)
			case told: // it was owed, and no next one is
				items = append(items, siteItem{place: p, Item: followup.Item{Kind: x.followUp, State: logbook.FollowDone, At: k.At, By: k.By}})
			}
		}
	}
	for _, p := range s.Site.People {
		if last, err := time.Parse(time.DateOnly, p.LicenceUntil); err == nil {
			add(place{person: p.Name}, logbook.FollowLicence, followup.Zone(s.Site.Offsets).End(last), 0, "")
		}
	}
	for _, name := range slices.Sorted(maps.Keys(s.Canisters)) {
		c := s.Canisters[name]
		add(place{person: name}, logbook.FollowCanister, c.Due(), c.At, c.By)
	}
	return items
}

// passSiteOwed looks at what is owed of no stack.
func (s *State) passSiteOwed() {
	items := s.siteItems()
	if len(items) > 0 && s.Owed == nil {
		s.Owed = map[string]Owed{}
	}
	var known []string
	for i := range items {
		it := &items[i]
		if was, told := s.Owed[it.key(it.Kind)]; told && was.State == logbook.FollowOpen && it.Due > was.Due && it.done != 0 {
			was.State, was.At, was.By = logbook.FollowDone, it.done, it.by
			s.putOwed(&it.place, &was)
		}
		known = append(known, s.follow(s.Owed, &it.place, &it.Item))
	}
	s.forget(&s.Owed, known, place{})
}
