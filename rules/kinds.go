package rules

import (
	"slices"
	"time"

	"undersheet/logbook"
)

// Phases of a stack in which a condition can be an alarm. What needs no response by people is
// no alarm (IEC 62682), so a silent line, say, is none after the exposure.
var (
	inExposure   = []string{logbook.PhaseExposure}
	beforeAired  = []string{logbook.PhaseExposure, logbook.PhaseAiring}
	atWork       = []string{logbook.PhaseDosing, logbook.PhaseExposure, logbook.PhaseAiring}
	untilHandled = []string{logbook.PhaseDosing, logbook.PhaseExposure, logbook.PhaseAiring, logbook.PhaseWithholding}
)

// kind holds what is fixed beforehand for all alarms of one name.
type kind struct {
	priority string        // unless its condition says otherwise
	on, off  time.Duration // how long the condition must hold before the alarm is raised, and be gone before it is cleared; a site may change them
	deadband float64       // fraction of the limit by which a value must come back before the alarm is over; a site may change it
	during   []string      // a stack at its place must be in one of these phases; nil = at any time
	fixed    bool          // its delays are those of the test behind it: a site cannot change them
	life     bool          // lives hang on it: a site can only make it more sensitive
	wake     func(*logbook.Alarm) bool
}

// kinds is the one place where delays, deadbands, priorities, phases and waking of
// alarms are settled. Where no source is named a figure is common practice of
// process alarms; the figures of the tests behind leak, line-off, line-blocked,
// lines-swapped, instrument-drift and the chance of the end level stand with those tests.
//
// People are woken only where waiting for daylight costs lives or the treatment:
// gas at a door, an office or a dwelling; a door opened under gas; fire; a chance
// that collapses before first light; and somebody who is not out again. Gas that
// comes back inside a cleared store wakes nobody, for by night nobody is in it; at
// its door it is air-gas as well.
var kinds = map[string]kind{
	AlarmLeak:         {priority: logbook.PriorityHigh, during: inExposure, fixed: true},
	AlarmLineOff:      {priority: logbook.PriorityMedium, during: inExposure, fixed: true},
	AlarmLineBlocked:  {priority: logbook.PriorityMedium, during: inExposure, fixed: true},
	AlarmSwapped:      {priority: logbook.PriorityMedium, during: inExposure, fixed: true},
	AlarmDrift:        {priority: logbook.PriorityMedium, during: inExposure, fixed: true},
	AlarmAtRisk:       {priority: logbook.PriorityHigh, during: inExposure, fixed: true, wake: ofCode(codeCollapsing)}, // its own deadband: raised under 0.5, over at 0.7
	AlarmMissed:       {priority: logbook.PriorityHigh, during: inExposure, fixed: true},
	AlarmFollowUpDue:  {priority: logbook.PriorityMedium, fixed: true}, // low ahead of its time, high when overdue
	AlarmResistance:   {priority: logbook.PriorityHigh, fixed: true},
	AlarmLiveInsects:  {priority: logbook.PriorityHigh, fixed: true},
	AlarmUneven:       {priority: logbook.PriorityMedium, on: 2 * time.Hour, off: 2 * time.Hour, deadband: 0.05, during: inExposure},
	AlarmUntold:       {priority: logbook.PriorityMedium, on: 90 * time.Minute, off: 24 * time.Hour, during: inExposure, fixed: true}, // it is looked at once an hour, and must show twice
	AlarmTooCold:      {priority: logbook.PriorityMedium, off: time.Hour, deadband: 0.03, during: inExposure},                         // half a degree at 15 °C
	AlarmAirGas:       {priority: logbook.PriorityHigh, on: 2 * time.Minute, off: 15 * time.Minute, deadband: 0.1, life: true, wake: wherePeopleAre},
	AlarmRebound:      {priority: logbook.PriorityHigh, life: true},
	AlarmFire:         {priority: logbook.PriorityHigh, off: 30 * time.Minute, deadband: 0.1, life: true, wake: func(a *logbook.Alarm) bool { return !onlyAttention(a.Code) }},
	AlarmDoorOpened:   {priority: logbook.PriorityHigh, off: 5 * time.Minute, during: beforeAired, life: true, wake: always},
	AlarmMaskedLong:   {priority: logbook.PriorityHigh, life: true, wake: always}, // somebody may lie in gas: an emergency at any hour
	AlarmFault:        {priority: logbook.PriorityMedium, on: 10 * time.Minute, off: 10 * time.Minute},
	AlarmInstrument:   {priority: logbook.PriorityMedium, on: 5 * time.Minute, off: time.Minute},
	AlarmClock:        {priority: logbook.PriorityMedium, on: 10 * time.Minute, off: 10 * time.Minute},
	AlarmLineSilent:   {priority: logbook.PriorityMedium, on: 10 * time.Minute, during: inExposure}, // at least the usual interval
	AlarmPointSilent:  {priority: logbook.PriorityLow, on: 5 * time.Minute, during: atWork},
	AlarmSensorSilent: {priority: logbook.PriorityLow, on: 10 * time.Minute, during: inExposure},
	AlarmPowerLost:    {priority: logbook.PriorityMedium, on: time.Minute, off: time.Minute, during: untilHandled},
	AlarmPumpOff:      {priority: logbook.PriorityMedium, on: 2 * time.Minute, off: 2 * time.Minute, during: untilHandled},
}

