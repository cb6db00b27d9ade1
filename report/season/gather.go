package season

import (
	"cmp"
	"maps"
	"math"
	"slices"
	"strings"
	"time"

	"undersheet/logbook"
	"undersheet/rules"
	"undersheet/rules/alarm"
	"undersheet/rules/protocol"
	"undersheet/rules/treatment"
)

// gatherer folds a log and gathers the figures of a season. It keeps what tells of
// treatments, places and days, never readings.
type gatherer struct {
	player  *rules.Player
	s       *Season
	running map[string]*course // by stack
	stock   map[string]*Stock  // by form
	leaks   map[place]*Place
	alarms  map[string]*AlarmKind // by name
	days    map[string]int        // alarms raised, by day
	raised  map[alarmKey]bool     // raised in the period and not cleared: whether somebody acknowledged it
}

type place struct{ store, stack, line string }

type alarmKey struct{ alarm, store, stack, line, point, channel string }

// course is a treatment on its way.
type course struct {
	t         *treatment.Treatment // in the state, which moves it
	sum       Treatment
	forecasts []logbook.Forecast          // one a day
	ends      map[endKey]logbook.EndLevel // as last recorded
}

type endKey struct{ moment, line string }

func newGatherer(s *Season, site *logbook.Site) *gatherer {
	return &gatherer{s: s, player: rules.NewPlayer(site), running: map[string]*course{}, stock: map[string]*Stock{}, leaks: map[place]*Place{},
		alarms: map[string]*AlarmKind{}, days: map[string]int{}, raised: map[alarmKey]bool{}}
}

// within reports whether a moment belongs to the period.
func (g *gatherer) within(at logbook.Time) bool { return at >= g.s.From && at < g.s.To }

// take folds one entry.
func (g *gatherer) take(e logbook.Entry) {
	act, isAct := e.(logbook.Acting)
	var before books
	if isAct {
		before = g.books(act)
	}
	recs := g.player.Play(e)
	if isAct {
		g.act(act)
		g.moved(act, before)
	}
	// A logbook's entries have a seq, and it holds its own records; of entries by
	// hand the rules make them.
	if rec, ok := e.(logbook.Recorded); ok && e.Head().Seq != 0 {
		g.quote(rec)
	}
	if e.Head().Seq == 0 {
		for _, rec := range recs {
			g.quote(rec)
		}
	}
}

// act follows the treatment of the stack that an act names.
func (g *gatherer) act(e logbook.Acting) {
	_, stack := e.Place()
	k := g.player.State.Stacks[stack]
	if k == nil || k.Treatment == nil {
		return
	}
	c := g.running[stack]
	if c == nil || c.t != k.Treatment {
		if c != nil {
			g.end(c)
		}
		c = &course{t: k.Treatment, ends: map[endKey]logbook.EndLevel{}}
		c.sum.Store = k.Store
		g.running[stack] = c
	}
	if c.t.AiringFirst != 0 && c.sum.Aired == 0 {
		c.sum.Aired = c.t.AiringFirst
		g.fitted(c)
	}
}

// knownLoss is up to which share of a loss its standard error lets it count as told by the
// readings: before anything is read it is about 0.7 (the prior of ln loss).
const knownLoss = 0.5

// fitted notes how fast the sheet loses gas, where the readings tell it.
func (g *gatherer) fitted(c *course) {
	if f := g.player.State.Fitted(c.t.Stack); f != nil && f.LossSE <= knownLoss*f.LossPerDay {
		c.sum.LossPerDay, c.sum.LossSE = f.LossPerDay, f.LossSE
	}
}

// quote takes a record.
func (g *gatherer) quote(rec logbook.Recorded) {
	switch r := rec.(type) {
	case *logbook.Phase:
		if c := g.running[r.Stack]; c != nil && (r.Treatment == c.t.Name || r.Treatment == "") {
			c.sum.Phase, c.sum.Verdict = r.Phase, r.Verdict
		}
	case *logbook.EndLevel:
		if c := g.running[r.Stack]; c != nil && r.Treatment == c.t.Name {
			c.ends[endKey{r.Moment, r.Line}] = *r
		}
	case *logbook.Forecast:
		if c := g.running[r.Stack]; c != nil && r.Line == "" && (r.Seq != 0 || r.Daily) {
			c.forecasts = append(c.forecasts, *r)
		}
	case *logbook.Alarm:
		g.alarm(r)
	}
}

// end sums up a treatment that is over, or is as far as the log goes.
func (g *gatherer) end(c *course) {
	t, sum := c.t, &c.sum
	sum.Name, sum.Stack, sum.Lines = t.Name, t.Stack, len(t.Lines)
	sum.Begun, sum.PlannedEnd, sum.Aired, sum.Cleared = t.Started, t.PlannedEnd, t.AiringFirst, t.FirstCleared
	if sum.Begun == 0 {
		sum.Begun = cmp.Or(t.DosingAt, t.AiringFirst)
	}
	if !g.within(sum.Begun) {
		return
	}
	if sum.Aired == 0 {
		g.fitted(c)
	}
	if sum.Verdict == "" {
		sum.Phase, sum.Verdict = t.Phase, t.Verdict
	}
	sum.Protocol, sum.Commodity, sum.AirFor = t.Given.Protocol, t.Given.Commodity, max(protocol.MinAiring, t.Protocol.Airing.Std())
	sum.Tonnes, sum.VolumeM3, sum.Grams = t.Given.Tonnes, t.Given.VolumeM3, t.Grams()
	c.compare()
	g.s.Treatments = append(g.s.Treatments, *sum)
}

