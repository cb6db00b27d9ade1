package report

import (
	"fmt"
	"iter"
	"sort"
	"time"

	"undersheet/logbook"
	"undersheet/rules"
	"undersheet/rules/exposure"
	"undersheet/rules/treatment"
)

// Source says which log a report was made of.
type Source struct {
	LogID string // empty for entries from a file
	Head  string // hash of the head of the log when the report was made; empty for a file
}

// Report is everything that is written of one treatment. Concentrations are ppm.
type Report struct {
	Source
	FirstSeq, LastSeq uint64 // range of the log that it was made of; 0 for a file
	Made              logbook.Time
	Site              logbook.Site
	Stack             rules.StackView
	Given             logbook.TreatmentStarted
	Dosed             logbook.Time // when dosing started; 0 = not recorded
	AiringFirst       logbook.Time
	Lines             []Line
	Days              []Distribution
	Air               []AirPoint
	Limit             Limit
	Acts              []Act
	Alarms            []logbook.Alarm
	Gates             []logbook.Gate
	Phases            []logbook.Phase
	Findings          []logbook.Finding
	Refused           []logbook.Refused
	Forecasts         []logbook.Forecast // of the lowest line, one a day
	Extra             []treatment.Dose   // phosphine added on the way
}

// Line is one sampling line of the stack.
type Line struct {
	Name, Channel string
	Instrument    logbook.Channel
	Days          []Day
	Hours         []Hour
	View          rules.LineView
	Gaps          []exposure.Gap // stretches of exposure that no reading covers
}

// Day is one day of exposure on one line, counted from t = 0.
type Day struct {
	Number                int // from 1
	Lowest, Mean, Highest float64
	Readings              int
}

// Hour is one hour on one line or air point.
type Hour struct {
	At                    logbook.Time // its start
	Lowest, Mean, Highest float64
	Readings              int
}

// Distribution is the lowest line against the highest on one day.
type Distribution struct {
	Number                 int
	Lowest, Highest, Ratio float64
}

// AirPoint is one air point of the store, from dosing to the end of the report.
type AirPoint struct {
	Name, Where, Channel string
	Hours                []Hour
	Airing               []Reading // from the first airing to clearance
	HighestTWA8h         float64
	Highest15min         float64
	Highest              float64
	HighestAt            logbook.Time
	air                  exposure.Air
}

// Reading is one reading in the report's unit.
type Reading struct {
	At  logbook.Time
	PPM float64
}

// Limit is the re-entry limit that held, and where it came from.
type Limit struct {
	PPM float64
	Of  string
}

// Act is what a person did.
type Act struct {
	At       logbook.Time
	Kind     logbook.Kind
	By       string
	Identity string
	Note     string
	Detail   string
	Hand     *logbook.HandReading // a hand reading, else nil
}

// ErrUnknown marks a treatment that the log does not hold.
type ErrUnknown struct {
	Treatment string
	Known     []string
}

// Error implements error.
func (e *ErrUnknown) Error() string {
	return fmt.Sprintf("the log holds no treatment %q; it holds: %v", e.Treatment, e.Known)
}

// Make folds the entries and gathers what belongs to the treatment of that name.
// site, when not nil, stands for a site-configured before the first entry.
func Make(entries iter.Seq2[logbook.Entry, error], site *logbook.Site, name string, src Source) (*Report, error) {
	m := &maker{player: rules.NewPlayer(site), name: name, r: &Report{Source: src}, names: map[string]bool{}}
	for e, err := range entries {
		if err != nil {
			return nil, fmt.Errorf("read entries: %w", err)
		}
		m.take(e)
	}
	if !m.found {
		return nil, &ErrUnknown{Treatment: name, Known: sortedNames(m.names)}
	}
	m.end()
	return m.r, nil
}

func sortedNames(m map[string]bool) []string {
	names := make([]string, 0, len(m))
	for n := range m {
		names = append(names, n)
	}
	sort.Strings(names)
	return names
}

// maker gathers a report while it folds.
type maker struct {
	player *rules.Player
	name   string
	r      *Report
	names  map[string]bool
	found  bool // the treatment has started
	closed bool // its phase was recorded as closed
	over   bool // nothing more belongs to it
	stack  string
	store  string
	before []Act // acts on each stack while it is not known whose they are
	t      *treatment.Treatment
}

