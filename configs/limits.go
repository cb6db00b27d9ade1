package configs

import (
	_ "embed" // limits.yaml
	"fmt"
	"sync"
	"time"

	"undersheet/logbook"
	"undersheet/rules/exposure"

	"github.com/goccy/go-yaml"
)

//go:embed limits.yaml
var limitsYAML []byte

// limitTable is the form of limits.yaml.
type limitTable struct {
	Countries map[string][]limitEntry `yaml:"countries"`
	Notes     map[string]string       `yaml:"notes"`
	Members   []string                `yaml:"members"` // of the EU
}

// limitEntry is one set of limits as it is written down.
type limitEntry struct {
	From   string             `yaml:"from"` // 2026-12-01, local time of the site; may be empty in the oldest
	Sure   string             `yaml:"sure"` // verified, secondary or memory
	Source string             `yaml:"source"`
	Levels map[string]float64 `yaml:"levels"` // ppm
}

// levelNames are the sorts of limits in the order in which they are told.
var levelNames = []string{"twa-8h", "short-term-15min", "ceiling", "peak"}

// surety says in words how sure a figure is.
var surety = map[string]string{
	"verified": "verified", "secondary": "from a secondary source", "memory": "from memory: look it up",
}

// limits reads the embedded table once. The tests read it too, so that a broken
// one cannot be shipped.
var limits = sync.OnceValue(func() limitTable {
	t, err := readLimits(limitsYAML)
	if err != nil {
		panic(fmt.Sprintf("embedded limits.yaml: %v", err))
	}
	return t
})

// readLimits reads a table of limits and refuses what cannot be one.
func readLimits(text []byte) (limitTable, error) {
	var t limitTable
	if err := yaml.UnmarshalWithOptions(text, &t, yaml.Strict()); err != nil {
		return t, err
	}
	for _, country := range sortedKeys(t.Countries) {
		last := ""
		for i, e := range t.Countries[country] {
			if err := e.check(); err != nil {
				return t, fmt.Errorf("%s[%d]: %w", country, i, err)
			}
			if i > 0 && e.From <= last {
				return t, fmt.Errorf("%s[%d]: from %q is not after %q", country, i, e.From, last)
			}
			last = e.From
		}
	}
	return t, nil
}

// check refuses an entry that cannot be a set of limits.
func (e limitEntry) check() error {
	if _, err := time.Parse(time.DateOnly, e.From); e.From != "" && err != nil {
		return fmt.Errorf("from %q is no date", e.From)
	}
	if e.Source == "" || surety[e.Sure] == "" || len(e.Levels) == 0 {
		return fmt.Errorf("source, sure or levels are missing")
	}
	known := 0
	for _, name := range levelNames {
		v, ok := e.Levels[name]
		if ok {
			known++
		}
		if ok && !(v > 0) {
			return fmt.Errorf("level %s is %g: must be above 0", name, v)
		}
		if long := e.Levels["twa-8h"]; ok && v < long {
			return fmt.Errorf("level %s is %g: below the mean over 8 hours, %g", name, v, long)
		}
	}
	if known != len(e.Levels) {
		return fmt.Errorf("a level is none of %v", levelNames)
	}
	return nil
}

// limitSets returns the occupational limits of a country (ISO 3166-1 alpha-2, or
// EU), oldest first, and whether it is known. Dates begin at midnight in loc, the
// site's time zone; the oldest set holds before its date too, so that a clock
// that is wrong never meets a looser figure. A member of the EU without figures
// of its own has EU's.
func limitSets(country string, loc *time.Location) ([]logbook.LimitSet, bool) {
	t := limits()
	entries, own := t.Countries[country]
	if !own {
		for _, m := range t.Members {
			if m == country {
				entries = t.Countries["EU"]
			}
		}
	}
	var sets []logbook.LimitSet
	for i, e := range entries {
		s := e.set(loc)
		if i == 0 {
			s.From = 0
		}
		sets = append(sets, s)
	}
	return sets, len(sets) > 0
}

// set turns an entry into the form that travels with a site.
func (e limitEntry) set(loc *time.Location) logbook.LimitSet {
	s := logbook.LimitSet{Source: fmt.Sprintf("%s (%s)", e.Source, surety[e.Sure])}
	if e.From != "" {
		s.Source = fmt.Sprintf("%s, since %s (%s)", e.Source, e.From, surety[e.Sure])
		from, _ := time.ParseInLocation(time.DateOnly, e.From, loc) // checked when read
		s.From = logbook.At(from)
	}
	for _, name := range levelNames {
		if v, ok := e.Levels[name]; ok {
			s.Levels = append(s.Levels, logbook.Level{Name: name, PPM: v})
		}
	}
	return s
}

// LimitNote returns what is told beside a country's limits, or "".
func LimitNote(country string) string { return limits().Notes[country] }

// Countries returns the codes that a site file may name, sorted.
func Countries() []string {
	known := map[string]bool{}
	for c := range limits().Countries {
		known[c] = true
	}
	for _, m := range limits().Members {
		known[m] = true
	}
	return sortedKeys(known)
}

// Regime is the figure that the re-entry gates of a site are held to, from a
// date on.
type Regime struct {
	From string  // 2026-12-01 in the site's time zone; empty: always
	PPM  float64 // the lowest figure of the set, taken as an instantaneous level
	Of   string  // where it comes from
}

// since says from when the regime holds, or nothing.
func (r Regime) since() string {
	if r.From == "" {
		return ""
	}
	return " from " + r.From + " on"
}

// Regimes returns the limits of a normalised site, oldest first; at least one.
func Regimes(s *logbook.Site) []Regime {
	if len(s.LimitSets) == 0 {
		ppm, of := exposure.Limit(nil, 0)
		return []Regime{{PPM: ppm, Of: of}}
	}
	loc, err := time.LoadLocation(s.Timezone)
	if err != nil {
		loc = time.UTC
	}
	var rs []Regime
	for _, set := range s.LimitSets {
		r := Regime{}
		if set.From != 0 {
			r.From = set.From.Std().In(loc).Format(time.DateOnly)
		}
		r.PPM, r.Of = exposure.Limit(s.LimitSets, set.From)
		rs = append(rs, r)
	}
	return rs
}
