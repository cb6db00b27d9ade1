package alarm

import (
	"maps"
	"slices"
	"time"

	"undersheet/logbook"
)

// Phases of a stack in which a condition can be an alarm. What needs no response by people is
// no alarm (IEC 62682), so a silent line, say, is none after the exposure.
func inExposure(phase string) bool { return phase == logbook.PhaseExposure }

func beforeAired(phase string) bool { return inExposure(phase) || phase == logbook.PhaseAiring }

func atWork(phase string) bool { return beforeAired(phase) || phase == logbook.PhaseDosing }

// UntilHandled reports whether phosphide, or what is left of it, may lie in the store: from
// dosing to the end of withholding.
func UntilHandled(phase string) bool { return atWork(phase) || phase == logbook.PhaseWithholding }

// Kind holds what is fixed beforehand for all alarms of one name.
type Kind struct {
	Priority string                  // unless its condition says otherwise
	On, Off  time.Duration           // how long the condition must hold before the alarm is raised, and be gone before it is cleared; a site may change them
	Deadband float64                 // fraction of the limit by which a value must come back before the alarm is over; a site may change it
	During   func(phase string) bool // a stack at its place must be in one of these phases; nil = at any time
	Fixed    bool                    // its delays are those of the test behind it: a site cannot change them
	Life     bool                    // lives hang on it: a site can only make it more sensitive
	wake     func(*logbook.Alarm) bool
}

// kinds is the one place where delays, deadbands, priorities, phases and waking of
// alarms are settled. Where no source is named a figure is common practice of
// process alarms; the figures of the tests behind leak, line-off, line-blocked,
// lines-swapped, instrument-drift and the chance of the end level stand with those tests.
//
// People are woken only where waiting for daylight costs lives or the treatment:
// gas at a door, an office or a dwelling; a door opened under gas; fire; a chance
// that collapses before first light; somebody who is not out again; and a clock by
// which none of this is seen. Gas that
// comes back inside a cleared store wakes nobody, for by night nobody is in it; at
// its door it is air-gas as well.
var kinds = map[string]Kind{
	Leak:         {Priority: logbook.PriorityHigh, During: inExposure, Fixed: true},
	LineOff:      {Priority: logbook.PriorityMedium, During: inExposure, Fixed: true},
	LineBlocked:  {Priority: logbook.PriorityMedium, During: inExposure, Fixed: true},
	Swapped:      {Priority: logbook.PriorityMedium, During: inExposure, Fixed: true},
	Drift:        {Priority: logbook.PriorityMedium, During: inExposure, Fixed: true},
	AtRisk:       {Priority: logbook.PriorityHigh, During: inExposure, Fixed: true, wake: ofCode(CodeCollapsing)}, // its own deadband: raised under 0.5, over at 0.7
	Missed:       {Priority: logbook.PriorityHigh, During: inExposure, Fixed: true},
	FollowUpDue:  {Priority: logbook.PriorityMedium, Fixed: true}, // low ahead of its time, high when overdue
	Resistance:   {Priority: logbook.PriorityHigh, Fixed: true},
	LiveInsects:  {Priority: logbook.PriorityHigh, Fixed: true},
	Uneven:       {Priority: logbook.PriorityMedium, On: 2 * time.Hour, Off: 2 * time.Hour, Deadband: 0.05, During: inExposure},
	Untold:       {Priority: logbook.PriorityMedium, On: 90 * time.Minute, Off: 24 * time.Hour, During: inExposure, Fixed: true}, // it is looked at once an hour, and must show twice
	TooCold:      {Priority: logbook.PriorityMedium, Off: time.Hour, Deadband: 0.03, During: inExposure},                         // half a degree at 15 °C
	AirGas:       {Priority: logbook.PriorityHigh, On: 2 * time.Minute, Off: 15 * time.Minute, Deadband: 0.1, Life: true, wake: WherePeopleAre},
	Rebound:      {Priority: logbook.PriorityHigh, Life: true},
	Fire:         {Priority: logbook.PriorityHigh, Off: 30 * time.Minute, Deadband: 0.1, Life: true, wake: func(a *logbook.Alarm) bool { return !onlyAttention(a.Code) }},
	DoorOpened:   {Priority: logbook.PriorityHigh, Off: 5 * time.Minute, During: beforeAired, Life: true, wake: always},
	MaskedLong:   {Priority: logbook.PriorityHigh, Life: true, wake: always}, // somebody may lie in gas: an emergency at any hour
	Fault:        {Priority: logbook.PriorityMedium, On: 10 * time.Minute, Off: 10 * time.Minute},
	Instrument:   {Priority: logbook.PriorityMedium, On: 5 * time.Minute, Off: time.Minute},
	Clock:        {Priority: logbook.PriorityMedium, On: 10 * time.Minute, Off: 10 * time.Minute},
	ClockBehind:  {Priority: logbook.PriorityHigh, Fixed: true, wake: always},                          // nothing is judged, and when it is night is not known
	Unwatched:    {Priority: logbook.PriorityMedium, On: 2 * time.Minute, During: atWork, Fixed: true}, // a clock that was set says so within half a minute
	LineSilent:   {Priority: logbook.PriorityMedium, On: 10 * time.Minute, During: inExposure},         // at least the usual interval
	PointSilent:  {Priority: logbook.PriorityLow, On: 5 * time.Minute, During: atWork},
	SensorSilent: {Priority: logbook.PriorityLow, On: 10 * time.Minute, During: inExposure},
	PowerLost:    {Priority: logbook.PriorityMedium, On: time.Minute, Off: time.Minute, During: UntilHandled},
	PumpOff:      {Priority: logbook.PriorityMedium, On: 2 * time.Minute, Off: 2 * time.Minute, During: UntilHandled},
}

