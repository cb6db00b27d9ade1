package rules

import (
	"time"

	"undersheet/logbook"
	"undersheet/rules/exposure"
	"undersheet/rules/followup"
	"undersheet/rules/treatment"
)

// owing finds which treatment of a stack an act on a follow-up speaks of: the one that the
// act names; else the one that has owed this follow-up longest; else the newest that may
// come to owe it later. It is nil where there is none.
func (s *State) owing(k *Stack, named, kind string) *treatment.Treatment {
	g := followup.FiguresOf(s.Site)
	var found *treatment.Treatment
	since := farOff
	for _, p := range k.all() {
		if named != "" && !p.Treatment.Is(named) {
			continue
		}
		for _, i := range p.items(&g) {
			if i.Kind != kind || !i.Open() {
				continue
			}
			if due := i.Due; due == 0 && since == farOff || due != 0 && due < since {
				found = p.Treatment
				if due != 0 {
					since = due
				}
			}
		}
	}
	return found
}

// inspected finds which treatment an inspection speaks of: the one that it names, else the
// newest whose airing had begun by then.
func (k *Stack) inspected(named string, at logbook.Time) *treatment.Treatment {
	var found *treatment.Treatment
	for _, p := range k.all() {
		t := p.Treatment
		switch {
		case named != "" && t.Is(named):
			return t
		case named == "" && t.Started != 0 && t.AiringFirst != 0 && t.AiringFirst <= at:
			found = t
		}
	}
	return found
}

// firstOfPair is the treatment of a stack whose second is owed; nil = none.
func (k *Stack) firstOfPair() *treatment.Treatment {
	for _, p := range k.all() {
		f := &p.Treatment.After
		if _, off := f.WrittenOff[logbook.FollowSecondTreatment]; f.SecondFrom != 0 && f.Second.At == 0 && !off {
			return p.Treatment
		}
	}
	return nil
}

// afterwards lets a fact about what follows a treatment take effect; d says when and by
// whom.
func (s *State) afterwards(e logbook.Acting, k *Stack, name string, d followup.Done) {
	note := func(code, about string, value float64) {
		s.find(logbook.Finding{Code: code, Store: k.Store, Stack: name, About: about, Value: logbook.Number(value)})
	}
	switch e := e.(type) {
	case *logbook.GrainInspected:
		d.Result = e.Insects
		if t := k.inspected(e.Treatment, d.At); t == nil || !t.Inspect(d) {
			note("inspected-before-airing", "", 0)
		} else {
			if t == k.Treatment {
				s.putCriteria(k)
			}
			s.alive(k, t)
		}
	case *logbook.CagesPlaced:
		s.cagesPlaced(e, k, d)
	case *logbook.CagesRetrieved:
		t := s.owing(k, e.Treatment, logbook.FollowCagesRetrieval)
		if t == nil {
			note("nothing-owed", logbook.FollowCagesRetrieval, 0)
			return
		}
		c := t.After.Cages
		c.Retrieved = d
		if t.FirstCleared == 0 {
			note("cages-before-clearance", "", 0)
		}
		if e.Count > 0 && e.Count < c.Count {
			note("cages-missing", "", float64(c.Count-e.Count))
		}
	case *logbook.CagesJudged:
		s.cagesJudged(e, k, d, note)
	case *logbook.SheetTorn:
		if k.Treatment == nil {
			note("no-exposure-running", string(e.Kind), 0)
			return
		}
		k.Treatment.After.Torn = max(k.Treatment.After.Torn, d.At)
	case *logbook.SheetRepaired:
		if t := s.owing(k, e.Treatment, logbook.FollowSheetRepair); t != nil {
			d.Result = e.Found
			t.After.Repaired = d
		} else {
			note("nothing-owed", logbook.FollowSheetRepair, 0)
		}
	case *logbook.GrainIssued:
		s.grainIssued(e, k, d.At, note)
	}
}

// writeOff notes that a follow-up will not be done. Where nothing of that name is owed, or
// nobody may write it off, it returns the code of the refusal, so that a mistyped name does
// not look as if the follow-up were settled.
func (s *State) writeOff(e *logbook.FollowUpWrittenOff) (code string) {
	k, at := s.stack(e.Stack), min(e.Time, s.At)
	t := s.owing(k, e.Treatment, e.FollowUp)
	switch {
	case t == nil:
		return "not-owed"
	case !t.After.WriteOff(e.FollowUp, followup.Done{At: at, By: e.By, Result: e.Why}):
		return "not-written-off"
	}
	k.event(at, e.Kind, e.By)
	return ""
}

// owedNow lists what a stack owes, for the refusal of an act that named something else.
func (s *State) owedNow(stack string) []logbook.Reason {
	g := followup.FiguresOf(s.Site)
	var owed []logbook.Reason
	for _, p := range s.stack(stack).all() {
		for _, i := range p.items(&g) {
			if i.Open() {
				owed = append(owed, logbook.Reason{Code: reasonOwed + "/" + i.Kind, About: p.Treatment.Called()})
			}
		}
	}
	if owed == nil {
		owed = append(owed, logbook.Reason{Code: "owed-nothing"})
	}
	return owed
}

