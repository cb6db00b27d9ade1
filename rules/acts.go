package rules

import (
	"fmt"
	"math"
	"strings"
	"time"

	"undersheet/logbook"
	"undersheet/rules/alarm"
	"undersheet/rules/dose"
	"undersheet/rules/exposure"
	"undersheet/rules/followup"
	"undersheet/rules/gas"
	"undersheet/rules/gate"
	"undersheet/rules/protocol"
	"undersheet/rules/reading"
	"undersheet/rules/treatment"
)

// backdated is how long before now an act may have happened before its age is noted as a
// finding.
const backdated = 30 * time.Minute

// act judges an act: a fact takes effect at once, a permission by its verdict.
func (s *State) act(e logbook.Acting) {
	store, stack := e.Place()
	if code := s.unknown(store, stack); code != "" {
		s.refuse(e, code, nil)
		return
	}
	h := e.Head()
	if h.Received != 0 && h.Time > h.Received.Add(reading.FutureAhead) {
		if s.opens(e) {
			s.refuse(e, "future-dated", nil)
			return
		}
		s.find(logbook.Finding{Code: "future-dated", Store: store, Stack: stack, About: string(h.Kind), Value: logbook.Number(h.Time.Hours(h.Received))})
	}
	if h.Time < s.At.Add(-backdated) {
		s.find(logbook.Finding{Code: "act-backdated", Store: store, Stack: stack, About: string(h.Kind), Value: logbook.Number(s.At.Hours(h.Time))})
	}
	switch e := e.(type) {
	case *logbook.EntryConfirmed, *logbook.NoGasDeclared:
		s.permission(e, store)
		return
	case *logbook.MaskedEntry:
		s.maskedEntry(e)
	case *logbook.MaskedExit:
		s.maskedExit(e)
	case *logbook.LineProved:
		s.lineProved(e)
	case *logbook.Corrected:
		s.corrected(e)
		return
	case *logbook.PhotoAttached: // kept, and nothing more
	case *logbook.ChecksSigned:
		s.checksSigned(e)
	case *logbook.StockReceived:
		s.stockReceived(e)
	case *logbook.StockCounted:
		s.stockCounted(e)
	case *logbook.InstrumentChecked:
		s.instrumentChecked(e)
	case *logbook.InstrumentSwapped:
		s.instrumentSwapped(e)
	case *logbook.AlarmAcknowledged:
		s.acknowledge(e)
	case *logbook.CanisterChanged:
		s.canisterChanged(e)
	case *logbook.HandReading:
		if code := s.handReading(e); code != "" {
			s.refuse(e, code, nil)
			return
		}
	case *logbook.FollowUpWrittenOff:
		if code := s.writeOff(e); code != "" {
			s.refuse(e, code, s.owedNow(stack))
			return
		}
	default:
		s.onStack(e, stack)
	}
	s.put(&logbook.Accepted{Entry: h.Kind, Store: store, Stack: stack}, logbook.KindAccepted)
}

// opens reports whether an act can help a gate to open. Such an act is refused when it is
// dated ahead of now; any other act that is dated ahead counts from now on, as does a hand
// reading that found gas.
func (s *State) opens(e logbook.Acting) bool {
	switch e := e.(type) {
	case *logbook.HandReading:
		ppm, err := dose.PPM(e.Value, e.Unit, dose.StandardC, dose.StandardKPa)
		limit, _ := exposure.Limit(s.limitSets(), s.At)
		return err != nil || ppm < limit
	case *logbook.InstrumentChecked:
		return e.Passed
	case *logbook.MaskedExit, *logbook.NoGasDeclared, *logbook.EntryConfirmed:
		return true
	}
	return false
}

// unknown returns a code when the act names a place that the site does not.
func (s *State) unknown(store, stack string) string {
	if s.Site == nil {
		return "no-site"
	}
	if store != "" {
		if _, ok := s.siteStore(store); !ok && s.Stores[store] == nil {
			return "unknown-store"
		}
	}
	if stack != "" {
		if _, ok := s.siteStack(stack); !ok && s.Stacks[stack] == nil {
			return "unknown-stack"
		}
	}
	return ""
}

