package rules

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"undersheet/logbook"
	"undersheet/rules/alarm"
	"undersheet/rules/wiring"
)

// One cause is one message: mains that are lost stop pumps and instruments, a pump
// that is off leaves its instrument without a sample, and an instrument that does
// not answer, or whose clock runs ahead, silences its lines. While the alarm of a cause stands or is about to,
// what follows from it is named there and not raised. What stood before its cause
// remains, and so does what began so long after mains were lost that it does not hang
// on them: in a long outage a generator runs, or people watch by batteries.

// powerKey names the alarm of mains that are lost.
func powerKey(m logbook.Contact) AlarmKey {
	return AlarmKey{Alarm: alarm.PowerLost, Point: m.Name, Channel: m.Channel}
}

// pumpKey names the alarm of a pump that is off.
func pumpKey(p *logbook.Pump) AlarmKey {
	return AlarmKey{Alarm: alarm.PumpOff, Point: p.Name, Channel: p.Channel}
}

// instrumentKey names the alarm of an instrument, or of one unit on its line.
func instrumentKey(name, unit string) AlarmKey {
	if unit != "" {
		name += ", " + unit
	}
	return AlarmKey{Alarm: alarm.Instrument, Channel: name}
}

// cause says what may speak for an alarm; the zero cause is nothing.
type cause struct {
	of         string // alarm.PowerLost, alarm.PumpOff or alarm.Instrument: that and all that stand behind it
	began      logbook.Time
	channel    string // whose samples or readings fail
	name, unit string // of an instrument that fails
}

// speaker returns the alarm of a cause, if it stands or is about to be raised; else nil.
func (s *State) speaker(c cause) *Alarm {
	switch {
	case c.of == alarm.PowerLost:
		return s.power(c.began)
	case c.of == alarm.PumpOff:
		return s.pumping(c.channel)
	case c.of == alarm.Instrument && c.name != "":
		return s.muting(c)
	case c.of == alarm.Instrument:
		return s.silencing(c)
	}
	return nil
}

// mainsFor bounds what is put down to lost mains: whatever stops within this time may have
// stopped for want of them, its batteries empty. Common practice.
const mainsFor = 2 * time.Hour

// power returns the alarm of lost mains, where it explains what began at a time; else nil.
func (s *State) power(began logbook.Time) *Alarm {
	for _, m := range s.Site.Mains {
		if a := s.Alarms[powerKey(m)]; a != nil && (!a.Raised || began.Sub(a.Record.Onset) <= mainsFor) {
			return a
		}
	}
	return nil
}

// pumping returns the alarm of the pump that draws the samples of a channel; else nil.
func (s *State) pumping(channel string) *Alarm {
	if p := s.wires.Pump(channel); p != nil {
		return s.Alarms[pumpKey(p)]
	}
	return nil
}

// silencing is the cause of a channel that says nothing: mains, its pump, a clock that
// runs ahead, or an instrument that does not answer.
func (s *State) silencing(c cause) *Alarm {
	if a := s.power(c.began); a != nil {
		return a
	}
	channel := c.channel
	if a := s.pumping(channel); a != nil {
		return a
	}
	if s.aheadBy(channel) > 0 {
		return s.Alarms[s.clockKey(channel)]
	}
	for _, in := range s.Site.Instruments {
		units := in.Channels()
		for _, unit := range slices.Sorted(maps.Keys(units)) {
			if a := s.Alarms[instrumentKey(in.Name, unit)]; a != nil && slices.Contains(units[unit], channel) {
				return a
			}
		}
		if a := s.Alarms[instrumentKey(in.Name, "")]; a != nil && in.Gives(channel) {
			return a
		}
	}
	return nil
}

// muting is the cause of an instrument that does not answer: mains, or the pump
// that draws for all that it reads.
func (s *State) muting(c cause) *Alarm {
	if a := s.power(c.began); a != nil {
		return a
	}
	var by *Alarm
	for _, channel := range s.wires.FedBy(c.name, c.unit) {
		a := s.pumping(channel)
		if a == nil || by != nil && a != by {
			return nil
		}
		by = a
	}
	return by
}

// keepAlso bounds how many consequences the record of one alarm names.
const keepAlso = 40

// speak adds what follows from an alarm to its record, in order, each once. A name without
// a place says what may follow; it is taken out when the same comes with its place.
func (a *Alarm) speak(of ...string) {
	for _, name := range of {
		also := a.Record.Also
		if bare, _, placed := strings.Cut(name, " "); placed {
			also = slices.DeleteFunc(also, func(n string) bool { return n == bare })
		}
		if at, found := slices.BinarySearch(also, name); !found && len(also) < keepAlso {
			also = slices.Insert(also, at, name)
		}
		a.Record.Also = also
	}
}

// consequence names an alarm in the list of its cause: its name, and its place.
func consequence(of *logbook.Alarm) string {
	switch {
	case of.Stack != "":
		return strings.TrimSpace(fmt.Sprintf("%s %s %s", of.Alarm, of.Stack, of.Line))
	case of.Point != "":
		return of.Alarm + strings.TrimRight(" "+of.Store, " ") + " " + of.Point
	}
	return of.Alarm + " " + of.Channel
}

// silenced lists the alarms, as consequence names them, that would be raised if these
// channels fell silent now.
func (s *State) silenced(channels []string) []string {
	var names []string
	for _, channel := range channels {
		f, fed := s.wires.Feed(channel)
		of := logbook.Alarm{Store: f.Store, Stack: f.Stack, Channel: channel}
		switch {
		case !fed || f.Signal == wiring.Grain:
			continue
		case f.Line >= 0:
			of.Alarm, of.Line = alarm.LineSilent, f.Name
		case f.Signal != "":
			of.Alarm, of.Point = alarm.SensorSilent, f.Name
		default:
			of.Alarm, of.Point = alarm.PointSilent, f.Name
		}
		if k := alarm.Of(s.Site, of.Alarm); s.can(k.During, &of) {
			names = append(names, consequence(&of))
		}
	}
	return names
}
