package report

import (
	"fmt"
	"iter"
	"sort"
	"strings"

	"undersheet/logbook"
	"undersheet/rules"
	"undersheet/rules/efficacy"
	"undersheet/rules/treatment"
)

// Source says which log a report was made of.
type Source struct {
	LogID string // empty for entries from a file
	Head  string // hash of the log at LastSeq; empty for a file
}

// Report is everything that is written of one treatment. Concentrations are ppm.
type Report struct {
	Source
	FirstSeq, LastSeq uint64 // range of the log that tells of the treatment; 0 for a file
	Made              logbook.Time
	Site              logbook.Site
	Stack             rules.StackView // phase and verdict as they were recorded
	Given             logbook.TreatmentStarted
	Dosed             logbook.Time // when dosing started; 0 = not recorded
	Aired             Aired
	Lines             []Line
	Days              []Distribution
	Success           Success
	Air               []AirPoint
	Limit             Limit
	Acts              []Act // in the order in which they happened
	Hands             []HandPair
	Records
}

// Records are the records that a report quotes, in the order of the log.
type Records struct {
	Alarms    []logbook.Alarm // those first that stood when the treatment began
	Gates     []logbook.Gate  // the first is where the gate stood when the treatment began
	Phases    []logbook.Phase
	Findings  []logbook.Finding
	Refused   []logbook.Refused
	Forecasts []logbook.Forecast // of the lowest line, one a day
	Programs  []string           // versions of the program that made them
}

// Success is how even the gas was and how long it stood, beside what is published.
type Success struct {
	Held      *efficacy.Exposure  // as folded; nil when it never had its t = 0
	Criteria  []logbook.Criterion // as last recorded, else as folded
	Shortest  []efficacy.Shortest
	Published []efficacy.Against
}

// Aired is the end of the exposure and what was owed after it.
type Aired struct {
	First       logbook.Time     // when airing first started; 0 = not yet
	Cleared     logbook.Time     // first clearance of the store after that; 0 = none
	SecondFrom  logbook.Time     // when the second treatment of a pair is due; 0 = none
	SecondUntil logbook.Time     // and until when it is to begin
	Extra       []treatment.Dose // phosphine added on the way
	TempC       float64          // grain temperature that g·h/m³ is of, °C
	Measured    bool             // TempC was measured under the sheet, else entered
}

// Line is one sampling line of the stack.
type Line struct {
	Key           string // its letter in the chart
	Name, Channel string
	Instrument    logbook.Channel
	Days          []Day
	Hours         []Hour
	View          rules.LineView // end levels as they were recorded
	Product       Product
	samples       []sample
}

// Product is the concentration-time product of a line from t = 0 to the start of
// airing (or to the end of the report), summed over every reading that counts, in
// order of time.
type Product struct {
	PPMh     float64 // ppm·h
	GhM3     float64 // g·h/m³ at Aired.TempC
	GapHours float64 // hours that no reading covers, those of Gaps among them
	Gaps     []Gap   // stretches too long to bridge, the first and the last of the exposure included
}

// Gap is a stretch of exposure that no reading covers.
type Gap struct{ From, To logbook.Time }

// Day is one day of exposure on one line, counted from t = 0: day 1 is hours 0 to
// 24, a reading on the border belongs to the day that ends.
type Day struct {
	Number                int // from 1
	Lowest, Mean, Highest float64
	Readings              int
	Over                  bool // Highest is the top of the instrument's range: at least that much
}

// Hour is one hour of the clock on one line or air point.
type Hour struct {
	At                    logbook.Time // its start
	Lowest, Mean, Highest float64
	Readings              int
}

// Distribution is the lowest line against the highest on one day, by their means.
type Distribution struct {
	Number                 int
	Lowest, Highest, Ratio float64
}

// AirPoint is one air point of the store, from dosing to the end of the report.
type AirPoint struct {
	Key                  string // its letter in the chart
	Name, Where, Channel string
	Hours                []Hour
	Airing               []Reading // from the first airing to clearance
	Readings             int
	HighestTWA8h         float64
	TWAAt                logbook.Time // end of its 8 hours
	TWACovered           float64      // hours of the 8 that readings cover
	Highest15min         float64
	Highest              float64
	HighestAt            logbook.Time
	Over                 bool // Highest is the top of the instrument's range
	samples              []sample
}

// Reading is one reading in the report's unit.
type Reading struct {
	At  logbook.Time
	PPM float64
}

// Limit is the re-entry limit that held at the end, and where it came from.
type Limit struct {
	PPM float64
	Of  string
}

// Act is what a person did.
type Act struct {
	At       logbook.Time
	Kind     logbook.Kind
	By       string
	Identity string // "not verified", "not stated", or how it was known
	Note     string
	Detail   string
	Refused  string               // why it took no effect; empty = it did
	Hand     *logbook.HandReading // a hand reading, else nil
	of       uint64               // by which its verdict is known
}

// HandPair is a hand reading beside what the fixed instrument of the same line or
// air point read nearest to that time.
type HandPair struct {
	Act        Act
	Place      string // stack and line, or store and point
	PPM        float64
	Instrument bool     // the place has a fixed instrument
	Fixed      *Reading // nil = none within an hour
}

// ErrUnknown marks a treatment that the log does not hold.
type ErrUnknown struct {
	Treatment string
	Known     []string // names that it holds, sorted
}

// Error implements error.
func (e *ErrUnknown) Error() string {
	if len(e.Known) == 0 {
		return fmt.Sprintf("find treatment %q: the log holds none that has started", e.Treatment)
	}
	quoted := make([]string, len(e.Known))
	for i, n := range e.Known {
		quoted[i] = fmt.Sprintf("%q", n)
	}
	return fmt.Sprintf("find treatment %q: the log holds %s", e.Treatment, strings.Join(quoted, ", "))
}

// Make folds the entries and gathers what belongs to the treatment of that name,
// up to the moment when it is closed or the stack is treated again: what the log
// holds after that changes nothing, and is not read. site, when not nil, stands
// for a site-configured before the first entry.
//
// An error is of type [*ErrUnknown], or comes from the entries.
func Make(entries iter.Seq2[logbook.Entry, error], site *logbook.Site, name string, src Source) (*Report, error) {
	m := newMaker(site, name)
	for e, err := range rules.Corrected(entries) {
		if err != nil {
			return nil, fmt.Errorf("read entries: %w", err)
		}
		if m.take(e) {
			break
		}
	}
	if m.found == nil {
		return nil, &ErrUnknown{Treatment: name, Known: sortedNames(m.names)}
	}
	r := m.found.finish(m.player.State)
	r.Source = src
	return r, nil
}

func sortedNames(m map[string]bool) []string {
	names := make([]string, 0, len(m))
	for n := range m {
		names = append(names, n)
	}
	sort.Strings(names)
	return names
}
