package rules

import (
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"sort"
	"strings"
	"time"

	"undersheet/logbook"
	"undersheet/rules/gate"
	"undersheet/rules/leak"
	"undersheet/rules/reading"
)

// Names of alarms.
const (
	alarmLeak         = "leak"
	alarmAtRisk       = "end-level-at-risk"
	alarmMissed       = "end-level-missed"
	alarmUneven       = "uneven-gas"
	alarmAirGas       = "air-gas"
	alarmRebound      = "gate-rebound"
	alarmLineSilent   = "line-silent"
	alarmLineOff      = "line-off"
	alarmLineBlocked  = "line-blocked"
	alarmFault        = "instrument-fault"
	alarmInstrument   = "instrument-silent"
	alarmPointSilent  = "point-silent"
	alarmFire         = "fire-risk"
	alarmTooCold      = "too-cold"
	alarmMaskedLong   = "masked-entry-overdue"
	alarmFollowUpDue  = "follow-up-due"
	defaultMaskedLong = 20 * time.Minute // common practice: a masked entry is over within 20 min
)

// Alarm is the life of one alarm: a condition that begins, lasts and ends.
type Alarm struct {
	Raised bool
	From   logbook.Time // since when the condition holds; 0 = it does not
	Until  logbook.Time // since when it no longer holds, while raised
	Since  logbook.Time // when it was raised
	Record logbook.Alarm
}

// raised reports whether that alarm stands.
func (s *State) raised(of *logbook.Alarm) bool {
	a := s.Alarms[keyOf(of)]
	return a != nil && a.Raised
}

// condition is what an alarm is raised for, as it stands now.
type condition struct {
	of       logbook.Alarm // names, place, priority, code, value, limit, onset
	active   bool
	onDelay  time.Duration // it must hold this long first
	offDelay time.Duration // it must be gone this long first
}

// AlarmKey names what an alarm is of: its code may change while it lasts.
type AlarmKey struct {
	Alarm, Store, Stack, Line, Point, Channel string
}

// keyOf returns the key of an alarm.
func keyOf(a *logbook.Alarm) AlarmKey {
	return AlarmKey{a.Alarm, a.Store, a.Stack, a.Line, a.Point, a.Channel}
}

// parts lists the names of a key in their order.
func (k *AlarmKey) parts() [6]*string {
	return [...]*string{&k.Alarm, &k.Store, &k.Stack, &k.Line, &k.Point, &k.Channel}
}

// MarshalText writes the key as a JSON list, so that it can be a key in JSON.
func (k AlarmKey) MarshalText() ([]byte, error) { return json.Marshal(k.parts()) }

// UnmarshalText reads what MarshalText wrote.
func (k *AlarmKey) UnmarshalText(b []byte) error {
	parts := k.parts()
	if err := json.Unmarshal(b, &parts); err != nil {
		return fmt.Errorf("read the key of an alarm %q: %w", b, err)
	}
	return nil
}

// compare orders keys by their parts.
func (k AlarmKey) compare(o AlarmKey) int {
	mine, theirs := k.parts(), o.parts()
	for i := range mine {
		if c := strings.Compare(*mine[i], *theirs[i]); c != 0 {
			return c
		}
	}
	return 0
}

// alarmKeys lists the alarms that are raised or about to be, in order.
func (s *State) alarmKeys() []AlarmKey {
	return slices.SortedFunc(maps.Keys(s.Alarms), AlarmKey.compare)
}

// alarm lets a condition raise or clear its alarm.
func (s *State) alarm(c condition) {
	key := keyOf(&c.of)
	a := s.Alarms[key]
	if a == nil {
		if !c.active {
			return
		}
		a = &Alarm{}
		s.Alarms[key] = a
	}
	if !c.active {
		s.alarmGone(a, c, key)
		return
	}
	a.Until = 0
	if a.From == 0 {
		a.From = s.At
	}
	if a.Raised {
		a.Record.Value, a.Record.Limit = c.of.Value, c.of.Limit
		return
	}
	if s.At.Sub(a.From) < c.onDelay {
		return
	}
	a.Raised, a.Since, a.Record = true, s.At, c.of
	if a.Record.Onset == 0 {
		a.Record.Onset = a.From
	}
	s.putAlarm(a, logbook.AlarmRaised)
}

