package lines

import (
	"strings"

	"undersheet/logbook"
)

// fill makes the point of en; false when en has none.
func (e *Encoder) fill(en logbook.Entry, second bool) bool {
	switch en := en.(type) {
	case *logbook.Reading:
		e.reading(en, second)
	case *logbook.HandReading:
		e.handReading(en)
	case *logbook.InstrumentState:
		e.instrument(en)
	case *logbook.Forecast:
		e.forecast(en)
	case *logbook.Gate:
		e.gate(en)
	case *logbook.Alarm:
		e.alarm(en)
	case *logbook.Phase:
		e.phase(en)
	case *logbook.EndLevel:
		e.endLevel(en)
	case *logbook.Finding:
		e.finding(en)
	case *logbook.Accepted:
		e.act(en.Entry, en.Store, en.Stack, 1, "")
	case *logbook.Refused:
		e.act(en.Entry, en.Store, en.Stack, 0, en.Code)
	default:
		return false
	}
	return len(e.p.fields) > 0
}

// tag puts name in a tag, or elsewhere when the configuration does not have it.
func (e *Encoder) tag(to *string, name string) {
	if name == "" {
		return
	}
	if c := e.place.names[name]; c != "" {
		*to = c
		return
	}
	e.p.elsewhere = append(e.p.elsewhere, name)
}

// at tags store, stack and line; the store of a stack is known from the configuration.
func (e *Encoder) at(store, stack, line string) {
	if store == "" {
		store = e.place.storeOf[stack]
	}
	e.tag(&e.p.tags.store, store)
	e.tag(&e.p.tags.stack, stack)
	e.tag(&e.p.tags.line, line)
}

// code returns the place of word among words, from 0; -1 when it is none of them.
func code(word string, words ...string) int64 {
	for i, w := range words {
		if w == word {
			return int64(i)
		}
	}
	return -1
}

// reading makes the point of a reading; which field holds the value says whether it counts.
func (e *Encoder) reading(r *logbook.Reading, second bool) {
	p := &e.p
	what, known := e.place.channels[r.Channel]
	switch {
	case !known:
		p.measurement, p.elsewhere = "reading_unknown", append(p.elsewhere, r.Channel)
	case second:
		p.measurement, p.tags = "reading_second", what.tags
	default:
		p.measurement, p.tags, p.apart = "reading", what.tags, 0
	}
	p.tags.unit = clean(r.Unit)
	switch {
	case r.Fault != "":
		p.float("faulty", r.Value)
		p.text("fault", r.Fault)
	case r.Retained && r.Stamped:
		p.float("retained", r.Value)
	default:
		p.float("value", r.Value)
		if what.contact != nil {
			p.whole("active", number(what.contact.On(r.Value)))
		}
	}
}

// number returns 1 for true and 0 for false.
func number(b bool) int64 {
	if b {
		return 1
	}
	return 0
}

// handReading makes the point of what a person measured.
func (e *Encoder) handReading(h *logbook.HandReading) {
	e.p.measurement = "hand_reading"
	e.at(h.Store, h.Stack, h.Line)
	e.tag(&e.p.tags.point, h.Point)
	e.p.tags.unit = clean(h.Unit)
	e.p.float("value", h.Value)
	if h.DetectionLimit != nil {
		e.p.float("detection_limit", *h.DetectionLimit)
	}
	e.p.text("method", h.Method)
	e.p.text("where", h.Where)
}

// instrument makes the point of an instrument that began or ceased to answer.
func (e *Encoder) instrument(s *logbook.InstrumentState) {
	e.p.measurement = "instrument"
	e.tag(&e.p.tags.instrument, s.Instrument)
	if e.p.tags.instrument != "" {
		e.p.tags.address = clean(s.Unit)
	}
	e.p.whole("ok", number(s.OK))
}

// forecast makes the point of a forecast.
func (e *Encoder) forecast(f *logbook.Forecast) {
	e.p.measurement = "forecast"
	e.at("", f.Stack, f.Line)
	e.p.float("p05_ppm", float64(f.PPM.P05))
	e.p.float("p50_ppm", float64(f.PPM.P50))
	e.p.float("p95_ppm", float64(f.PPM.P95))
	e.p.float("chance_met", float64(f.ChanceMet))
	e.p.whole("for_ms", int64(f.For)/1000)
}

