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
	"undersheet/rules/correction"
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
	report.Source `json:"source"` // of the whole log up to LastSeq
	Entries       int             `json:"entries"`   // of the log
	Made          logbook.Time    `json:"as_of"`     // last moment of it
	First         logbook.Time    `json:"told_from"` // from which to End it tells of the period
	End           logbook.Time    `json:"told_to"`
	From          logbook.Time    `json:"from"` // the period: From ≤ t < To
	To            logbook.Time    `json:"until"`
	Site          string          `json:"site"`
	Lang          string          `json:"-"` // that the site speaks
	Zone          *time.Location  `json:"-"`
	Treatments    []Treatment     `json:"treatments"` // by t = 0
	Stock         []Stock         `json:"stock"`      // by form
	Moves         []Move          `json:"register"`   // of the stock, in the order of the log
	Leaks         []Place         `json:"leaks"`      // by store, stack and line
	Alarms        Alarms          `json:"alarms"`
}

// Treatment is one treatment of one stack.
type Treatment struct {
	Name       string        `json:"treatment"`
	Store      string        `json:"store"`
	Stack      string        `json:"stack"`
	Protocol   string        `json:"protocol,omitempty"`
	Commodity  string        `json:"commodity,omitempty"`
	Lines      int           `json:"lines"`                 // of the stack
	Begun      logbook.Time  `json:"begun"`                 // t = 0, else when dosing began
	PlannedEnd logbook.Time  `json:"planned_end,omitzero"`  // as last planned
	Aired      logbook.Time  `json:"airing_from,omitzero"`  // when airing first started
	AirFor     time.Duration `json:"-"`                     // shortest airing of its protocol
	Cleared    logbook.Time  `json:"cleared,omitzero"`      // first clearance of the store after that
	Phase      string        `json:"phase,omitempty"`       // as recorded
	Verdict    string        `json:"verdict,omitempty"`     // as recorded
	Tonnes     float64       `json:"tonnes"`                // t
	VolumeM3   float64       `json:"volume_m3"`             // under the sheet
	Grams      float64       `json:"phosphine_g"`           // with what was added
	LossPerDay float64       `json:"loss_per_day,omitzero"` // as fitted when airing started; 0 = not known
	LossSE     float64       `json:"loss_per_day_se,omitzero"`
	Compared   []Compared    `json:"forecasts,omitempty"` // with what came
	Unmatched  int           `json:"forecasts_unmatched"` // daily forecasts that nothing can be held against
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
	Form     string `json:"form"`
	Opening  int    `json:"opening"`
	Received int    `json:"received"`
	Used     int    `json:"used"`
	Off      int    `json:"put_right"` // by counts: negative where pieces were missing
	Closing  int    `json:"closing"`
	Taken    int    `json:"residue_taken"`    // out from under sheets
	Disposed int    `json:"residue_disposed"` // gone for good
}

// Move is one line of the stock register.
type Move struct {
	At      logbook.Time `json:"time"`
	Form    string       `json:"form"`
	About   string       `json:"about"` // batch and invoice, or the stack
	By      string       `json:"by"`
	Opening int          `json:"opening"`
	In      int          `json:"received"`
	Used    int          `json:"used"`
	Off     int          `json:"put_right"`
	Left    int          `json:"closing"`
	Counted bool         `json:"counted"`
}

// Place is where sheets leaked.
type Place struct {
	Store string         `json:"store"`
	Stack string         `json:"stack"`
	Line  string         `json:"line,omitempty"` // empty where all lines lost gas
	Times []logbook.Time `json:"onsets"`         // of the leaks that were told
}

// Alarms are the alarms that were raised in the period.
type Alarms struct {
	Raised       int         `json:"raised"`
	Acknowledged int         `json:"acknowledged"`
	Kinds        []AlarmKind `json:"kinds"`                 // by name
	Busiest      string      `json:"busiest_day,omitempty"` // day with most of them, 2006-01-02; empty = none
	OnBusiest    int         `json:"on_busiest_day"`
}

// AlarmKind is the alarms of one name.
type AlarmKind struct {
	Name         string `json:"alarm"`
	Raised       int    `json:"raised"`
	Acknowledged int    `json:"acknowledged"`
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
	for e, err := range correction.Applied(first(entries, s.Entries)) {
		if err != nil {
			return nil, fmt.Errorf("read entries: %w", err)
		}
		g.take(e)
	}
	g.finish()
	return s, nil
}

// OfLog sums up a period of a logbook, of entries up to until (0 = all), with the hash
// that vouches for them; program is the version that writes it.
func OfLog(ctx context.Context, log report.Log, p Period, until uint64, program string) (*Season, error) {
	s, err := Make(report.Until(log.Entries(ctx, 1), until), nil, p, report.Source{Program: program})
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
			s.First, s.FirstSeq = at, h.Seq
		}
		s.Entries++
		s.LastSeq, s.Made = h.Seq, max(s.Made, at)
	}
	if site != nil {
		s.Site, s.Lang, s.Zone = site.Name, site.Speaks(), report.Zone(site)
	}
	s.From, s.To, err = p.within(s.Zone, s.Made)
	s.First, s.End = max(s.First, s.From), min(s.Made, s.To)
	return err
}
