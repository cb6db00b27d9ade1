package report

import (
	"cmp"
	"slices"
	"time"

	"undersheet/logbook"
	"undersheet/rules"
	"undersheet/rules/reading"
	"undersheet/rules/treatment"
)

// maker folds a log and keeps a draft of every treatment that may still be the
// one that was asked for: dosing comes before a treatment has its name.
type maker struct {
	player   *rules.Player
	name     string
	found    *draft // the treatment, once it has started
	drafts   map[string]*draft
	seen     map[string]*treatment.Treatment   // last known of each stack
	names    map[string]bool                   // treatments that have started
	gates    map[string]logbook.Gate           // last record of each store
	standing []logbook.Alarm                   // raised and not cleared
	signed   map[string]*logbook.ChecksSigned  // newest of each store
	cages    map[string][]*logbook.CagesPlaced // laid for the next treatment of each stack
	checks   map[string][]Check                // of instruments, by channel
	judges   map[string]*reading.History       // by channel
	site     *logbook.Site                     // that feeds was made from
	feeds    map[string]feed                   // by channel
	fixes    fixes
}

// feed says what a channel is of.
type feed struct {
	stack string
	line  int
	store string
	air   logbook.AirPoint
}

func newMaker(site *logbook.Site, name string) *maker {
	return &maker{player: rules.NewPlayer(site), name: name, drafts: map[string]*draft{}, seen: map[string]*treatment.Treatment{},
		names: map[string]bool{}, gates: map[string]logbook.Gate{}, signed: map[string]*logbook.ChecksSigned{}, cages: map[string][]*logbook.CagesPlaced{}, checks: map[string][]Check{},
		judges: map[string]*reading.History{}}
}

// take folds one entry.
func (m *maker) take(e logbook.Entry) {
	d := m.found
	var before *rules.View
	if d != nil && d.mayEnd(e) {
		before = m.player.State.View()
	}
	recs := m.player.Play(e)
	s := m.player.State
	if before != nil && (d.closing || s.Stacks[d.stack].Treatment != d.t) {
		d.end(before)
	}
	if d != nil {
		d.again = s.Stacks[d.stack].Treatment != d.t
	}
	if s.Site != m.site {
		m.index(s.Site)
	}
	switch e := e.(type) {
	case *logbook.Reading:
		m.reading(e)
	case logbook.Acting:
		m.act(e, recs)
	}
	// A logbook's entries have a seq, and it holds its own records; of entries by
	// hand the rules make them.
	if rec, ok := e.(logbook.Recorded); ok && e.Head().Seq != 0 {
		m.quote(rec)
	}
	if e.Head().Seq == 0 {
		for _, rec := range recs {
			m.quote(rec)
		}
	}
	for _, d := range m.drafts {
		d.pass(e, s)
	}
}

// index makes the feeds of a new site.
func (m *maker) index(site *logbook.Site) {
	m.site, m.feeds = site, map[string]feed{}
	for _, st := range site.Stores {
		for _, p := range st.Air {
			m.feeds[p.Channel] = feed{store: st.Name, air: p}
		}
		for _, k := range st.Stacks {
			for i, l := range k.Lines {
				m.feeds[l.Channel] = feed{stack: k.Name, line: i}
			}
		}
	}
	for _, d := range m.drafts {
		d.configure(site)
	}
}

// reading judges a reading as the fold did, with the same history and the same
// now, and gives it to whom it concerns.
func (m *maker) reading(e *logbook.Reading) {
	if m.site == nil {
		return
	}
	ch, known := m.site.Channels[e.Channel]
	if !known {
		return
	}
	h := m.judges[e.Channel]
	if h == nil {
		h = &reading.History{}
		m.judges[e.Channel] = h
	}
	j := h.Judge(ch, e, m.player.State.At)
	f, fed := m.feeds[e.Channel]
	if !fed || !j.Counts {
		return
	}
	for _, d := range m.drafts {
		if f.stack != "" && f.stack == d.stack {
			d.readLine(f.line, j, h.Bridge(ch))
		}
		if f.store != "" && f.store == d.store {
			d.readAir(f.air, j, h.AllowedGap(ch))
		}
	}
}