// gate makes the point of a gate as it changed.
func (e *Encoder) gate(g *logbook.Gate) {
	e.p.measurement = "gate"
	e.at(g.Store, "", "")
	e.p.text("state", g.State)
	// Whatever is not known to be otherwise is shut. A server that makes a number
	// of the string state makes a 0 of it, and one that keeps the greatest of the
	// values in one millisecond keeps the one that is most shut.
	e.p.whole("state_code", -max(0, code(g.State, logbook.GateShut, logbook.GateAiring, logbook.GateCheckOwed, logbook.GateCleared)))
	e.p.float("limit_ppm", float64(g.LimitPPM))
	e.p.whole("reasons", int64(len(g.Reasons)))
	codes := make([]string, len(g.Reasons))
	for i, r := range g.Reasons {
		codes[i] = r.Code
	}
	e.p.text("why", strings.Join(codes, " "))
	if len(g.Read) > 0 {
		upper := g.Read[0].Upper
		for _, r := range g.Read {
			upper = max(upper, r.Upper)
		}
		e.p.float("upper_ppm", float64(upper))
	}
}

// alarm makes the point of an alarm as it was raised, acknowledged or cleared.
func (e *Encoder) alarm(a *logbook.Alarm) {
	e.p.measurement = "alarm"
	e.p.tags.alarm, e.p.tags.followUp = clean(a.Alarm), clean(a.FollowUp())
	e.at(a.Store, a.Stack, a.Line)
	e.tag(&e.p.tags.point, a.Point)
	e.tag(&e.p.tags.channel, a.Channel)
	e.p.text("state", a.State)
	e.p.whole("state_code", code(a.State, logbook.AlarmCleared, logbook.AlarmSeen, logbook.AlarmRaised))
	e.p.text("priority", a.Priority)
	e.p.whole("priority_code", code(a.Priority, "", logbook.PriorityLow, logbook.PriorityMedium, logbook.PriorityHigh))
	e.p.text("detail", a.Code)
	if a.Owed != nil {
		e.p.text("treatment", a.Owed.Treatment)
	}
	e.p.float("value", float64(a.Value))
	e.p.float("threshold", float64(a.Limit))
	if a.Onset != 0 {
		e.p.whole("onset_ms", int64(a.Onset)/1000)
	}
}

// phase makes the point of where a treatment stands.
func (e *Encoder) phase(f *logbook.Phase) {
	e.p.measurement = "phase"
	e.at("", f.Stack, "")
	e.p.text("phase", f.Phase)
	e.p.whole("phase_code", code(f.Phase, logbook.PhaseDosing, logbook.PhaseExposure, logbook.PhaseAiring, logbook.PhaseWithholding, logbook.PhaseClosed))
	e.p.text("verdict", f.Verdict)
	e.p.whole("verdict_code", code(f.Verdict, logbook.VerdictProvisional, logbook.VerdictHeld, logbook.VerdictFailed, logbook.VerdictAbandoned))
	e.p.text("treatment", f.Treatment)
}

// endLevel makes the point of one line judged against the end level.
func (e *Encoder) endLevel(l *logbook.EndLevel) {
	e.p.measurement = "end_level"
	e.p.tags.moment = clean(l.Moment)
	e.at("", l.Stack, l.Line)
	e.p.text("shown", l.Shown)
	e.p.whole("shown_code", code(l.Shown, logbook.ShownNotMet, logbook.ShownMet))
	if l.Shown != logbook.NotShown {
		e.p.float("ppm", float64(l.PPM))
	}
	e.p.float("end_level_ppm", float64(l.EndPPM))
	e.p.flag("by_hand", l.ByHand)
	e.p.text("treatment", l.Treatment)
}

// finding makes the point of a finding.
func (e *Encoder) finding(f *logbook.Finding) {
	e.p.measurement = "finding"
	e.p.tags.code = clean(f.Code)
	e.at(f.Store, f.Stack, f.Line)
	e.tag(&e.p.tags.channel, f.Channel)
	e.p.float("value", float64(f.Value))
	e.p.float("threshold", float64(f.Limit))
}

// act is the verdict on what a person did.
func (e *Encoder) act(kind logbook.Kind, store, stack string, accepted int64, why string) {
	e.p.measurement = "act"
	e.p.tags.kind = clean(string(kind))
	e.at(store, stack, "")
	e.p.whole("accepted", accepted)
	e.p.text("code", why)
}
