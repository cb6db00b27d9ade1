package rules

import (
	"time"

	"undersheet/logbook"
	"undersheet/rules/followup"
	"undersheet/rules/reading"
)

// passEvery is the least time between two passes while only readings come.
const passEvery = time.Second

// Fold takes the next entry and returns the records it proposes, in order, each
// with the time now and the seq it is of. The caller commits them and folds them
// back; until an accepted or refused record comes back, a permission has no
// effect.
func (s *State) Fold(e logbook.Entry) []logbook.Recorded {
	s.out = nil
	h := e.Head()
	if h.Seq != 0 {
		s.LastSeq = h.Seq
	}
	before := s.At
	s.At = reading.NowAfter(s.At, e)
	s.noteJump(before, e)
	if s.Begun == 0 {
		s.Begun = s.At
	}
	s.take(e)
	if _, isReading := e.(*logbook.Reading); !isReading {
		s.passAll()
	} else if s.At.Sub(s.PassedAt) >= passEvery {
		s.pass()
	}
	return s.flush(h.Seq)
}

// flush returns what was proposed, each record with the time now and the seq of the entry
// that it was made of.
func (s *State) flush(seq uint64) []logbook.Recorded {
	out := s.out
	s.out = nil
	for _, r := range out {
		r.Head().Time = s.At
		r.Rec().Of = seq
	}
	return out
}

// take hands an entry to the part of the state that it concerns.
func (s *State) take(e logbook.Entry) {
	switch e := e.(type) {
	case *logbook.Reading:
		s.read(e)
	case *logbook.SiteConfigured:
		s.configure(e.Site)
	case *logbook.ClockStepped:
		s.clockStepped(e)
	case *logbook.InstrumentState:
		s.instrument(e)
	case *logbook.PayloadRefused:
		s.findOnce(logbook.Finding{Code: "payload-refused", About: e.Instrument, Value: logbook.Number(e.Size)}, e.Instrument+" "+e.Topic)
	case *logbook.Restored:
		s.restored()
	case *logbook.Accepted:
		s.verdict(e.Of, e.Entry, true)
	case *logbook.Refused:
		s.verdict(e.Of, e.Entry, false)
	case logbook.Acting:
		s.act(e)
	}
}

// put proposes a record.
func (s *State) put(r logbook.Recorded, kind logbook.Kind) {
	h := r.Head()
	h.Kind, h.Time = kind, s.At
	s.out = append(s.out, r)
}

// keepFindings bounds the findings that pages show.
const keepFindings = 50

// find proposes a finding.
func (s *State) find(f logbook.Finding) {
	s.put(&f, logbook.KindFinding)
	if len(s.Found) >= keepFindings {
		s.Found = append(s.Found[:0], s.Found[1:]...)
	}
	s.Found = append(s.Found, f)
}

// findOnce proposes a finding that is not repeated for the same key.
func (s *State) findOnce(f logbook.Finding, key string) {
	key = f.Code + " " + key
	const most = 5000 // a flood of invented names must not grow the state
	if s.Flagged[key] || len(s.Flagged) >= most {
		return
	}
	s.Flagged[key] = true
	s.find(f)
}

// clockStepped restarts every airing, also a paused one, and the half hour of clean air that
// a store needs before it is cleared: after the wall clock was set, nobody knows how long
// they had lasted. What a clock that was set ahead skipped is no exposure and no withholding.
func (s *State) clockStepped(e *logbook.ClockStepped) {
	s.find(logbook.Finding{Code: "clock-stepped", Value: logbook.Number(e.StepSeconds)})
	s.noteBehind(e.Time)
	for _, k := range s.Stacks {
		if t := k.Treatment; t != nil && t.Phase == logbook.PhaseAiring {
			t.AirAnew(s.At)
		}
	}
	if e.StepSeconds > 0 {
		s.setAhead(e, followup.FiguresOf(s.Site).Withholding)
	}
	for _, st := range s.Stores {
		for _, t := range st.Tracks {
			t.Broken = t.Broken || st.Cleared == nil
		}
	}
}

// restored forgets every clearance, and every permission that still waited for its
// verdict: nobody knows what happened since the copy was made.
func (s *State) restored() {
	s.Pending = nil
	for name, st := range s.Stores {
		s.distrust(name, st)
		st.Restored = true
	}
}

// distrust takes away from a store its clearance and the declaration that it held no gas,
// and asks for new hand readings.
func (s *State) distrust(name string, st *Store) {
	st.Declared, st.Cleared, st.RanOut = false, nil, nil
	st.HandAfter = s.At
	s.oweHands(name, st)
}

// oweHands asks for a hand reading beside every stack that still gives off gas.
func (s *State) oweHands(name string, st *Store) {
	for _, stack := range s.stacksIn(name) {
		if t := s.Stacks[stack].Treatment; t != nil && (t.Phase == logbook.PhaseAiring || t.GasPhase() == logbook.PhaseWithholding) {
			st.HandOwed[stack] = true
		}
	}
}

// instrument notes whether a device answers.
func (s *State) instrument(e *logbook.InstrumentState) {
	key := e.Instrument + "\x00" + e.Unit
	i := s.Instruments[key]
	if i == nil {
		i = &Instrument{Name: e.Instrument, Unit: e.Unit, OK: true}
		s.Instruments[key] = i
	}
	if i.OK != e.OK || i.Since == 0 {
		i.Since = min(e.Time, s.At)
	}
	i.OK = e.OK
}
