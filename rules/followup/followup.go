package followup

import (
	"time"

	"undersheet/logbook"
)

// Results that the program itself gives to what it writes off.
const (
	TreatedAgain = "treated-again" // the next treatment's own follow-up takes its place
	NoRoom       = "no-room"       // too many treatments of one stack are owed something
	NoLonger     = "no-longer"     // a correction took away what it followed from
)

// Moments are when a treatment was aired, cleared and followed by another; 0 = not.
type Moments struct {
	Started  bool         // it had its t = 0
	Closed   bool         // nothing was owed any more when it was last looked at
	Aired    logbook.Time // airing first started
	First    logbook.Time // the store was first cleared after it
	Cleared  logbook.Time // last clearance, or gas in the store's air since: withholding runs from here
	GasBack  bool         // gas stands in the store's air: withholding does not run
	Withheld logbook.Time // withholding ended
	Replaced logbook.Time // another treatment of the stack began
	Product  Product
}

// Product is what is on record of what was laid under the sheet.
type Product struct {
	Known     bool // some was placed or taken
	Inside    bool // some of it is under the sheet, or is not accounted for
	Remaining bool // some of it is not disposed of
}

// Figures are what a site may set.
type Figures struct {
	Withholding time.Duration
	InspectAt   time.Duration // of the day, by the depot's clock
	SecondLook  time.Duration // after the first; 0 = there is none
	Jar         time.Duration
	Zone        Zone
}

// Times of common practice, without a published source.
const (
	judgeWithin   = 24 * time.Hour // of taking cages out
	disposeWithin = 24 * time.Hour // of clearance
	anotherLook   = 24 * time.Hour // between two inspections, at least
)

// Item is one follow-up.
type Item struct {
	Kind       string
	Due        logbook.Time // 0 = it waits for something
	Until      logbook.Time // last time; 0 = none is set
	State      string
	At         logbook.Time // when it was done or written off
	By, Result string
	InStore    bool // people go into the store for it
}

// inStore are the follow-ups for which people go into the store. A sheet may hang
// outdoors, which nobody says: it counts as inside.
var inStore = map[string]bool{logbook.FollowBagGas: true, logbook.FollowInspection: true, logbook.FollowSecondLook: true,
	logbook.FollowCagesRetrieval: true, logbook.FollowSheetRepair: true, logbook.FollowResidue: true}

// Open reports whether it is still owed.
func (i *Item) Open() bool { return i.State == logbook.FollowOpen }

// list gathers the follow-ups of one treatment.
type list struct {
	items []Item
	f     *Facts
	m     *Moments
}

// add takes a follow-up; d says how it was done, if it was. One that another treatment of the
// stack supersedes is written off.
func (l *list) add(i Item, d Done) {
	i.State = logbook.FollowOpen
	i.InStore = inStore[i.Kind] && (i.Kind != logbook.FollowResidue || l.m.Product.Inside) // what is out of the store is disposed of outside
	off, written := l.f.WrittenOff[i.Kind]
	switch {
	case d.At != 0:
		i.State = logbook.FollowDone
	case written && !(i.Kind == logbook.FollowBagGas && l.f.GasInBags()):
		i.State, d = logbook.FollowWrittenOff, off
	case l.m.Replaced != 0 && supersedes(i.Kind, l.m):
		i.State, d = logbook.FollowWrittenOff, Done{At: l.m.Replaced, Result: TreatedAgain}
	}
	i.At, i.By, i.Result = d.At, d.By, d.Result
	l.items = append(l.items, i)
}

// supersedes reports whether a follow-up is no longer owed once another treatment of the stack
// has begun, because that one brings its own. An inspection is still owed if the store was
// cleared before.
func supersedes(kind string, m *Moments) bool {
	switch kind {
	case logbook.FollowWithholding, logbook.FollowBagGas:
		return true
	case logbook.FollowInspection:
		return m.First == 0
	}
	return false
}

// Of makes the follow-ups of a treatment, in their usual order.
func Of(f *Facts, m *Moments, g *Figures) []Item {
	if m.Aired == 0 && m.Replaced == 0 && f.None() {
		return nil
	}
	l := &list{f: f, m: m}
	ends := logbook.Time(0) // withholding
	if m.Cleared != 0 && !m.GasBack {
		ends = m.Cleared.Add(g.Withholding)
	}
	if m.Aired != 0 {
		l.grain(g, ends)
	}
	l.cages(g)
	if f.SecondFrom != 0 {
		l.add(Item{Kind: logbook.FollowSecondTreatment, Due: f.SecondFrom, Until: f.SecondTill}, f.Second)
	}
	if f.Torn != 0 {
		repaired := f.Repaired
		if repaired.At < f.Torn {
			repaired = Done{}
		}
		l.add(Item{Kind: logbook.FollowSheetRepair, Due: max(ends, m.Replaced)}, repaired)
	}
	if m.Product.Known && (m.Aired != 0 || m.Replaced != 0) {
		gone := Done{}
		if !m.Product.Remaining {
			gone = f.Residue
		}
		l.add(Item{Kind: logbook.FollowResidue, Due: after(m.First, disposeWithin)}, gone)
	}
	return l.items
}

// grain are the follow-ups of the grain itself.
func (l *list) grain(g *Figures, ends logbook.Time) {
	f, m := l.f, l.m
	bags := Done{}
	if m.Cleared != 0 && f.NoGas.At >= m.Cleared && !f.GasInBags() {
		bags = f.NoGas
	}
	l.add(Item{Kind: logbook.FollowWithholding, Due: ends}, Done{At: m.Withheld})
	l.add(Item{Kind: logbook.FollowBagGas, Due: ends}, bags)
	if !m.Started {
		return
	}
	first, second := Done{}, Done{}
	for _, look := range f.Looks {
		switch {
		case first.At == 0:
			first = look
		case second.At == 0 && look.At >= first.At.Add(anotherLook):
			second = look
		}
	}
	due := logbook.Time(0)
	if m.First != 0 {
		due = g.Zone.Next(m.First, g.InspectAt)
	}
	l.add(Item{Kind: logbook.FollowInspection, Due: due}, first)
	_, off := f.WrittenOff[logbook.FollowSecondLook]
	late := m.Closed && second.At == 0 && !off // the site asks for it only since this treatment was closed
	if g.SecondLook > 0 && first.Result == logbook.InsectsNone && !late {
		l.add(Item{Kind: logbook.FollowSecondLook, Due: first.At.Add(g.SecondLook)}, second)
	}
}

// cages are the follow-ups of cages with test insects.
func (l *list) cages(g *Figures) {
	c := l.f.Cages
	if c == nil {
		return
	}
	out := c.Retrieved.At
	l.add(Item{Kind: logbook.FollowCagesRetrieval, Due: max(l.m.First, l.m.Replaced)}, c.Retrieved)
	l.add(Item{Kind: logbook.FollowCagesJudgement, Due: after(out, judgeWithin)}, c.Exposure)
	l.add(Item{Kind: logbook.FollowJar, Due: after(out, g.Jar)}, c.Month)
}

// after is the time d after at; 0 where at is 0.
func after(at logbook.Time, d time.Duration) logbook.Time {
	if at == 0 {
		return 0
	}
	return at.Add(d)
}

// Closed reports whether nothing of a treatment is owed any more.
func Closed(items []Item) bool {
	for i := range items {
		if items[i].Open() {
			return false
		}
	}
	return true
}
