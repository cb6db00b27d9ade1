package season

import (
	"cmp"
	"context"
	"fmt"
	"iter"
	"time"

	"undersheet/logbook"
	"undersheet/logbook/words"
	"undersheet/report"
	"undersheet/rules"
)

// Period is a stretch of whole days by the depot's clock, as "2006-01-02"; both days
// are in it. An empty To is the log's last day; an empty From makes it twelve months.
type Period struct{ From, To string }

// ErrPeriod tells why there is no such period, by the key of its sentence.
type ErrPeriod struct {
	Key   string
	Pairs []string // "{name}", value, …
}

// Error implements error.
func (e *ErrPeriod) Error() string { return "read period: " + words.Text("en", e.Key, e.Pairs...) }

// Check returns an [*ErrPeriod] when a day is none, or they are in the wrong order.
func (p Period) Check() error {
	for _, day := range []string{p.From, p.To} {
		if _, err := time.Parse(time.DateOnly, day); day != "" && err != nil {
			return &ErrPeriod{"season/no-day", []string{"{day}", day}}
		}
	}
	if p.From != "" && p.To != "" && p.To < p.From {
		return &ErrPeriod{"season/order", []string{"{from}", p.From, "{to}", p.To}}
	}
	return nil
}

// within returns the moments from which and up to which days are, of a log that ends at
// last.
func (p Period) within(zone *time.Location, last logbook.Time) (from, to logbook.Time, err error) {
	if err := p.Check(); err != nil {
		return 0, 0, err
	}
	end := last.Std().In(zone)
	if p.To != "" {
		end, _ = time.ParseInLocation(time.DateOnly, p.To, zone) // checked
	}
	end = time.Date(end.Year(), end.Month(), end.Day()+1, 0, 0, 0, 0, zone)
	begin := end.AddDate(-1, 0, 0)
	if p.From != "" {
		begin, _ = time.ParseInLocation(time.DateOnly, p.From, zone)
	}
	if !begin.Before(end) {
		return 0, 0, &ErrPeriod{"season/after-log", []string{"{from}", p.From, "{to}", end.AddDate(0, 0, -1).Format(time.DateOnly)}}
	}
	return logbook.At(begin), logbook.At(end), nil
}

// Season is everything that is summed up. Concentrations are ppm, times of treatments 0
// where they are not known, or not yet.
type Season struct {
	report.Source
	Entries    int          // of the log
	LastSeq    uint64       // of it; 0 for a file
	Made       logbook.Time // last moment of it
	First, End logbook.Time // between which it tells of the period
	From, To   logbook.Time // the period: From ≤ t < To
	Site       string
	Lang       string // that the site speaks
	Zone       *time.Location
	Treatments []Treatment // by t = 0
	Stock      []Stock     // by form
	Moves      []Move      // of the stock, in the order of the log
	Leaks      []Place     // by store, stack and line
	Alarms     Alarms
}

// Treatment is one treatment of one stack.
type Treatment struct {
	Name, Store, Stack  string
	Protocol, Commodity string
	Lines               int          // of the stack
	Begun               logbook.Time // t = 0, else when dosing began
	PlannedEnd          logbook.Time // as last planned
	Aired               logbook.Time // when airing first started
	AirFor              time.Duration
	Cleared             logbook.Time // first clearance of the store after that
	Phase, Verdict      string       // as recorded
	Tonnes, VolumeM3    float64      // t, m³ under the sheet
	Grams               float64      // g of phosphine, with what was added
	LossPerDay, LossSE  float64      // as fitted when airing started; 0 = not known
	Compared            []Compared   // forecasts with what came
	Unmatched           int          // daily forecasts that nothing can be held against
}

// Over is how many days after the planned end of the exposure airing started; 0 where it
// was no later.
func (t *Treatment) Over() float64 {
	if t.Aired == 0 || t.PlannedEnd == 0 {
		return 0
	}
	return max(t.Aired.Hours(t.PlannedEnd)/24, 0)
}