// matchWithin is how far the moment that a forecast was for may lie from the moment that
// was judged.
const matchWithin = time.Hour

// compare holds the forecasts against what came: the lowest line at the moment that they
// were for, where all lines were shown then and no phosphine was added meanwhile.
func (c *course) compare() {
	t := c.t
	at := map[string]logbook.Time{logbook.MomentAiring: t.AiringFirst}
	if t.Started != 0 {
		at[logbook.MomentShortest] = t.ShortestEnd()
	}
	for _, f := range c.forecasts {
		came, known := 0.0, false
		for _, moment := range []string{logbook.MomentShortest, logbook.MomentAiring} {
			if apart := f.For.Sub(at[moment]); at[moment] == 0 || apart > matchWithin || apart < -matchWithin {
				continue
			}
			if came, known = c.lowest(moment); known {
				break
			}
		}
		added := slices.ContainsFunc(t.Extra, func(d treatment.Dose) bool { return d.At > f.Time && d.At <= f.For })
		if days := f.For.Hours(f.Time) / 24; known && !added && days > 0 {
			c.sum.Compared = append(c.sum.Compared, Compared{Lead: int(math.Ceil(days - 0.5)), PPM: f.PPM, Came: came})
		} else {
			c.sum.Unmatched++
		}
	}
}

// lowest is what the lowest line read at a moment; false where a line was not shown.
func (c *course) lowest(moment string) (float64, bool) {
	low := math.Inf(1)
	for _, l := range c.t.Lines {
		e, ok := c.ends[endKey{moment, l.Name}]
		if !ok || e.Shown == logbook.NotShown {
			return 0, false
		}
		low = min(low, float64(e.PPM))
	}
	return low, len(c.t.Lines) > 0
}

// alarm counts an alarm.
func (g *gatherer) alarm(a *logbook.Alarm) {
	key := alarmKey{a.Alarm, a.Store, a.Stack, a.Line, a.Point, a.Channel}
	switch a.State {
	case logbook.AlarmRaised:
		if !g.within(a.Time) {
			return
		}
		kind := g.alarms[a.Alarm]
		if kind == nil {
			kind = &AlarmKind{Name: a.Alarm}
			g.alarms[a.Alarm] = kind
		}
		kind.Raised++
		g.raised[key] = false
		g.days[a.Time.Std().In(g.s.Zone).Format(time.DateOnly)]++
		if a.Alarm == alarm.Leak {
			g.leaked(a)
		}
	case logbook.AlarmSeen:
		if seen, ours := g.raised[key]; ours && !seen {
			g.raised[key] = true
			g.alarms[a.Alarm].Acknowledged++
		}
	case logbook.AlarmCleared:
		delete(g.raised, key)
	}
}

// leaked notes a leak at its place.
func (g *gatherer) leaked(a *logbook.Alarm) {
	store := a.Store
	if k := g.player.State.Stacks[a.Stack]; k != nil && store == "" {
		store = k.Store
	}
	key := place{store, a.Stack, a.Line}
	if g.leaks[key] == nil {
		g.leaks[key] = &Place{Store: store, Stack: a.Stack, Line: a.Line}
	}
	g.leaks[key].Times = append(g.leaks[key].Times, cmp.Or(a.Onset, a.Time))
}

// finish sums up what is still running, and puts all in order.
func (g *gatherer) finish() {
	for _, stack := range slices.Sorted(maps.Keys(g.running)) {
		g.end(g.running[stack])
	}
	s := g.s
	slices.SortStableFunc(s.Treatments, func(a, b Treatment) int {
		return cmp.Or(cmp.Compare(a.Begun, b.Begun), strings.Compare(a.Stack, b.Stack))
	})
	for _, form := range slices.Sorted(maps.Keys(g.stock)) {
		s.Stock = append(s.Stock, *g.stock[form])
	}
	for _, p := range g.leaks {
		s.Leaks = append(s.Leaks, *p)
	}
	slices.SortFunc(s.Leaks, func(a, b Place) int {
		return cmp.Or(strings.Compare(a.Store, b.Store), strings.Compare(a.Stack, b.Stack), strings.Compare(a.Line, b.Line))
	})
	for _, name := range slices.Sorted(maps.Keys(g.alarms)) {
		k := *g.alarms[name]
		s.Alarms.Kinds = append(s.Alarms.Kinds, k)
		s.Alarms.Raised += k.Raised
		s.Alarms.Acknowledged += k.Acknowledged
	}
	for _, day := range slices.Sorted(maps.Keys(g.days)) {
		if n := g.days[day]; n > s.Alarms.OnBusiest {
			s.Alarms.Busiest, s.Alarms.OnBusiest = day, n
		}
	}
}
