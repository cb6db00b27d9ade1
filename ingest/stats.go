package ingest

import (
	"slices"
	"strings"
	"sync"
	"time"

	"undersheet/logbook"
	"undersheet/sensor"
)

// Stats is what an Ingest did since it was made, for metrics and pages.
type Stats struct {
	Instruments []Instrument // by name
	Waiting     int          // calls that wait for a logbook that cannot be written
	LogError    string       // why it cannot be; empty: it can
	LogSince    time.Time    // since when it cannot be
}

// Instrument is what came from one instrument.
type Instrument struct {
	Name      string
	Readings  uint64          // committed, duplicates included
	Refused   uint64          // readings and payloads that were kept as refused
	Repeated  uint64          // readings of a message that came again and were dropped
	Reused    uint64          // readings whose sequence number was used before for another; kept
	Last      time.Time       // when the newest of either was committed
	LastError string          // why the newest refused one was; empty: none was
	Down      []sensor.Status // what does not answer now, by unit
}

// stats counts. Its zero value is ready.
type stats struct {
	mu          sync.Mutex
	instruments map[string]*Instrument
	waiting     int
	logError    string
	since       time.Time
}

// Stats returns the counts so far.
func (g *Ingest) Stats() Stats {
	s := &g.stats
	s.mu.Lock()
	defer s.mu.Unlock()
	out := Stats{Waiting: s.waiting, LogError: s.logError, LogSince: s.since}
	for _, i := range s.instruments {
		c := *i
		c.Down = slices.Clone(i.Down)
		out.Instruments = append(out.Instruments, c)
	}
	slices.SortFunc(out.Instruments, func(a, b Instrument) int { return strings.Compare(a.Name, b.Name) })
	return out
}

// of returns the counts of one instrument. The caller holds mu.
func (s *stats) of(name string) *Instrument {
	name = named(name)
	i := s.instruments[name]
	if i == nil {
		if s.instruments == nil {
			s.instruments = map[string]*Instrument{}
		}
		i = &Instrument{Name: name}
		s.instruments[name] = i
	}
	return i
}

// took counts committed readings; entries are what became of them, again says
// which of them had a key that was there already.
func (s *stats) took(rs []sensor.Reading, entries []logbook.Entry, again map[int]outcome, now time.Time) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for n, r := range rs {
		i := s.of(r.Source)
		i.Last = now
		if e, ok := entries[n].(*logbook.PayloadRefused); ok {
			i.Refused++
			i.LastError = e.Why
			continue
		}
		i.Readings++
		switch again[n] {
		case repeated:
			i.Repeated++
		case reused:
			i.Reused++
		}
	}
}

// refused counts a payload that was kept as refused.
func (s *stats) refused(instrument, why string, now time.Time) {
	s.mu.Lock()
	defer s.mu.Unlock()
	i := s.of(instrument)
	i.Refused++
	i.Last, i.LastError = now, why
}

// status notes what answers and what does not.
func (s *stats) status(st sensor.Status) {
	s.mu.Lock()
	defer s.mu.Unlock()
	i := s.of(st.Instrument)
	i.Down = slices.DeleteFunc(i.Down, func(d sensor.Status) bool { return d.Unit == st.Unit })
	if !st.OK {
		i.Down = append(i.Down, st)
		slices.SortFunc(i.Down, func(a, b sensor.Status) int { return strings.Compare(a.Unit, b.Unit) })
	}
}

// failed notes that a commit failed, for the first time in its call or again.
func (s *stats) failed(err error, first bool, now time.Time) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if first {
		s.waiting++
	}
	if s.logError == "" {
		s.since = now
	}
	s.logError = err.Error()
}

// appended notes that a commit went well, after failures of its call or at once.
func (s *stats) appended(waited bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if waited {
		s.waiting--
	}
	s.logError, s.since = "", time.Time{}
}

// gaveUp notes that a call ended without a commit.
func (s *stats) gaveUp(waited bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if waited {
		s.waiting--
	}
}