// reasonOwed is the code of a reason that names a follow-up after a slash.
const reasonOwed = "owed"

// ForNext reports whether what is laid under the sheet now is of the stack's next
// treatment.
func (k *Stack) ForNext() bool {
	t := k.Treatment
	return t == nil || t.Phase != logbook.PhaseDosing && t.Phase != logbook.PhaseExposure
}

// cagesPlaced notes cages of test insects. They belong to the treatment that is being laid,
// or to the stack's next one if none is.
func (s *State) cagesPlaced(e *logbook.CagesPlaced, k *Stack, d followup.Done) {
	of := &k.Cages
	if !k.ForNext() {
		of = &k.Treatment.After.Cages
		if k.Treatment.Phase == logbook.PhaseExposure {
			s.find(logbook.Finding{Code: "cages-after-sheeting", Store: k.Store, Stack: e.Stack})
		}
	}
	if *of == nil {
		*of = &followup.Cages{Placed: d}
	}
	(*of).Count += e.Count
}

// cagesJudged notes whether test insects were found alive or dead. A jar of grain samples
// in which none live proves nothing before its month is over.
func (s *State) cagesJudged(e *logbook.CagesJudged, k *Stack, d followup.Done, note func(code, about string, value float64)) {
	kind := map[string]string{logbook.JudgedExposure: logbook.FollowCagesJudgement, logbook.JudgedMonth: logbook.FollowJar}[e.After]
	t := s.owing(k, e.Treatment, kind)
	if t == nil {
		note("nothing-owed", kind, 0)
		return
	}
	g := followup.FiguresOf(s.Site)
	c := t.After.Cages
	if left := c.Retrieved.At.Add(g.Jar).Sub(d.At); e.After == logbook.JudgedMonth && e.Result == logbook.InsectsNone && (c.Retrieved.At == 0 || left > dayEarly) {
		note("jar-judged-early", "", left.Hours()/24)
		return
	}
	d.Result = e.Result
	t.JudgeCages(e.After, d)
	s.alive(k, t)
}

// dayEarly is how long before the end of its month a jar may be judged.
const dayEarly = 24 * time.Hour

// grainIssued notes when grain was issued that is to be held back, or went into a closed
// lorry before the gas in its bags was read.
func (s *State) grainIssued(e *logbook.GrainIssued, k *Stack, at logbook.Time, note func(code, about string, value float64)) {
	g := followup.FiguresOf(s.Site)
	if held, _ := k.heldBack(at, g.Withholding); held {
		note("issued-in-withholding", "", e.Tonnes)
	}
	if k.resists() {
		note("issued-with-live-insects", k.Resisted.Treatment, e.Tonnes)
	}
	if !e.ClosedVehicle {
		return
	}
	for _, p := range k.all() {
		for _, i := range p.items(&g) {
			if i.Kind == logbook.FollowBagGas && i.Open() {
				note("issued-before-bag-gas", p.Treatment.Called(), e.Tonnes)
			}
		}
	}
}

// heldBack is HeldBack of the stack's last treatment.
func (k *Stack) heldBack(at logbook.Time, withholding time.Duration) (held bool, until logbook.Time) {
	if k.Treatment == nil {
		return false, 0
	}
	return k.Treatment.HeldBack(at, withholding)
}

// notMended notes that a sheet is used again before it was looked over.
func (s *State) notMended(k *Stack, stack string) {
	if s.owing(k, "", logbook.FollowSheetRepair) != nil {
		s.find(logbook.Finding{Code: "sheet-not-repaired", Store: k.Store, Stack: stack})
	}
}

// handInBags takes a reading of the gas inside bags. A method whose detection limit is
// above the limit cannot show that grain is free of gas.
func (s *State) handInBags(e *logbook.HandReading, at logbook.Time, ppm float64) {
	k := s.stack(e.Stack)
	t := s.owing(k, "", logbook.FollowBagGas)
	if t == nil {
		t = k.Treatment
	}
	if t == nil {
		s.find(logbook.Finding{Code: "no-exposure-running", Stack: e.Stack, About: string(e.Kind)})
		return
	}
	limit, _ := exposure.Limit(s.limitSets(), s.At)
	finds := detection(e)
	of := logbook.Finding{Store: k.Store, Stack: e.Stack, Value: logbook.Number(ppm), Limit: logbook.Number(limit)}
	below := ppm < limit
	switch {
	case !below:
		of.Code = "gas-in-bags"
		s.find(of)
	case finds < 0 && !(ppm > 0) || !(finds < limit):
		of.Code, of.Value = "bag-gas-too-coarse", logbook.Number(max(finds, 0))
		s.find(of)
		return
	}
	t.After.Bags(followup.Done{At: at, By: e.By}, below)
	k.event(at, e.Kind, logbook.WhereBags)
}