// act takes an act: it may begin a draft, or give one its name.
func (m *maker) act(e logbook.Acting, recs []logbook.Recorded) {
	_, stack := e.Place()
	if k := m.player.State.Stacks[stack]; k != nil && k.Treatment != nil && k.Treatment != m.seen[stack] {
		m.seen[stack] = k.Treatment
		if m.found == nil {
			m.drafts[stack] = m.begin(e, k)
		}
		delete(m.cages, stack)
	}
	switch e := e.(type) {
	case *logbook.CagesPlaced:
		if k := m.player.State.Stacks[stack]; k != nil && k.ForNext() {
			m.cages[stack] = append(m.cages[stack], e)
			return
		}
	case *logbook.TreatmentStarted:
		m.start(e, recs)
	case *logbook.ChecksSigned:
		m.signed[e.Store] = e
	case *logbook.InstrumentChecked:
		m.checks[e.Channel] = append(m.checks[e.Channel], m.checked(e))
	case *logbook.InstrumentSwapped:
		m.checks[e.Channel] = append(m.checks[e.Channel], Check{What: Swapped, At: e.Time, By: e.By, Serial: e.In})
	}
	for _, d := range m.drafts {
		d.act(e, recs)
		if exit, ok := e.(*logbook.MaskedExit); ok && exit.Store == d.store {
			d.visits(m.player.State.PeopleIn(d.store))
		}
	}
}

// checked is a check as the rules took it: one that is further off than the channel's
// accuracy has not passed.
func (m *maker) checked(e *logbook.InstrumentChecked) Check {
	k := Check{What: e.Check, At: e.Time, By: e.By, Applied: e.Applied, Read: e.Read, Unit: e.Unit, Passed: e.Passed, Due: m.player.State.CheckDue(e)}
	if c := m.player.State.Channels[e.Channel]; c != nil {
		if j, ok := c.Checks[e.Check]; ok && j.At == min(e.Time, m.player.State.At) {
			k.Passed = j.Passed
		}
	}
	return k
}

// signedBefore is how long before dosing a signed check still tells of it: a day,
// common practice.
const signedBefore = 24 * time.Hour

// begin opens a draft of the treatment of a stack.
func (m *maker) begin(e logbook.Acting, k *rules.Stack) *draft {
	d := &draft{stack: k.Treatment.Stack, store: k.Store, t: k.Treatment, checks: m.checks, r: &Report{}, ends: map[endKey]logbook.EndLevel{}}
	d.r.FirstSeq = e.Head().Seq
	if _, ok := e.(*logbook.DosingStarted); ok {
		d.r.Dosed = k.Treatment.DosingAt
	}
	d.lines = make([][]sample, len(k.Treatment.Lines))
	d.configure(m.site)
	if g, ok := m.gates[d.store]; ok {
		d.r.Gates = append(d.r.Gates, g)
	}
	for _, c := range m.cages[d.stack] {
		d.list(c)
	}
	if c := m.signed[d.store]; c != nil && c.Time >= e.Head().Time.Add(-signedBefore) {
		d.list(c)
	}
	slices.SortStableFunc(d.r.Acts, func(a, b Act) int { return cmp.Compare(a.At, b.At) })
	for i := range d.r.Acts {
		d.r.FirstSeq = min(d.r.FirstSeq, d.r.Acts[i].of)
	}
	for i := range m.standing {
		d.quote(&m.standing[i])
	}
	return d
}

// start notes a treatment's name: the draft is the report, or is dropped.
func (m *maker) start(e *logbook.TreatmentStarted, recs []logbook.Recorded) {
	t := m.seen[e.Stack]
	if t == nil || refusedIn(recs, e.Kind) {
		return
	}
	m.names[t.Name] = true
	d := m.drafts[e.Stack]
	switch {
	case d == nil || m.found != nil:
	case t.Name == m.name:
		d.r.Given = t.Given
		m.found, m.drafts = d, map[string]*draft{e.Stack: d}
	default:
		delete(m.drafts, e.Stack)
	}
}

// refusedIn reports whether an act of that kind is refused among its records.
func refusedIn(recs []logbook.Recorded, kind logbook.Kind) bool {
	return slices.ContainsFunc(recs, func(rec logbook.Recorded) bool {
		r, ok := rec.(*logbook.Refused)
		return ok && r.Entry == kind
	})
}

// quote gives a record to every draft, and remembers where gates and alarms stand.
func (m *maker) quote(rec logbook.Recorded) {
	for _, d := range m.drafts {
		d.quote(rec)
	}
	switch r := rec.(type) {
	case *logbook.Gate:
		m.gates[r.Store] = *r
	case *logbook.Alarm:
		m.standing = slices.DeleteFunc(m.standing, func(a logbook.Alarm) bool {
			return a.Alarm == r.Alarm && a.Store == r.Store && a.Stack == r.Stack && a.Line == r.Line && a.Point == r.Point && a.Channel == r.Channel
		})
		if r.State != logbook.AlarmCleared {
			m.standing = append(m.standing, *r)
		}
	}
}
