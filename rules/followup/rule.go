package followup

import (
	"time"

	"undersheet/logbook"
)

// Shipped figures. Withholding is India's waiting period after 48 h of airing (training
// slides of the plant quarantine service); the others are common practice.
const (
	DefaultWithholding = 48 * time.Hour
	DefaultInspectAt   = "16:30"             // late in the afternoon, when what is alive moves
	DefaultJar         = 30 * 24 * time.Hour // what was an egg is a beetle by then
)

// Rule is who does a follow-up and when people are told of it.
type Rule struct {
	Owner       string        // a person of the site file; empty: everybody
	Lead, After time.Duration // people are reminded so long before it is due; it is overdue so long after that
	Silent      bool          // it ends by itself: nobody is told
}

const day = 24 * time.Hour

// rules are the shipped figures: common practice.
var rules = map[string]Rule{
	logbook.FollowWithholding:     {Silent: true},
	logbook.FollowBagGas:          {Lead: 12 * time.Hour, After: 3 * day},
	logbook.FollowInspection:      {Lead: 2 * time.Hour, After: day},
	logbook.FollowSecondLook:      {Lead: day, After: day},
	logbook.FollowCagesRetrieval:  {After: day},
	logbook.FollowCagesJudgement:  {After: day},
	logbook.FollowJar:             {Lead: 2 * day, After: day},
	logbook.FollowSecondTreatment: {Lead: 2 * day, After: day},
	logbook.FollowSheetRepair:     {After: 7 * day},
	logbook.FollowResidue:         {After: day},
	logbook.FollowCalibration:     {Lead: 14 * day, After: day},
	logbook.FollowBumpTest:        {Lead: day, After: day},
	logbook.FollowLicence:         {Lead: 30 * day, After: day},
	logbook.FollowCanister:        {Lead: 14 * day, After: day},
}

// RuleOf returns what holds for a follow-up on a site: what the site file says of this one, else
// what it says of all of them, else what is shipped.
func RuleOf(site *logbook.Site, kind string) Rule {
	r := rules[kind]
	own, every := site.FollowUps[kind], site.FollowUps[logbook.EveryFollowUp]
	for _, f := range []logbook.Following{every, own} {
		if f.Owner != "" {
			r.Owner = f.Owner
		}
		if f.Lead != 0 {
			r.Lead = f.Lead.Std()
		}
		if f.After != 0 {
			r.After = f.After.Std()
		}
	}
	return r
}

// FiguresOf returns the figures of a site.
func FiguresOf(site *logbook.Site) Figures {
	s := site.Settings
	g := Figures{Withholding: s.Withholding.Std(), SecondLook: s.SecondLook.Std(), Jar: s.Jar.Std(), Zone: site.Offsets}
	if g.Withholding == 0 {
		g.Withholding = DefaultWithholding
	}
	if g.Jar == 0 {
		g.Jar = DefaultJar
	}
	at, err := time.Parse("15:04", s.InspectAt)
	if err != nil {
		at, _ = time.Parse("15:04", DefaultInspectAt)
	}
	g.InspectAt = time.Duration(at.Hour())*time.Hour + time.Duration(at.Minute())*time.Minute
	return g
}

// Level is how pressing a follow-up is.
type Level int

// Levels, in their order.
const (
	Quiet   Level = iota // done, written off, or not near
	Ahead                // soon
	Due                  //
	Overdue              //
)

// Overdue is when it counts as overdue: at the end of its window, or, without one, r.After after
// it was due; 0 = never.
func (i *Item) Overdue(r *Rule) logbook.Time {
	switch {
	case i.Due == 0:
		return 0
	case i.Until != 0:
		return i.Until
	}
	return i.Due.Add(r.After)
}

// Level tells how pressing it is now, and when it will next become more pressing by time alone;
// 0 = never.
func (i *Item) Level(r *Rule, now logbook.Time) (is Level, next logbook.Time) {
	if !i.Open() || i.Due == 0 {
		return Quiet, 0
	}
	for _, at := range []logbook.Time{i.Due.Add(-r.Lead), i.Due, i.Overdue(r)} {
		if now < at {
			return is, at
		}
		is++
	}
	return is, 0
}