func (s *State) refuse(e logbook.Acting, code string, reasons []logbook.Reason) {
	store, stack := e.Place()
	s.put(&logbook.Refused{Entry: e.Head().Kind, Store: store, Stack: stack, Code: code, Reasons: reasons}, logbook.KindRefused)
}

// permission judges a permission by the state as it is now. It takes effect only when the
// recorded verdict comes back, see verdict. While the state is made again after a
// correction, a permission that would be refused now has no effect, even if the verdict on
// record accepted it.
func (s *State) permission(e logbook.Acting, store string) {
	h := e.Head()
	s.passAll()
	code, reasons := s.against(e, store)
	if code == "" || !s.remade {
		s.Pending = append(s.Pending, Pending{h.Seq, h.Kind, store, e.Who().By, s.At})
	}
	if code != "" {
		s.refuse(e, code, reasons)
		return
	}
	s.put(&logbook.Accepted{Entry: h.Kind, Store: store}, logbook.KindAccepted)
}

// against returns the code of what stands against a permission, with its reasons; an empty
// code means that nothing does.
func (s *State) against(e logbook.Acting, store string) (code string, reasons []logbook.Reason) {
	if strings.TrimSpace(e.Who().By) == "" {
		return "no-name", nil
	}
	if e.Head().Kind == logbook.KindNoGasDeclared {
		for _, name := range s.stacksIn(store) {
			if t := s.Stacks[name].Treatment; t != nil && (t.Phase == logbook.PhaseDosing || t.Phase == logbook.PhaseExposure) {
				return "store-under-gas", []logbook.Reason{{Code: gate.UnderGas, About: name, Value: logbook.Number(s.At.Hours(t.DosingAt))}}
			}
		}
		return "", nil
	}
	in := s.gateOf(store)
	d := gate.Decide(in)
	// With the history as it was corrected, an earlier clearance may not have fallen: then
	// this one was not needed, but it was no mistake either.
	again := s.remade && d.State == logbook.GateCleared
	if d.State != logbook.GateCheckOwed && !again {
		return "gate-not-check-owed", d.Reasons
	}
	if owed := gate.Owed(in); len(owed) > 1 {
		return "hand-readings-owed", owed[:len(owed)-1]
	}
	return "", nil
}

// verdict takes the recorded verdict on the permission with the seq of, and lets the
// permission take effect if it was accepted.
func (s *State) verdict(of uint64, kind logbook.Kind, accepted bool) {
	for i, p := range s.Pending {
		if p.Seq != of || p.Kind != kind {
			continue
		}
		s.Pending = append(s.Pending[:i], s.Pending[i+1:]...)
		if !accepted {
			return
		}
		st := s.store(p.Store)
		st.Declared, st.Restored = true, false
		if kind == logbook.KindEntryConfirmed {
			s.clear(p, st)
		}
		return
	}
}

// clear gives a store its clearance. It does not count for a stack whose airing began only
// when the confirmation was judged, or after that.
func (s *State) clear(p Pending, st *Store) {
	st.Cleared = &gate.Clearance{At: s.At, By: p.By}
	st.Rebound, st.RanOut = false, nil
	for _, name := range s.stacksIn(p.Store) {
		k := s.Stacks[name]
		t := k.Treatment
		if t != nil && t.Phase == logbook.PhaseAiring && t.AiringSince >= p.At {
			continue
		}
		delete(st.HandOwed, name)
		if t != nil && t.Phase == logbook.PhaseAiring {
			t.Clear(s.At)
			k.event(s.At, logbook.KindEntryConfirmed, p.By)
		}
	}
}

