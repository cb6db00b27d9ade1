package rules

import (
	"slices"
	"time"

	"undersheet/logbook"
	"undersheet/rules/alarm"
	"undersheet/rules/gate"
	"undersheet/rules/leak"
	"undersheet/rules/reading"
	"undersheet/rules/treatment"
)

// DefaultMaskedEntryMax is common practice: a masked entry is over within 20 min.
const DefaultMaskedEntryMax = 20 * time.Minute

// leakEvents turns the events of the leak test and of package fault into alarms.
func (s *State) leakEvents(k *Stack, t *treatment.Treatment, events []leak.Event) {
	for _, e := range events {
		of := logbook.Alarm{Stack: t.Stack, Store: k.Store, Onset: t.Started.Add(treatment.Hours(e.Onset).Round(time.Second)),
			Value: logbook.Number(e.LossAfter), Limit: logbook.Number(e.LossBefore)}
		if e.Line >= 0 && e.Line < len(t.Lines) {
			of.Line = t.Lines[e.Line].Name
		}
		s.takeBack(k, t, e)
		by := cause{}
		switch e.Kind {
		case leak.Leak:
			of.Alarm, of.Also = alarm.Leak, []string{alarm.AtRisk, alarm.Uneven} // what is likely to follow
			switch {
			case e.Alone:
				of.Code = alarm.CodeOrDrift
			case e.Limit > 0:
				of.Code = alarm.CodeHalfDay
			}
			of.Grounds = k.Gas.LeakTold(t, e, of.Line, s.At)
		case leak.LineOff:
			of.Alarm = alarm.LineOff
			if e.Onset == 0 {
				of.Code = alarm.CodeNeverOn
			}
		case leak.Blocked:
			of.Alarm = alarm.LineBlocked
		case leak.PumpStop:
			of.Alarm, of.Code = alarm.PumpOff, alarm.CodeByGas
			by = cause{of: alarm.PumpOff, channel: t.Lines[0].Channel}
		case leak.Swapped:
			of.Alarm, of.Line = alarm.Swapped, of.Line+" and "+t.Lines[e.Other].Name
		case leak.Drifting:
			of.Alarm, of.Value, of.Limit = alarm.Drift, logbook.Number(e.Rate), 0
		default:
			continue
		}
		s.alarm(condition{of: of, active: !e.Cleared, sure: true, atOnce: true, anew: e.Kind == leak.Leak, cause: by})
	}
}

// takeBack takes out of the treatment's record what a line read before an event showed that
// it had not drawn the stack's gas, or that its instrument had drifted. End levels that rested
// on such readings are judged and recorded anew.
func (s *State) takeBack(k *Stack, t *treatment.Treatment, e leak.Event) {
	e.Cleared = false // at its end, too: late readings may be of that time
	line, since, misled := e.Misled()
	if !misled {
		return
	}
	for i := range t.Lines {
		if line >= 0 && i != line {
			continue
		}
		if moment := t.Away(i, t.Started.Add(treatment.Hours(since)), s.At); moment != "" {
			s.putEndLevels(k, moment, i)
		}
	}
}

// storeAlarms raises and clears the alarms of a store: of its air, of people inside, of doors
// and water.
func (s *State) storeAlarms(name string, in *gate.Store, d gate.Decision) {
	st := s.store(name)
	site, known := s.siteStore(name)
	st.Rebound = st.Rebound && known && airInDoubt(d)
	s.alarm(condition{of: logbook.Alarm{Alarm: alarm.Rebound, Store: name,
		Value: worst(in), Limit: logbook.Number(in.Limit)}, active: st.Rebound})
	busy := false // with work or gas, so that gas inside is evidence of a leak
	for _, k := range in.Stacks {
		busy = busy || k.Phase == logbook.PhaseDosing || k.Phase == logbook.PhaseExposure || k.Phase == logbook.PhaseAiring
	}
	for _, p := range site.Air {
		s.pointAlarms(name, p, in.Limit, busy, st.Rebound)
	}
	s.maskedAlarms(name, st)
	s.unwatchedAlarm(name)
	s.roomAlarms(name, st, &site)
}

// above reports whether the value of an alarm is at its limit or over it. While the alarm is
// raised, a value still counts as above until it has come back by the deadband.
func (s *State) above(of *logbook.Alarm) bool {
	return of.Value >= of.Limit || s.raised(of) && float64(of.Value) >= float64(of.Limit)*(1-alarm.Of(s.Site, of.Alarm).Deadband)
}

// below is the same as above for a value that must not fall under its limit.
func (s *State) below(of *logbook.Alarm) bool {
	return of.Value < of.Limit || s.raised(of) && float64(of.Value) < float64(of.Limit)*(1+alarm.Of(s.Site, of.Alarm).Deadband)
}

