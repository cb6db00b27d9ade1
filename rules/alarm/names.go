// Package alarm is the table of alarms: what they are called, which cases of them
// there are, how grave each is, how long its condition must hold before it is raised
// and be gone before it is over, in which phases of a stack it can be one, and whether
// people are woken for it. [Of] gives what holds on a site, which may set delays of
// its own. Whether a condition holds now, package rules says.
package alarm

// Names of alarms, as records, pages and messages carry them.
const (
	Leak         = "leak"
	AtRisk       = "end-level-at-risk"
	Missed       = "end-level-missed"
	Uneven       = "uneven-gas"
	Untold       = "untold-dose"
	AirGas       = "air-gas"
	Rebound      = "gate-rebound"
	LineSilent   = "line-silent"
	LineOff      = "line-off"
	LineBlocked  = "line-blocked"
	Swapped      = "lines-swapped"
	Drift        = "instrument-drift"
	Fault        = "instrument-fault"
	Instrument   = "instrument-silent"
	Clock        = "clock-ahead"
	ClockBehind  = "clock-behind"
	Unwatched    = "unwatched"
	PointSilent  = "point-silent"
	SensorSilent = "sensor-silent"
	Fire         = "fire-risk"
	TooCold      = "too-cold"
	MaskedLong   = "masked-entry-overdue"
	FollowUpDue  = "follow-up-due"
	Resistance   = "suspected-resistance"
	LiveInsects  = "live-insects"
	DoorOpened   = "door-opened"
	PowerLost    = "power-lost"
	PumpOff      = "pump-off"
)

// Cases of alarms: the code beside the name. Most decide how grave an alarm is.
const (
	CodeAttention  = "attention"    // of fire-risk, as are the next five
	CodeTopOfRange = "top-of-range" // the instrument shows no more, and the dose alone explains that much
	CodeOverRange  = "over-range"
	CodeRise       = "rise"
	CodeAboveDose  = "above-dose"
	CodeExplosive  = "lower-explosive-limit"
	CodeCollapsing = "collapsing" // of end-level-at-risk, as is the next: hardly a chance is left
	CodeResisted   = "resisted"   // insects lived through gas that held the end level: to add more is no advice
	CodeOrDrift    = "or-drift"   // of leak: at one line alone, whose instrument may drift instead
	CodeHalfDay    = "half-day"   // of leak: too much gas went in half a day, whenever that began
	CodeByGas      = "by-gas"     // of pump-off: all lines of a stack say so
	CodeNeverOn    = "never-on"   // of line-off: it has shown none of the gas since dosing
	CodeWater      = "water"      // of fire-risk: water meets phosphide
	CodeClockSet   = "clock-set"  // of unwatched: the clock was set ahead over that time
	CodeOverdue    = "overdue"    // of door-opened: somebody is inside by masked entry, for longer than allowed
)