// onStack lets a fact about a stack take effect.
func (s *State) onStack(e logbook.Acting, name string) {
	k := s.stack(name)
	at := min(e.Head().Time, s.At)
	switch e := e.(type) {
	case *logbook.DosingStarted:
		s.dosing(e, k, at)
	case *logbook.TreatmentStarted:
		s.start(e, k, at)
	case *logbook.DoseAdded:
		if s.underGas(k, e) {
			k.Treatment.AddDose(at, e.PhosphineG, k.Gas.ReleasePerDay())
			if k.Gas != nil {
				k.Gas.AddDose(k.Treatment, at, e.PhosphineG)
			}
		} else if k.Treatment == nil || k.Treatment.Phase != logbook.PhaseDosing {
			s.newTreatment(k, name, at) // phosphide was laid, whatever it is called
		} else {
			k.Treatment.Lay(at)
		}
	case *logbook.ExposureExtended:
		if s.underGas(k, e) {
			k.Treatment.Extend(e.ExposureHours)
			if e.ExposureHours < k.Treatment.Protocol.Hours {
				s.find(logbook.Finding{Code: "exposure-shorter-than-protocol", Stack: name,
					Value: logbook.Number(e.ExposureHours), Limit: logbook.Number(k.Treatment.Protocol.Hours)})
			}
		}
	case *logbook.AiringStarted:
		s.air(e, k, at)
	case *logbook.AiringPaused, *logbook.AiringResumed:
		s.pauseOrResume(e, k, at)
	case *logbook.DosePlaced:
		s.dosePlaced(e, k, at)
	case *logbook.ResidueTaken:
		s.residueTaken(e, k)
	case *logbook.ResidueDisposed:
		s.residueDisposed(e, k, at)
	case *logbook.TreatmentAbandoned:
		if k.Treatment == nil || k.Treatment.Phase == logbook.PhaseClosed {
			s.find(logbook.Finding{Code: "no-exposure-running", Stack: name, About: string(e.Kind)})
			break
		}
		k.Treatment.Abandon()
	default:
		s.afterwards(e, k, name, followup.Done{At: at, By: e.Who().By})
	}
	k.event(at, e.Head().Kind, e.Who().By)
}

// underGas reports whether a treatment is in exposure, and notes when not.
func (s *State) underGas(k *Stack, e logbook.Acting) bool {
	if k.Treatment != nil && k.Treatment.Phase == logbook.PhaseExposure {
		return true
	}
	_, stack := e.Place()
	s.find(logbook.Finding{Code: "no-exposure-running", Stack: stack, About: string(e.Head().Kind)})
	return false
}

// dosing shuts the gate: people lay phosphide.
func (s *State) dosing(e *logbook.DosingStarted, k *Stack, at logbook.Time) {
	if !e.StoreEmpty {
		s.find(logbook.Finding{Code: "store-not-empty", Store: k.Store, Stack: e.Stack})
	}
	if t := k.Treatment; t != nil && t.Phase != logbook.PhaseClosed && t.Phase != logbook.PhaseWithholding {
		s.find(logbook.Finding{Code: "already-running", Stack: e.Stack, About: t.Name})
		if t.Phase == logbook.PhaseExposure || t.Phase == logbook.PhaseDosing {
			t.Lay(at)
			return
		}
	}
	s.licensed(e.By, k.Store, e.Stack)
	s.notProved(k, e.Stack)
	s.checksOwed(k, e.Stack, at)
	s.notMended(k, e.Stack)
	s.newTreatment(k, e.Stack, at)
}

// newTreatment begins a treatment of a stack in the place of the one before; the store
// loses its clearance.
func (s *State) newTreatment(k *Stack, stack string, at logbook.Time) {
	before := k.Treatment
	s.replace(stack, k, at)
	site, _ := s.siteStack(stack)
	k.Treatment, k.Gas = treatment.Dosing(site, at), nil
	if before != nil {
		k.Treatment.Lay(before.Laid) // it is under the same sheet, whatever time the new one is given
	}
	k.Treatment.After.Cages, k.Cages = k.Cages, nil
	k.Events, k.Product = nil, nil
	s.store(k.Store).HandOwed[stack] = false
}