// alarmGone clears an alarm whose condition is gone for long enough.
func (s *State) alarmGone(a *Alarm, c condition, key AlarmKey) {
	if !a.Raised {
		delete(s.Alarms, key)
		return
	}
	if a.Until == 0 {
		a.Until = s.At
	}
	if s.At.Sub(a.Until) < c.offDelay {
		return
	}
	s.putAlarm(a, logbook.AlarmCleared)
	delete(s.Alarms, key)
}

func (s *State) putAlarm(a *Alarm, state string) {
	r := a.Record
	r.State = state
	s.put(&r, logbook.KindAlarm)
	if k := s.Stacks[r.Stack]; k != nil && r.Stack != "" {
		k.event(s.At, logbook.Kind(r.Alarm), state+" "+r.Line)
	}
}

// endAlarms clears those alarms of a stack: its exposure is over.
func (s *State) endAlarms(stack string, names ...string) {
	var over []AlarmKey
	for key, a := range s.Alarms {
		if a.Record.Stack == stack && slices.Contains(names, a.Record.Alarm) {
			over = append(over, key)
		}
	}
	slices.SortFunc(over, AlarmKey.compare)
	for _, key := range over {
		s.alarm(condition{of: s.Alarms[key].Record})
		delete(s.Alarms, key)
	}
}

// underSheet are the alarms that have no meaning once the sheet is off.
var underSheet = []string{alarmLeak, alarmAtRisk, alarmUneven, alarmLineSilent, alarmLineOff, alarmLineBlocked, alarmFire, alarmTooCold}

// leakEvents turns the leak test's events into alarms.
func (s *State) leakEvents(k *Stack, t *treatmentOf, events []leak.Event) {
	for _, e := range events {
		of := logbook.Alarm{Stack: t.Stack, Store: k.Store, Onset: t.Started.Add(hoursOf(e.Onset).Round(time.Second)), Priority: logbook.PriorityHigh,
			Value: logbook.Number(e.LossAfter), Limit: logbook.Number(e.LossBefore)}
		if e.Line >= 0 && e.Line < len(t.Lines) {
			of.Line = t.Lines[e.Line].Name
		}
		switch e.Kind {
		case leak.Leak:
			of.Alarm = alarmLeak
			changed := e.Onset
			if e.Cleared {
				changed = s.At.Hours(t.Started)
			}
			k.Gas.Fit.LossChanged(changed)
		case leak.LineOff:
			of.Alarm, of.Priority = alarmLineOff, logbook.PriorityMedium
		case leak.Blocked:
			of.Alarm, of.Priority = alarmLineBlocked, logbook.PriorityMedium
		default:
			continue
		}
		s.alarm(condition{of: of, active: !e.Cleared})
	}
}

// storeAlarms looks at what the air of a store asks of people.
func (s *State) storeAlarms(name string, in *gate.Store, d gate.Decision) {
	st := s.store(name)
	if st.Rebound && !gasReasons(d) {
		st.Rebound = false
	}
	s.alarm(condition{of: logbook.Alarm{Alarm: alarmRebound, Store: name, Priority: logbook.PriorityHigh,
		Value: worst(in), Limit: logbook.Number(in.Limit)}, active: st.Rebound})
	busy := false
	for _, k := range in.Stacks {
		busy = busy || k.Phase == logbook.PhaseDosing || k.Phase == logbook.PhaseExposure || k.Phase == logbook.PhaseAiring
	}
	site, _ := s.siteStore(name)
	for _, p := range site.Air {
		s.pointAlarms(name, p, in.Limit, busy, st.Rebound)
	}
	s.maskedAlarms(name, st)
}