// take folds one entry.
func (m *maker) take(e logbook.Entry) {
	if m.found && !m.over && m.supersedes(e) {
		m.close()
	}
	h := e.Head()
	recs := m.player.Play(e)
	s := m.player.State
	if start, ok := e.(*logbook.TreatmentStarted); ok {
		m.start(start)
	}
	if a, ok := e.(logbook.Acting); ok {
		m.act(a)
	}
	if m.over {
		return
	}
	if rd, ok := e.(*logbook.Reading); ok && m.found {
		m.reading(rd)
	}
	if rec, ok := e.(logbook.Recorded); ok {
		m.record(rec)
	}
	if h.Seq == 0 { // entries by hand: the log holds no records, the rules make them
		for _, rec := range recs {
			m.record(rec)
		}
	}
	if m.found {
		m.r.LastSeq, m.r.Made = max(m.r.LastSeq, h.Seq), s.Now()
	}
	if m.closed {
		m.close()
	}
}

// supersedes reports whether e begins another treatment of the stack.
func (m *maker) supersedes(e logbook.Entry) bool {
	phase := m.t.Phase
	ended := phase == logbook.PhaseClosed || phase == logbook.PhaseWithholding
	switch e := e.(type) {
	case *logbook.DosingStarted:
		return e.Stack == m.stack && ended
	case *logbook.TreatmentStarted:
		return e.Stack == m.stack
	}
	return false
}

// start notes a treatment's name, and begins the report when it is the one.
func (m *maker) start(e *logbook.TreatmentStarted) {
	k := m.player.State.Stacks[e.Stack]
	if k == nil || k.Treatment == nil {
		return
	}
	m.names[k.Treatment.Name] = true
	if m.found || k.Treatment.Name != m.name {
		return
	}
	m.found, m.stack, m.store, m.t = true, e.Stack, k.Store, k.Treatment
	m.r.Given, m.r.Dosed = k.Treatment.Given, k.Treatment.DosingAt
	m.r.FirstSeq = e.Seq
	for _, l := range m.t.Lines {
		m.r.Lines = append(m.r.Lines, Line{Name: l.Name, Channel: l.Channel})
	}
	if site := m.player.State.Site; site != nil {
		m.r.Site = *site
		for _, st := range site.Stores {
			if st.Name == m.store {
				for _, p := range st.Air {
					m.r.Air = append(m.r.Air, AirPoint{Name: p.Name, Where: where(p), Channel: p.Channel})
				}
			}
		}
	}
	for i := range m.r.Lines {
		m.r.Lines[i].Instrument = m.r.Site.Channels[m.r.Lines[i].Channel]
	}
	for _, a := range m.before {
		if a.At >= m.r.Dosed {
			m.r.Acts = append(m.r.Acts, a)
		}
	}
}

func where(p logbook.AirPoint) string {
	if p.Where == "" {
		return logbook.WhereInside
	}
	return p.Where
}

// act notes what a person did to the stack or to its store.
func (m *maker) act(e logbook.Acting) {
	store, stack := e.Place()
	a := Act{At: e.Head().Time, Kind: e.Head().Kind, By: e.Who().By, Identity: e.Who().Identity, Note: e.Who().Note, Detail: detail(e)}
	if h, ok := e.(*logbook.HandReading); ok {
		a.Hand = h
	}
	switch {
	case m.over:
	case m.found && (stack == m.stack || store == m.store):
		m.r.Acts = append(m.r.Acts, a)
	case !m.found && e.Head().Kind == logbook.KindDosingStarted:
		m.before = append(m.before, a)
	}
}

// reading sorts a reading of the stack's lines or the store's air into its hour.
func (m *maker) reading(e *logbook.Reading) {
	c := m.player.State.Channels[e.Channel]
	if c == nil || c.Last.At != e.Time || !c.Last.Counts {
		return
	}
	v := max(c.Last.Value, 0)
	for i := range m.r.Lines {
		if l := &m.r.Lines[i]; l.Channel == e.Channel && e.Time >= m.t.Started {
			l.Hours = addHour(l.Hours, e.Time, v)
			if m.t.AiringFirst == 0 {
				l.addDay(m.t.Started, e.Time, v)
			}
		}
	}
	for i := range m.r.Air {
		if p := &m.r.Air[i]; p.Channel == e.Channel {
			p.add(e.Time, v, c.AllowedGap(m.r.Site.Channels[e.Channel]))
			if m.t.AiringFirst != 0 && m.t.ClearedAt == 0 {
				p.Airing = append(p.Airing, Reading{e.Time, v})
			}
		}
	}
}