// LivesHangOn reports whether lives hang on the alarms of a name: a site can only
// make them more sensitive, and nobody may miss that they came back.
func LivesHangOn(alarm string) bool { return kinds[alarm].life }

// Delayed lists the names of the alarms whose delays a site may set, sorted.
func Delayed() []string {
	var names []string
	for _, name := range sorted(kinds) {
		if !kinds[name].fixed {
			names = append(names, name)
		}
	}
	return names
}

// always wakes people whatever the case.
func always(*logbook.Alarm) bool { return true }

// ofCode wakes people for one case of an alarm.
func ofCode(code string) func(*logbook.Alarm) bool {
	return func(a *logbook.Alarm) bool { return a.Code == code }
}

// wherePeopleAre wakes people for gas at a door, in an office and in a dwelling.
func wherePeopleAre(a *logbook.Alarm) bool {
	return a.Code == logbook.WhereDoor || a.Code == logbook.WhereOffice || a.Code == logbook.WhereDwelling
}

// wakes reports whether people are woken for an alarm.
func wakes(a *logbook.Alarm) bool {
	k := kinds[a.Alarm]
	return k.wake != nil && k.wake(a)
}

// Bounds of the delays and deadbands that a site may set. A logbook may hold larger ones, but
// an alarm that waits for longer warns nobody.
const (
	longestOn  = 2 * time.Hour
	longestOff = 24 * time.Hour
	widestDead = 0.5
)

// kindOf returns what holds for an alarm on this site. Delays of alarms on which
// lives hang are only ever made more sensitive: raised sooner, over later.
func (s *State) kindOf(name string) kind {
	k := kinds[name]
	own, set := s.Site.Alarms[name]
	if !set || k.fixed {
		return k
	}
	on, off, dead := k.on, k.off, k.deadband
	if d := own.On.Std(); d > 0 {
		on = min(d, longestOn)
	}
	if d := own.Off.Std(); d > 0 {
		off = min(d, longestOff)
	}
	if own.Deadband > 0 {
		dead = min(own.Deadband, widestDead)
	}
	if k.life {
		on, off, dead = min(on, k.on), max(off, k.off), max(dead, k.deadband)
	}
	k.on, k.off, k.deadband = on, off, dead
	return k
}

// can reports whether a condition can be an alarm now: whether the stack that it names is in
// one of the phases of its kind; where it names no stack, one in its store, or of the site.
func (s *State) can(k *kind, of *logbook.Alarm) bool {
	if k.during == nil {
		return true
	}
	in := func(stack string) bool {
		known := s.Stacks[stack]
		return known != nil && known.Treatment != nil && slices.Contains(k.during, known.Treatment.GasPhase())
	}
	switch {
	case of.Stack != "":
		return in(of.Stack)
	case of.Store != "":
		return slices.ContainsFunc(s.stacksIn(of.Store), in)
	}
	for stack := range s.Stacks {
		if in(stack) {
			return true
		}
	}
	return false
}
