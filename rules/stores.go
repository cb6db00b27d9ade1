package rules

import (
	"maps"
	"slices"

	"undersheet/logbook"
	"undersheet/rules/exposure"
	"undersheet/rules/gate"
	"undersheet/rules/protocol"
	"undersheet/rules/reading"
)

// gateOf gathers all that the gate of a store looks at.
func (s *State) gateOf(name string) *gate.Store {
	st := s.store(name)
	limit, _ := exposure.Limit(s.limitSets(), s.At)
	in := &gate.Store{Now: s.At, Limit: limit, Declared: st.Declared, HandAfter: st.HandAfter, Cleared: st.Cleared, RanOut: st.RanOut}
	if s.Site != nil {
		in.Again = s.Site.Settings.ConfirmEvery.Std()
	}
	if st.Restored {
		in.Block = append(in.Block, logbook.Reason{Code: gate.RestoredLog})
	}
	site, known := s.siteStore(name)
	if !known {
		in.Block = append(in.Block, logbook.Reason{Code: gate.NoSite, About: name})
	}
	for _, other := range s.wires.Adjoining(name) {
		if s.gasIn(other) {
			in.Block = append(in.Block, logbook.Reason{Code: gate.AdjoiningGas, About: other})
		}
	}
	for _, m := range st.Inside {
		in.Inside = append(in.Inside, m.Name)
	}
	in.Points = make([]gate.Point, 0, len(site.Air))
	for _, p := range site.Air {
		if p.Gate() {
			in.Points = append(in.Points, s.gatePoint(st, p))
		}
	}
	stacks := s.stacksIn(name)
	in.Stacks = make([]gate.Stack, 0, len(stacks))
	for _, stack := range stacks {
		in.Stacks = append(in.Stacks, s.gateStack(stack, st))
	}
	for _, key := range slices.Sorted(maps.Keys(st.Hands)) {
		in.Hands = append(in.Hands, st.Hands[key])
	}
	return in
}

func (s *State) limitSets() []logbook.LimitSet {
	if s.Site == nil {
		return nil
	}
	return s.Site.LimitSets
}

// gatePoint gathers what is known of one gate air point.
func (s *State) gatePoint(st *Store, p logbook.AirPoint) gate.Point {
	ch := s.Site.Channels[p.Channel]
	t := st.Tracks[p.Name]
	if t == nil {
		t = &gate.Track{}
	}
	return gate.Point{Name: p.Name, Detection: reading.PPM(ch, ch.DetectionLimit), AllowedGap: s.channel(p.Channel).AllowedGap(ch),
		Pump: pumpDoubts[s.drawn(p.Channel)], Check: s.owes(s.channel(p.Channel)), Ahead: s.aheadBy(p.Channel), Track: t}
}

// pumpDoubts names what a pump's state has against the gate.
var pumpDoubts = map[string]string{PumpOff: gate.PumpOff, PumpNotKnown: gate.PumpNotKnown}

// gateStack gathers what is known of one stack.
func (s *State) gateStack(name string, st *Store) gate.Stack {
	g := gate.Stack{Name: name, HandOwed: st.HandOwed[name]}
	if t := s.Stacks[name].Treatment; t != nil {
		g.Phase, g.Since = t.GasPhase(), t.Started
		if g.Since == 0 {
			g.Since = t.DosingAt
		}
		g.AiringSince, g.Paused, g.MinAiring = t.AiringSince, t.Paused, max(protocol.MinAiring, t.Protocol.Airing.Std())
	}
	return g
}

// passStore decides the gate of a store at now, takes a clearance away that no
// longer holds, and records what changed.
func (s *State) passStore(name string) {
	st := s.store(name)
	s.due = farOff
	in := s.gateOf(name)
	d := gate.Decide(in)
	if in.Cleared != nil && (d.Failed || d.Lapsed) {
		s.fall(name, d)
		in = s.gateOf(name)
		d = gate.Decide(in)
	}
	s.withholdAgain(name, d)
	s.recordGate(name, in, d)
	s.storeAlarms(name, in, d)
	s.again(in.Next())
	for _, set := range s.limitSets() {
		s.again(set.From)
	}
	st.Due = s.due
}