// LivesHangOn reports whether lives hang on the alarms of a name: a site can only
// make them more sensitive, and nobody may miss that they came back.
func LivesHangOn(name string) bool { return kinds[name].Life }

// Delayed lists the names of the alarms whose delays a site may set, sorted.
func Delayed() []string {
	var names []string
	for _, name := range slices.Sorted(maps.Keys(kinds)) {
		if !kinds[name].Fixed {
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

// WherePeopleAre reports whether gas is at a door, in an office or in a dwelling.
func WherePeopleAre(a *logbook.Alarm) bool {
	return a.Code == logbook.WhereDoor || a.Code == logbook.WhereOffice || a.Code == logbook.WhereDwelling
}

// Wakes reports whether people are woken for an alarm. Where the program that wrote it is newer
// and its name not known here, nobody is.
func Wakes(a *logbook.Alarm) bool {
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

// Of returns what holds for the alarms of a name on a site. Delays of alarms on which
// lives hang are only ever made more sensitive: raised sooner, over later.
func Of(site *logbook.Site, name string) Kind {
	k := kinds[name]
	own, set := site.Alarms[name]
	if !set || k.Fixed {
		return k
	}
	on, off, dead := k.On, k.Off, k.Deadband
	if d := own.On.Std(); d > 0 {
		on = min(d, longestOn)
	}
	if d := own.Off.Std(); d > 0 {
		off = min(d, longestOff)
	}
	if own.Deadband > 0 {
		dead = min(own.Deadband, widestDead)
	}
	if k.Life {
		on, off, dead = min(on, k.On), max(off, k.Off), max(dead, k.Deadband)
	}
	k.On, k.Off, k.Deadband = on, off, dead
	return k
}

// Graver reports whether an alarm has become a graver case of itself. Of fire-risk, gas
// that can burn is graver than signs of it, and a line at the top of its range, of which
// nobody sees whether it rises, is graver than one that can be watched.
func Graver(now, before string) bool {
	return before == CodeAttention && now != CodeAttention || before == CodeTopOfRange && !onlyAttention(now) || now == CodeCollapsing && before != CodeCollapsing || now == CodeResisted && before == "" ||
		now == CodeExplosive && (before == CodeRise || before == CodeAboveDose)
}

// onlyAttention reports whether a case of fire-risk asks for attention and wakes nobody.
func onlyAttention(code string) bool { return code == CodeAttention || code == CodeTopOfRange }
