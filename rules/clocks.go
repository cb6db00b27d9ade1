package rules

import (
	"maps"
	"math"
	"slices"
	"time"

	"undersheet/logbook"
	"undersheet/rules/alarm"
	"undersheet/rules/reading"
)

// A source whose clock runs ahead is heard and not used. Its channels are silent to
// every rule, but people are told of the clock, once for all that it sends, and not that
// nothing was read.

// Ahead is what the readings of a channel show of a clock that runs ahead of now.
type Ahead struct {
	By    time.Duration // of the newest of them
	At    logbook.Time  // now, when it came
	Since logbook.Time  // now, when the first of them came
}

// readClock notes what a judged reading shows of its channel's clock: one in its turn
// shows that it is right. newest is the channel's newest reading before it.
func (s *State) readClock(name string, c *Channel, newest logbook.Time, j *reading.Judged) {
	known, ahead := s.Ahead[name]
	switch {
	case j.State == reading.Future:
		if s.Ahead == nil {
			s.Ahead = map[string]Ahead{}
		}
		if !ahead {
			known.Since = s.At
		}
		known.By, known.At = j.At.Sub(s.At), s.At
		s.Ahead[name] = known
		s.Due = 0
	case ahead && c.Newest > newest:
		delete(s.Ahead, name)
		s.Due = 0
	}
}

// Behind is by how much the machine's clock stood before now when that was found. Until it has
// passed that moment now stands still, and with it everything that waits for time to pass:
// silence, delays of alarms, reminders.
type Behind struct {
	By time.Duration
	At logbook.Time // now, then
}

// behindAgain is by how much what the machine's clock is behind must differ from what people were
// told last, for them to be told again: it is said once a day.
const behindAgain = 12 * time.Hour

// behindFor is by how much the machine's clock may stand before now without people being told:
// a time server sets it back by less. Common practice.
const behindFor = reading.FutureAhead

// noteBehind notes whether the machine's clock stands before now, as people are told.
func (s *State) noteBehind(wall logbook.Time) {
	by := s.At.Sub(wall)
	told := s.Behind.At == s.At && (by-s.Behind.By).Abs() < behindAgain
	if by > behindFor && !told {
		s.Behind = Behind{by, s.At}
	}
}

// passBehind looks at a machine's clock that stands before now: as soon as now moves on, it has
// caught up.
func (s *State) passBehind() {
	if s.Behind.At == 0 {
		return
	}
	stands := s.At == s.Behind.At
	of := logbook.Alarm{Alarm: alarm.ClockBehind, Value: logbook.Number(math.Round(s.Behind.By.Minutes()))}
	told := s.Alarms[keyOf(&of)]
	s.alarm(condition{of: of, active: stands, anew: told != nil && told.Record.Value != of.Value})
	if s.again(s.Behind.At + 1); !stands {
		s.Behind = Behind{}
	}
}

// aheadBy is by how much the clock behind a channel runs ahead; 0 = it does not.
func (s *State) aheadBy(channel string) time.Duration { return s.Ahead[channel].By }

// clockKey names the alarm of the clock behind a channel: that of the instrument that
// feeds it, else its own.
func (s *State) clockKey(channel string) AlarmKey {
	for _, in := range s.Site.Instruments {
		if in.Gives(channel) {
			channel = in.Name
			break
		}
	}
	return AlarmKey{Alarm: alarm.Clock, Channel: channel}
}

// passClocks looks at clocks that run ahead. Who sends nothing more is silent, whatever
// its clock shows.
func (s *State) passClocks() {
	sources := map[AlarmKey][]string{}
	for _, name := range slices.Sorted(maps.Keys(s.Ahead)) {
		until := s.Ahead[name].At.Add(max(silentLine, s.channel(name).Patience(s.Site.Channels[name])))
		if s.At > until {
			delete(s.Ahead, name)
			s.stirAll() // a gate said so
			continue
		}
		s.again(until + 1)
		key := s.clockKey(name)
		sources[key] = append(sources[key], name)
	}
	for _, key := range s.alarmKeys() {
		if key.Alarm == alarm.Clock && sources[key] == nil {
			s.alarm(condition{of: s.Alarms[key].Record})
		}
	}
	for _, key := range slices.SortedFunc(maps.Keys(sources), AlarmKey.compare) {
		channels, most := sources[key], time.Duration(0)
		for _, name := range channels {
			most = max(most, s.aheadBy(name))
		}
		another := s.anotherClock(key, channels)
		s.alarm(condition{of: logbook.Alarm{Alarm: alarm.Clock, Channel: key.Channel, Value: logbook.Number(math.Round(most.Minutes()))}, active: true,
			anew: another, sure: another, also: func() []string { return s.silenced(channels) }})
	}
}

// anotherClock reports whether a channel has run ahead for long enough by a clock of its own
// since people were told of one behind the same broker: they know nothing of this one.
func (s *State) anotherClock(key AlarmKey, channels []string) bool {
	a, on := s.Alarms[key], alarm.Of(s.Site, alarm.Clock).On
	if a == nil || !a.Raised || !slices.ContainsFunc(s.Site.Instruments, func(in logbook.Instrument) bool { return in.Name == key.Channel && in.MQTT != nil }) {
		return false
	}
	return slices.ContainsFunc(channels, func(name string) bool {
		since := s.Ahead[name].Since
		s.again(since.Add(on))
		return since > a.Since && s.At.Sub(since) >= on
	})
}