// fall takes a standing clearance away. Hand readings are owed again beside every stack that
// still gives off gas.
func (s *State) fall(name string, d gate.Decision) {
	st := s.store(name)
	if st.RanOut = nil; d.Lapsed {
		st.RanOut = st.Cleared
	}
	st.Cleared, st.HandAfter = nil, s.At
	if gate.GasSeen(d.Reasons) {
		st.Rebound = true
		for _, stack := range s.stacksIn(name) { // whose withholding had ended, too
			if t := s.Stacks[stack].Treatment; t != nil {
				t.GasFound(s.At, true)
			}
		}
	}
	s.oweHands(name, st)
}

// withholdAgain lets withholding run anew while gas stands in the air of a store,
// cleared or not: what still gives off gas is not over. It runs from the next clearance,
// as it did from the first: an instrument that fails has shown nothing, and fixed points
// alone clear no store.
func (s *State) withholdAgain(name string, d gate.Decision) {
	gas, shown := gate.GasSeen(d.Reasons), d.State == logbook.GateCleared
	for _, stack := range s.stacksIn(name) {
		k := s.Stacks[stack]
		t := k.Treatment
		if t == nil || t.GasPhase() != logbook.PhaseWithholding || !gas && !t.GasBack {
			continue
		}
		if t.GasBack == shown {
			k.Due = 0 // when withholding ends is another matter now
		}
		t.GasFound(s.At, !shown)
		s.watch()
	}
}

// recordGate proposes a gate record when the state or the reasons changed.
func (s *State) recordGate(name string, in *gate.Store, d gate.Decision) {
	st := s.store(name)
	g := s.gateRecord(name, in, d)
	if sameGate(&st.Gate, &g) {
		return
	}
	r := g
	s.put(&r, logbook.KindGate)
	st.Gate = r
	st.Gate.Reasons, st.Gate.Read = slices.Clone(r.Reasons), slices.Clone(r.Read)
}

// gateRecord is a decision as it is recorded.
func (s *State) gateRecord(name string, in *gate.Store, d gate.Decision) logbook.Gate {
	_, of := exposure.Limit(s.limitSets(), s.At)
	g := logbook.Gate{Store: name, State: d.State, LimitPPM: logbook.Number(in.Limit), LimitOf: of, Reasons: d.Reasons, Read: d.Read}
	if g.Reasons == nil {
		g.Reasons = []logbook.Reason{}
	}
	return g
}

// gateNow is the gate as last recorded, with its figures as they are now.
func (s *State) gateNow(name string) logbook.Gate {
	in := s.gateOf(name)
	was, now := s.store(name).Gate, s.gateRecord(name, in, gate.Decide(in))
	if sameGate(&was, &now) {
		was.Reasons, was.Read = now.Reasons, now.Read
	}
	return was
}

// sameGate reports whether two decisions differ in nothing but their numbers.
func sameGate(a, b *logbook.Gate) bool {
	if a.State != b.State || a.LimitPPM != b.LimitPPM || a.LimitOf != b.LimitOf || len(a.Reasons) != len(b.Reasons) {
		return false
	}
	for i, r := range a.Reasons {
		if r.Code != b.Reasons[i].Code || r.About != b.Reasons[i].About {
			return false
		}
	}
	return true
}

// gasIn reports whether a stack of a store is being dosed or is under gas.
func (s *State) gasIn(store string) bool {
	for _, stack := range s.stacksIn(store) {
		if t := s.Stacks[stack].Treatment; t != nil && (t.Phase == logbook.PhaseDosing || t.Phase == logbook.PhaseExposure) {
			return true
		}
	}
	return false
}