func (l *Line) addDay(started, at logbook.Time, v float64) {
	n := int(at.Hours(started)/24) + 1
	if k := len(l.Days); k == 0 || l.Days[k-1].Number < n {
		l.Days = append(l.Days, Day{Number: n, Lowest: v, Highest: v})
	}
	for i := range l.Days {
		if d := &l.Days[i]; d.Number == n {
			d.Lowest, d.Highest = min(d.Lowest, v), max(d.Highest, v)
			d.Readings++
			d.Mean += (v - d.Mean) / float64(d.Readings)
		}
	}
}

func addHour(hs []Hour, at logbook.Time, v float64) []Hour {
	start := logbook.At(at.Std().Truncate(time.Hour))
	n := len(hs)
	if n == 0 || hs[n-1].At < start {
		hs = append(hs, Hour{At: start, Lowest: v, Highest: v})
		n++
	}
	h := &hs[n-1]
	h.Lowest, h.Highest = min(h.Lowest, v), max(h.Highest, v)
	h.Readings++
	h.Mean += (v - h.Mean) / float64(h.Readings)
	return hs
}

func (p *AirPoint) add(at logbook.Time, v float64, gap time.Duration) {
	p.Hours = addHour(p.Hours, at, v)
	p.air.Add(at, v, gap)
	twa, _ := p.air.TWA8(at)
	p.HighestTWA8h = max(p.HighestTWA8h, twa)
	p.Highest15min = max(p.Highest15min, p.air.Mean15(at))
	if v > p.Highest || p.HighestAt == 0 {
		p.Highest, p.HighestAt = v, at
	}
}

// record quotes a record of the stack or its store.
func (m *maker) record(rec logbook.Recorded) {
	if !m.found {
		return
	}
	switch r := rec.(type) {
	case *logbook.Gate:
		if r.Store == m.store {
			m.r.Gates = append(m.r.Gates, *r)
		}
	case *logbook.Alarm:
		if r.Stack == m.stack || r.Stack == "" && (r.Store == m.store || r.Store == "") {
			m.r.Alarms = append(m.r.Alarms, *r)
		}
	case *logbook.Phase:
		if r.Stack == m.stack && r.Treatment == m.name {
			m.r.Phases = append(m.r.Phases, *r)
			m.closed = r.Phase == logbook.PhaseClosed
		}
	case *logbook.Finding:
		if r.Stack == m.stack || r.Stack == "" && r.Store == m.store {
			m.r.Findings = append(m.r.Findings, *r)
		}
	case *logbook.Refused:
		if r.Stack == m.stack || r.Store == m.store {
			m.r.Refused = append(m.r.Refused, *r)
		}
	case *logbook.Forecast:
		if r.Stack == m.stack && r.Line == "" && (r.Seq != 0 || r.Daily) {
			m.r.Forecasts = append(m.r.Forecasts, *r)
		}
	}
}

// end closes the report at the end of the log.
func (m *maker) end() {
	if !m.over {
		m.close()
	}
}

// close takes the treatment as it stands now.
func (m *maker) close() {
	m.over = true
	v := m.player.State.View()
	for _, st := range v.Stores {
		for _, k := range st.Stacks {
			if k.Name == m.stack {
				m.r.Stack = k
			}
		}
	}
	m.r.AiringFirst, m.r.Extra = m.t.AiringFirst, m.t.Extra
	for i := range m.r.Lines {
		m.r.Lines[i].View = m.r.Stack.Lines[i]
		m.r.Lines[i].Gaps = m.t.Lines[i].CTP.Gaps
	}
	m.r.Limit.PPM, m.r.Limit.Of = exposure.Limit(m.r.Site.LimitSets, m.r.Made)
	m.r.Days = distribution(m.r.Lines)
}

// distribution sets the lowest line's mean against the highest's, day by day.
func distribution(lines []Line) []Distribution {
	byDay := map[int]*Distribution{}
	for _, l := range lines {
		for _, d := range l.Days {
			x := byDay[d.Number]
			if x == nil {
				x = &Distribution{Number: d.Number, Lowest: d.Mean, Highest: d.Mean}
				byDay[d.Number] = x
			}
			x.Lowest, x.Highest = min(x.Lowest, d.Mean), max(x.Highest, d.Mean)
		}
	}
	out := make([]Distribution, 0, len(byDay))
	for _, d := range byDay {
		if d.Highest > 0 {
			d.Ratio = d.Lowest / d.Highest
		}
		out = append(out, *d)
	}
	sort.Slice(out, func(i, k int) bool { return out[i].Number < out[k].Number })
	return out
}