// airInDoubt reports whether a gate is kept from opening by gas in the air, or by a doubt
// behind which there may be gas: what nobody reads, or an instrument reads wrongly, is not
// known to be gone.
func airInDoubt(d gate.Decision) bool {
	return slices.ContainsFunc(d.Reasons, func(r logbook.Reason) bool {
		switch r.Code {
		case gate.AboveLimit, gate.NotBelowLong, gate.HandAbove, gate.OverRange, gate.NoPoints, gate.NoReading, gate.PointSilent, gate.ClockAhead,
			gate.PumpOff, gate.PumpNotKnown, gate.CheckAfterOver, gate.CheckAfterSwap, gate.CheckFailed, gate.CheckOverdue, gate.PointStuck, gate.PointFault, gate.BelowZero:
			return true
		}
		return false
	})
}

// worst is the highest upper value that a gate air point last read.
func worst(in *gate.Store) logbook.Number {
	w := 0.0
	for _, p := range in.Points {
		w = max(w, p.Newest.PPM)
	}
	return logbook.Number(w)
}

// pointAlarms looks at one air point. Gas inside a store under treatment is
// evidence of a leak, not an alarm of its own.
func (s *State) pointAlarms(store string, p logbook.AirPoint, limit float64, busy, rebound bool) {
	ch := s.Site.Channels[p.Channel]
	c := s.channel(p.Channel)
	of := logbook.Alarm{Store: store, Point: p.Name, Channel: p.Channel}
	if p.Where == logbook.WhereDwelling {
		limit = dwellingLimit(p, ch, limit)
	}
	inside := p.Where == "" || p.Where == logbook.WhereInside
	gas := of
	gas.Alarm, gas.Code, gas.Value, gas.Limit = alarm.AirGas, p.Where, logbook.Number(max(c.Last.Value, c.Unturned)), logbook.Number(limit)
	silentFor, silent := s.silent(c, ch)
	found := s.above(&gas)
	if shown := c.Newest != 0 && c.Last.Counts; !shown || !found && (silent || !s.trusted(p.Channel, c.Last.At)) {
		var known *Alarm // raised, or about to be
		if known, found = s.Alarms[keyOf(&gas)]; found {
			gas.Value = known.Record.Value // it stands, for what nobody reads any more may still be there
		}
	}
	s.alarm(condition{of: gas, active: found && !(inside && (busy || rebound))})
	of.Alarm, of.Value, of.Onset = alarm.PointSilent, logbook.Number(silentFor.Minutes()), c.Newest
	if alarm.WherePeopleAre(&gas) {
		of.Priority = logbook.PriorityMedium // while it is silent nobody would be woken for gas there
	}
	if c.Newest == 0 {
		of.Value = 0
	}
	s.alarm(condition{of: of, active: silent, cause: cause{of: alarm.Instrument, channel: p.Channel}})
	s.faultAlarm(c, logbook.Alarm{Store: store, Point: p.Name, Channel: p.Channel})
}

// dwellingLimit is the limit of an air point at a dwelling: the site's, which is set
// with its authority and never above the workers'; without it, whatever the
// instrument can find.
func dwellingLimit(p logbook.AirPoint, ch logbook.Channel, workers float64) float64 {
	if p.Limit > 0 {
		return min(p.Limit, workers)
	}
	if least := reading.PPM(ch, max(ch.DetectionLimit, ch.Resolution)); least > 0 {
		return min(least, workers)
	}
	return workers
}

// faultAlarm says that an instrument's readings are not to be trusted.
func (s *State) faultAlarm(c *Channel, of logbook.Alarm) {
	is := c.Last.State
	of.Alarm, of.Code, of.Value = alarm.Fault, is, logbook.Number(c.Last.Raw)
	by := cause{}
	if is == reading.Stuck { // a pump that is off leaves the same air in the tube
		by = cause{of: alarm.PumpOff, channel: of.Channel}
	}
	s.alarm(condition{of: of, active: broken(is), cause: by})
}

// broken reports whether a state says that an instrument is not to be trusted.
func broken(state string) bool {
	return state == reading.Fault || state == reading.BelowZero || state == reading.Stuck
}

// maskedAlarms raises the alarm when somebody has been inside by masked entry for longer than
// the site allows; and anew for each further person who is overdue.
func (s *State) maskedAlarms(name string, st *Store) {
	most := DefaultMaskedEntryMax
	if d := s.Site.Settings.MaskedEntryMax.Std(); d > 0 {
		most = d
	}
	of := logbook.Alarm{Alarm: alarm.MaskedLong, Store: name, Limit: logbook.Number(most.Minutes())}
	over, more := false, false
	for i := range st.Inside {
		m := &st.Inside[i]
		d := s.At.Sub(m.Since)
		s.again(m.Since.Add(most) + 1)
		if d <= most {
			continue
		}
		if !over || m.Since.Add(most) < of.Onset {
			over, of.Value, of.Onset = true, logbook.Number(d.Minutes()), m.Since.Add(most)
		}
		more, m.Overdue = more || !m.Overdue, true
	}
	s.alarm(condition{of: of, active: over, anew: more})
}