// gasReasons reports whether gas in air still stands against the gate.
func gasReasons(d gate.Decision) bool {
	for _, r := range d.Reasons {
		switch r.Code {
		case gate.AboveLimit, gate.NotBelowLong, gate.HandAbove, gate.OverRange:
			return true
		}
	}
	return false
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
	of := logbook.Alarm{Store: store, Point: p.Name, Channel: p.Channel, Priority: logbook.PriorityHigh}
	inside := p.Where == "" || p.Where == logbook.WhereInside
	gas := of
	gas.Alarm, gas.Code, gas.Value, gas.Limit = alarmAirGas, p.Where, logbook.Number(c.Last.Value), logbook.Number(limit)
	silentFor, silent := c.SilentFor(ch, s.At)
	found := c.Last.Value >= limit
	if fresh := c.Newest != 0 && !silent && c.Last.Counts; !fresh {
		found = s.raised(&gas) // what nobody reads any more is not gone
	}
	s.alarm(condition{of: gas, active: found && !(inside && (busy || rebound)),
		onDelay: 2 * time.Minute, offDelay: 15 * time.Minute})
	of.Alarm, of.Priority, of.Value = alarmPointSilent, logbook.PriorityLow, logbook.Number(silentFor.Minutes())
	if c.Newest == 0 {
		of.Value = 0
	}
	s.alarm(condition{of: of, active: silent && busy && !s.down(p.Channel), onDelay: 5 * time.Minute})
	s.faultAlarm(c, logbook.Alarm{Store: store, Point: p.Name, Channel: p.Channel})
}

// faultAlarm says that an instrument's readings are not to be trusted.
func (s *State) faultAlarm(c *Channel, of logbook.Alarm) {
	is := c.Last.State
	of.Alarm, of.Priority, of.Code, of.Value = alarmFault, logbook.PriorityMedium, is, logbook.Number(c.Last.Raw)
	bad := is == reading.Fault || is == reading.BelowZero || is == reading.Stuck
	s.alarm(condition{of: of, active: bad, onDelay: 10 * time.Minute, offDelay: 10 * time.Minute})
}

// maskedAlarms counts how long somebody is inside with breathing protection.
func (s *State) maskedAlarms(name string, st *Store) {
	most := defaultMaskedLong
	if d := s.Site.Settings.MaskedEntryMax.Std(); d > 0 {
		most = d
	}
	of := logbook.Alarm{Alarm: alarmMaskedLong, Store: name, Priority: logbook.PriorityHigh, Limit: logbook.Number(most.Minutes())}
	over := false
	for _, m := range st.Inside {
		if d := s.At.Sub(m.Since); d > most && !over {
			over, of.Value, of.Onset = true, logbook.Number(d.Minutes()), m.Since.Add(most)
		}
	}
	s.alarm(condition{of: of, active: over})
}

// passInstruments raises an alarm for each device that does not answer.
func (s *State) passInstruments() {
	for _, key := range sorted(s.Instruments) {
		i := s.Instruments[key]
		of := logbook.Alarm{Alarm: alarmInstrument, Channel: i.Name, Code: i.Unit, Onset: i.Since, Priority: logbook.PriorityMedium,
			Value: logbook.Number(s.At.Sub(i.Since).Minutes())}
		if i.Unit != "" {
			of.Channel += ", " + i.Unit
		}
		s.alarm(condition{of: of, active: !i.OK && s.At.Sub(i.Since) >= 5*time.Minute, offDelay: time.Minute})
	}
}

// down reports whether the instrument that feeds a channel is known not to
// answer: its own alarm then speaks for its lines.
func (s *State) down(channel string) bool {
	for _, in := range s.Site.Instruments {
		for unit, feeds := range channelsOf(in) {
			for _, c := range feeds {
				if i := s.Instruments[in.Name+"\x00"+unit]; c == channel && i != nil && !i.OK {
					return true
				}
			}
		}
		if i := s.Instruments[in.Name+"\x00"]; i != nil && !i.OK && feedsAny(in, channel) {
			return true
		}
	}
	return false
}

func sorted[V any](m map[string]V) []string {
	keys := make([]string, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	sort.Strings(keys)
	return keys
}