// Slow is how many days after the shortest airing of its protocol the store was cleared.
func (t *Treatment) Slow() float64 {
	if t.Aired == 0 || t.Cleared == 0 {
		return 0
	}
	return max(t.Cleared.Hours(t.Aired.Add(t.AirFor))/24, 0)
}

// Stock is one form of product over the period, in pieces: Opening + Received − Used +
// Off = Closing.
type Stock struct {
	Form                    string
	Opening, Received, Used int
	Off                     int // what counts put right: negative where pieces were missing
	Closing                 int
	Taken, Disposed         int // residue: out from under sheets, and gone for good
}

// Move is one line of the stock register.
type Move struct {
	At                           logbook.Time
	Form, About                  string // About: batch and invoice, or the stack
	By                           string
	Opening, In, Used, Off, Left int
	Counted                      bool
}

// Place is where sheets leaked.
type Place struct {
	Store, Stack, Line string         // Line is empty where all lines lost gas
	Times              []logbook.Time // onsets of the leaks that were told
}

// Alarms are the alarms that were raised in the period.
type Alarms struct {
	Raised, Acknowledged int
	Kinds                []AlarmKind // by name
	Busiest              string      // day with most of them, 2006-01-02; empty = none
	OnBusiest            int
}

// AlarmKind is the alarms of one name.
type AlarmKind struct {
	Name                 string
	Raised, Acknowledged int
}

// Days is over how many days the log tells of the period.
func (s *Season) Days() float64 { return max(s.End.Hours(s.First)/24, 0) }

// Make folds the entries, to the last one, and sums up the period. site, when not nil,
// stands for a site-configured before the first entry. An error is an [*ErrPeriod], or comes
// from the entries. The entries are gone through
// three times: for their end, for corrections, and for the sum; what comes in meanwhile is
// left out.
func Make(entries iter.Seq2[logbook.Entry, error], site *logbook.Site, p Period, src report.Source) (*Season, error) {
	if err := p.Check(); err != nil {
		return nil, err
	}
	s := &Season{Source: src, Zone: time.UTC, Lang: (*logbook.Site)(nil).Speaks()}
	if err := s.span(entries, site, p); err != nil {
		return nil, err
	}
	g := newGatherer(s, site)
	for e, err := range rules.Corrected(first(entries, s.Entries)) {
		if err != nil {
			return nil, fmt.Errorf("read entries: %w", err)
		}
		g.take(e)
	}
	g.finish()
	return s, nil
}

// OfLog sums up a period of a logbook, with the hash that vouches for its entries.
func OfLog(ctx context.Context, log report.Log, p Period) (*Season, error) {
	s, err := Make(log.Entries(ctx, 1), nil, p, report.Source{})
	if err != nil || s.LastSeq == 0 {
		return s, err
	}
	s.LogID, s.Head, err = log.LogAt(ctx, s.LastSeq)
	return s, err
}

// first yields the first n entries.
func first(entries iter.Seq2[logbook.Entry, error], n int) iter.Seq2[logbook.Entry, error] {
	return func(yield func(logbook.Entry, error) bool) {
		left := n
		for e, err := range entries {
			if left--; left < 0 || !yield(e, err) {
				return
			}
		}
	}
}

// span goes through the entries for where the log begins and ends, and what site it is
// of, and settles the period.
func (s *Season) span(entries iter.Seq2[logbook.Entry, error], site *logbook.Site, p Period) (err error) {
	for e, err := range entries {
		if err != nil {
			return fmt.Errorf("read entries: %w", err)
		}
		if c, ok := e.(*logbook.SiteConfigured); ok {
			site = &c.Site
		}
		h := e.Head()
		at := cmp.Or(h.Received, h.Time)
		if s.Entries == 0 {
			s.First = at
		}
		s.Entries++
		s.LastSeq, s.Made = h.Seq, max(s.Made, at)
	}
	if site != nil {
		s.Site, s.Lang = site.Name, site.Speaks()
		if zone, err := time.LoadLocation(site.Timezone); err == nil && site.Timezone != "Local" {
			s.Zone = zone
		}
	}
	s.From, s.To, err = p.within(s.Zone, s.Made)
	s.First, s.End = max(s.First, s.From), min(s.Made, s.To)
	return err
}
