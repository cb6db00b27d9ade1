package rules

import (
	"undersheet/logbook"
	"undersheet/rules/exposure"
	"undersheet/rules/gas"
	"undersheet/rules/gate"
	"undersheet/rules/reading"
	"undersheet/rules/wiring"
)

// read judges a reading and hands it to the line, air point or sensor that its channel reads.
func (s *State) read(e *logbook.Reading) {
	if s.Site == nil {
		return
	}
	ch, known := s.Site.Channels[e.Channel]
	if !known {
		s.findOnce(logbook.Finding{Code: "unknown-channel", Channel: e.Channel}, e.Channel)
		return
	}
	c := s.channel(e.Channel)
	was, newest := c.Last.State, c.Newest
	j := c.Judge(ch, e, s.At)
	s.readClock(e.Channel, c, newest, &j)
	f, fed := s.wires.Feed(e.Channel)
	if j.State == reading.OverRange {
		c.Over(j.At)
	}
	s.flag(c, j, e.Channel, f)
	s.stir(ch, c, f, was)
	if c.Newest > newest {
		c.Unturned = 0
	}
	if n, ok := s.cameNow(ch, c, e, &j); ok && fed {
		s.readNow(ch, c, f, n)
	}
	switch {
	case !fed:
	case f.Signal == wiring.Grain:
		if v := j.Value; j.Counts && v >= gas.ColdestC && v <= gas.HottestC {
			s.stack(f.Stack).TempC = &v
		}
	case f.Signal != "":
		s.readSignal(f, j, e.Fault == "")
	case f.Line >= 0:
		s.readLine(ch, c, f, j)
	case f.Name != "":
		s.readAir(ch, c, f, j)
	}
}

func (s *State) channel(name string) *Channel {
	c := s.Channels[name]
	if c == nil {
		c = &Channel{}
		s.Channels[name] = c
	}
	return c
}

// flag notes a reading that does not count, or not fully: once for each run of readings that
// have the same fault.
func (s *State) flag(c *Channel, j reading.Judged, name string, f wiring.Feed) {
	switch j.State {
	case reading.Future, reading.Late, reading.SecondValue, reading.UnitMismatch, reading.Fault, reading.OverRange, reading.Stuck, reading.BelowZero:
		if c.Flag == j.State || s.stale(name, &j) {
			return
		}
		of := logbook.Finding{Code: j.State, Channel: name, Store: f.Store, Stack: f.Stack, About: f.Name, Value: logbook.Number(j.Raw)}
		if f.Line >= 0 {
			of.Line, of.About = f.Name, ""
		}
		c.Flag = j.State
		s.find(of)
	case reading.OK, reading.BelowDetection:
		c.Flag = ""
	}
}

// readLine takes a judged reading under a sheet. While the pump is off, a line reads what
// stood in its tube: such a reading is looked at for fire and else not used, so that the
// concentration-time product has a gap. A line that is off, blocked or drifting has a gap,
// too, but the leak test still gets its readings, to see when it is put right. Until then a
// hand reading has to show its end level.
func (s *State) readLine(ch logbook.Channel, c *Channel, f wiring.Feed, j reading.Judged) {
	k := s.stack(f.Stack)
	t := k.Treatment
	if t == nil || !j.Counts || t.GasPhase() == logbook.PhaseClosed || !reading.IsGas(ch) {
		return
	}
	line, ok := t.LineOf(f.Channel)
	if !ok {
		return // the line came after the treatment had begun
	}
	if t.Due(s.At) {
		s.passStack(f.Stack, k) // judge the end level before newer readings push out those that it rests on
	}
	exposed := t.Phase == logbook.PhaseExposure && j.At >= t.Started
	if s.drawn(f.Channel) == PumpOff {
		if exposed {
			s.fireRisk(k, t, line, j, false)
		}
		return
	}
	ppm := j.Value
	if j.State == reading.BelowDetection {
		ppm = 0
	}
	if exposed && j.State == reading.OverRange {
		t.Lines[line].CTP.MarkOver(j.At)
	}
	if exposed && k.Gas != nil && j.Fits {
		if j.State != reading.Late {
			slot := k.Gas.Bin.Slot
			s.leakEvents(k, t, k.Gas.CloseBin(j.At.Hours(t.Started)))
			if k.Gas.Bin.Slot != slot {
				k.Due = 0 // the whole bin has shown how even the gas is
			}
		}
		k.Gas.Observe(t, line, j)
	}
	if !exposed || k.Gas == nil || !k.Gas.Leak.Out(line) {
		t.Read(line, j.At, ppm, c.Bridge(ch))
	}
	if !exposed {
		return
	}
	s.fireRisk(k, t, line, j, false)
}

// readAir takes a judged reading in air, and looks at what it asks of people.
func (s *State) readAir(ch logbook.Channel, c *Channel, f wiring.Feed, j reading.Judged) {
	if !reading.IsGas(ch) {
		return
	}
	st := s.store(f.Store)
	gap := c.AllowedGap(ch)
	j.At = min(j.At, s.At) // an instrument's clock that runs ahead must not make half an hour shorter
	if f.Where == logbook.WhereInside || f.Where == logbook.WhereDoor {
		t := st.Tracks[f.Name]
		if t == nil {
			t = &gate.Track{}
			st.Tracks[f.Name] = t
		}
		if s.shows(f.Channel, &j) {
			t.Add(j, gap)
		}
	}
	st.Inside.Breathe(f.Where, &j)
	if j.Counts && j.State != reading.Late && s.drawn(f.Channel) != PumpOff {
		a := st.Air[f.Name]
		if a == nil {
			a = &exposure.Air{}
			st.Air[f.Name] = a
		}
		a.Add(j.At, max(j.Value, 0), gap)
	}
	s.passStore(f.Store) // at once: others of its batch have the same received
}

// shows reports whether the gate is to see a reading in air. One that was taken while its
// pump was off, or not known to run, can count against opening the gate but never for it: the
// gate sees it, as not live, only if it is at or above the limit, or does not count.
func (s *State) shows(channel string, j *reading.Judged) bool {
	if s.trusted(channel, j.At) {
		return true
	}
	j.Live = false
	limit, _ := exposure.Limit(s.limitSets(), s.At)
	return !j.Counts || !(j.Upper < limit)
}