// start puts a stack under gas.
func (s *State) start(e *logbook.TreatmentStarted, k *Stack, at logbook.Time) {
	p, known := protocol.Resolve(s.Site, e.Protocol)
	p = s.byTemperature(p, k, e)
	s.startFindings(e, k, p, known)
	given := *e
	if s.Treatments[e.Treatment]++; s.Treatments[e.Treatment] > 1 {
		given.Treatment = fmt.Sprintf("%s (%d)", e.Treatment, s.Treatments[e.Treatment])
	}
	if k.Treatment == nil || k.Treatment.Phase != logbook.PhaseDosing {
		s.notProved(k, e.Stack) // else it was said when dosing began
		s.notMended(k, e.Stack)
		s.newTreatment(k, e.Stack, at)
	}
	k.Treatment.Start(&given, p, at)
	k.Treatment.Skip(s.Skips...) // those after a start that is entered late
	if first := k.firstOfPair(); first != nil {
		k.Treatment.Second, first.After.Second = true, followup.Done{At: at, By: e.By}
	}
	if k.Resisted != nil && !k.Resisted.Held { // to treat again is the answer where the gas had not held, but not to resistance
		k.Resisted = nil
		s.endAlarms(e.Stack, alarm.LiveInsects)
	}
	s.worked(k.Store, at)
	k.Gas = gas.New(s.Site, k.Treatment, s.temperature(k))
}

// temperature returns the grain temperature in °C: as entered, else as measured.
func (s *State) temperature(k *Stack) float64 {
	if k.TempC != nil {
		return *k.TempC
	}
	if k.Treatment != nil {
		return k.Treatment.Given.GrainTempC
	}
	return 0
}

// air takes the start of an airing.
func (s *State) air(e *logbook.AiringStarted, k *Stack, at logbook.Time) {
	t := k.Treatment
	if t == nil || t.Phase == logbook.PhaseClosed {
		s.find(logbook.Finding{Code: "no-exposure-running", Stack: e.Stack, About: string(e.Kind)})
		s.newTreatment(k, e.Stack, at)
		t = k.Treatment
	}
	if at < t.Laid { // it is the airing of something before: what was laid since is still under the sheet
		s.find(logbook.Finding{Code: "airing-before-dose", Store: k.Store, Stack: e.Stack, Value: logbook.Number(math.Ceil(10*t.Laid.Hours(at)) / 10)})
		return
	}
	first := t.AiringFirst == 0
	t.Air(at)
	at = t.AiringFirst
	s.store(k.Store).HandOwed[e.Stack] = true
	if first {
		s.firstOpening(e, k, at)
	}
	if !first || t.Started == 0 {
		return
	}
	if t.Early() {
		s.find(logbook.Finding{Code: "airing-early", Store: k.Store, Stack: e.Stack, About: e.Early,
			Value: logbook.Number(t.Lived(at).Hours()), Limit: logbook.Number(t.Protocol.Hours)})
		if strings.TrimSpace(e.Early) == "" {
			s.find(logbook.Finding{Code: "airing-early-no-reason", Stack: e.Stack})
		}
	}
	if at < t.ReleaseUntil {
		s.find(logbook.Finding{Code: "airing-before-release-over", Stack: e.Stack, Value: logbook.Number(t.ReleaseUntil.Hours(at))})
	}
	t.JudgeAiring(at)
	s.putEndLevels(k, logbook.MomentAiring, -1)
	s.putCriteria(k)
	if p := t.Protocol; p.SecondAfterDays > 0 && !t.Second {
		t.After.SecondFrom = at.Add(treatment.Hours(24 * p.SecondAfterDays))
		t.After.SecondTill = t.After.SecondFrom.Add(p.SecondWindow.Std())
	}
}

// pauseOrResume takes doors closed for the night, and opened again.
func (s *State) pauseOrResume(e logbook.Acting, k *Stack, at logbook.Time) {
	t := k.Treatment
	if t == nil || t.Phase != logbook.PhaseAiring {
		_, stack := e.Place()
		s.find(logbook.Finding{Code: "not-airing", Stack: stack, About: string(e.Head().Kind)})
		return
	}
	if _, pause := e.(*logbook.AiringPaused); pause {
		t.Pause(at)
		s.worked(k.Store, at)
	} else {
		t.Air(at)
	}
}
