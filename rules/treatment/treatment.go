// Package treatment carries one fumigation of one stack from dosing to its end:
// its phase, its verdict, and the judgement of every line against the end level.
//
// A [Treatment] is moved by acts (Start, Extend, AddDose, Air, …) and by time
// ([Treatment.Advance]). It refuses nothing: what people did is a fact, and a
// fact that breaks a rule shows in the verdict.
package treatment

import (
	"math"
	"time"

	"undersheet/logbook"
	"undersheet/rules/exposure"
	"undersheet/rules/followup"
	"undersheet/rules/protocol"
)

// LastHour is the time over whose median a line is judged.
const LastHour = time.Hour

// Sample is one reading of a line under the sheet.
type Sample struct {
	At  logbook.Time
	PPM float64
}

// Judgement is one line held against the end level.
type Judgement struct {
	At     logbook.Time // the moment judged; 0 = not yet
	Shown  string       // met, not-met, not-shown
	PPM    float64      // median of the last hour
	ByHand bool
}

// Line is what is remembered of a line during a treatment.
type Line struct {
	Name, Channel string
	Samples       []Sample // of the last hours, oldest first
	AwayFrom      logbook.Time
	AwayTo        logbook.Time // newest stretch in which the line did not draw the stack's gas; 0 = none
	Hand          Sample       // newest hand reading; At = 0: none
	CTP           exposure.CTP
	Shortest      Judgement // when the shortest exposure had passed
	Airing        Judgement // when airing started
}

// Treatment is one fumigation of one stack.
type Treatment struct {
	Stack, Name  string
	Given        logbook.TreatmentStarted // as it was entered
	Protocol     logbook.Protocol
	Phase        string
	Verdict      string
	DosingAt     logbook.Time
	Started      logbook.Time // t = 0; 0 while dosing, or when airing came first
	PlannedEnd   logbook.Time
	Skips        []Skipped    `json:",omitempty"` // where the clock was set ahead in the exposure, oldest first: that is none of it
	Laid         logbook.Time // when phosphide was last laid, or the sheet shut over it
	Extra        []Dose       // phosphine added on the way
	ReleaseUntil logbook.Time // when an added dose has given off its gas
	Extended     bool         // the exposure was extended
	AiringFirst  logbook.Time // when airing first started
	AiringSince  logbook.Time // since when the running airing counts
	Paused       bool
	Second       bool         // the second of a pair
	FirstCleared logbook.Time // first clearance
	ClearedAt    logbook.Time // last clearance, or gas in the store's air since; withholding runs from here
	GasBack      bool         `json:",omitempty"` // gas stands in the store's air: withholding does not run
	Withheld     logbook.Time // when withholding ended
	Replaced     logbook.Time `json:",omitempty"` // another treatment of the stack began
	After        followup.Facts
	Told         Told   // phase and verdict last recorded
	Inspected    string // what inspections of the grain found after airing had started: a result of logbook.GrainInspected
	Lines        []Line
}

// Told is what the newest phase record says.
type Told struct {
	Treatment, Phase, Verdict string
}

// Dose is phosphine added during exposure.
type Dose struct {
	At    logbook.Time
	Grams float64
}

// Dosing begins a treatment in the phase dosing.
func Dosing(stack logbook.Stack, at logbook.Time) *Treatment {
	return &Treatment{Stack: stack.Name, DosingAt: at, Laid: at, Phase: logbook.PhaseDosing,
		Verdict: logbook.VerdictProvisional, Lines: lines(stack)}
}

func lines(stack logbook.Stack) []Line {
	ls := make([]Line, len(stack.Lines))
	for i, l := range stack.Lines {
		ls[i] = Line{Name: l.Name, Channel: l.Channel}
	}
	return ls
}

// Start puts the treatment under gas at t = 0.
func (t *Treatment) Start(e *logbook.TreatmentStarted, p logbook.Protocol, at logbook.Time) {
	t.Name, t.Given, t.Protocol, t.Started = e.Treatment, *e, p, at
	t.Phase = logbook.PhaseExposure
	t.Lay(at)
	for i := range t.Lines {
		t.Lines[i].CTP = exposure.CTP{Began: at, Level: t.EndPPM()}
	}
	t.plan(e.ExposureHours)
}

// Extend moves the planned end to hours from t = 0; never before the shortest
// exposure of the protocol. Only a later end than before is an extension.
func (t *Treatment) Extend(hours float64) {
	before := t.PlannedEnd
	t.plan(hours)
	t.Extended = t.Extended || t.PlannedEnd > before
}

func (t *Treatment) plan(hours float64) {
	t.PlannedEnd = t.EndOf(Hours(math.Max(hours, t.Protocol.Hours)))
}

// AddDose notes more phosphine. Its gas needs until ReleaseUntil to come off:
// airing before that leaves live phosphide under the sheet. releasePerDay is the
// rate at which the form gives off gas; 90 % is taken as done.
func (t *Treatment) AddDose(at logbook.Time, grams, releasePerDay float64) {
	t.Lay(at)
	t.Extra = append(t.Extra, Dose{at, grams})
	t.ReleaseUntil = max(t.ReleaseUntil, released(at, releasePerDay))
}

// Lay notes that phosphide was laid, or the sheet shut over it, at a time.
func (t *Treatment) Lay(at logbook.Time) { t.Laid = max(t.Laid, at) }

// released is when phosphine that was laid at a time has been given off; 0 = not known.
func released(at logbook.Time, perDay float64) logbook.Time {
	if !(perDay > 0) {
		return 0
	}
	return at.Add(Hours(24 * math.Ln10 / perDay))
}

// EarliestAiring is when airing may start if phosphine is added at a time: the
// exposure is over, and so is the release of every added dose.
func (t *Treatment) EarliestAiring(addedAt logbook.Time, releasePerDay float64) logbook.Time {
	return max(t.PlannedEnd, t.ReleaseUntil, released(addedAt, releasePerDay))
}

// Air starts the airing at the given time, or starts it anew. Whatever time somebody wrote
// down, airing does not count from before phosphide was last laid, nor from before an earlier
// start, pause or restart.
func (t *Treatment) Air(at logbook.Time) {
	at = max(at, t.Laid, t.AiringSince)
	if t.AiringFirst == 0 {
		t.AiringFirst = at
	}
	t.Phase, t.AiringSince, t.Paused = logbook.PhaseAiring, at, false
	t.Withheld, t.GasBack = 0, false
}

// Pause notes that doors were closed; airing counts from a later start.
func (t *Treatment) Pause(at logbook.Time) { t.Paused, t.AiringSince = true, max(t.AiringSince, at) }

// AirAnew lets a running airing count from now on only, because nobody knows how long it has
// lasted.
func (t *Treatment) AirAnew(now logbook.Time) { t.AiringSince = max(t.AiringSince, now) }

// SetAhead notes that the clock was set ahead by step: what it skipped is no withholding, whether
// that runs or ended in it. From now on at most all of it runs again.
func (t *Treatment) SetAhead(now logbook.Time, step, withholding time.Duration) {
	if t.Phase != logbook.PhaseWithholding || t.Withheld != 0 && t.Withheld <= now.Add(-step) {
		return
	}
	t.ClearedAt = min(t.ClearedAt.Add(step), now)
	if now.Sub(t.ClearedAt) < withholding {
		t.Withheld = 0
	}
}

// Early reports whether airing started before the shortest exposure had passed.
func (t *Treatment) Early() bool {
	return t.AiringFirst != 0 && t.Started != 0 && t.AiringFirst < t.ShortestEnd()
}

// ShortestEnd is when the shortest exposure has passed, by a clock that may have been set ahead.
func (t *Treatment) ShortestEnd() logbook.Time { return t.EndOf(Hours(t.Protocol.Hours)) }

// EndPPM is the end level in ppm.
func (t *Treatment) EndPPM() float64 { return protocol.EndPPM(t.Protocol) }

// Grams is all the phosphine laid, g.
func (t *Treatment) Grams() float64 {
	g := t.Given.PhosphineG
	for _, d := range t.Extra {
		g += d.Grams
	}
	return math.Min(g, math.MaxFloat64)
}

// Clear notes a clearance of the store: the stack goes into withholding.
func (t *Treatment) Clear(at logbook.Time) {
	t.Phase, t.ClearedAt, t.Withheld, t.GasBack = logbook.PhaseWithholding, at, 0, false
	if t.FirstCleared == 0 {
		t.FirstCleared = at
	}
}

// Hours turns hours into a Duration: at least 0, at most 100 years.
func Hours(h float64) time.Duration {
	const most = 100 * 365 * 24
	return time.Duration(math.Min(math.Max(h, 0), most) * float64(time.Hour))
}

// Advance lets time pass to now: it judges the end level when the shortest
// exposure has passed, and ends withholding. It returns the moment that was judged,
// if any.
func (t *Treatment) Advance(now logbook.Time, withholding time.Duration) (moment string) {
	if t.Due(now) {
		t.judge(t.ShortestEnd(), func(l *Line) *Judgement { return &l.Shortest })
		moment = logbook.MomentShortest
	}
	if t.GasPhase() == logbook.PhaseWithholding && !t.GasBack && now.Sub(t.ClearedAt) >= withholding {
		t.Withheld = t.ClearedAt.Add(withholding)
	}
	return moment
}

// Due reports whether the end level is to be judged at now.
func (t *Treatment) Due(now logbook.Time) bool {
	return t.Phase == logbook.PhaseExposure && t.Started != 0 && now >= t.ShortestEnd() && len(t.Lines) > 0 && t.Lines[0].Shortest.At == 0
}

// Rewire takes the lines of a stack as the site now has them: a line keeps its
// record under its name when its channel changed, and under its channel when it
// was renamed. It reports whether a line came or went: one that went is silent
// from now on, one that came takes no part in this treatment.
func (t *Treatment) Rewire(stack logbook.Stack) (changed bool) {
	if t.Started == 0 && t.Phase == logbook.PhaseDosing {
		t.Lines = lines(stack)
		return false
	}
	named, matched := map[string]string{}, map[string]bool{}
	for _, l := range stack.Lines {
		named[l.Name] = l.Channel
	}
	var gone []*Line
	for i := range t.Lines {
		l := &t.Lines[i]
		if channel, ok := named[l.Name]; ok {
			l.Channel, matched[l.Name] = channel, true
		} else {
			gone = append(gone, l)
		}
	}
	for _, n := range stack.Lines {
		for i, l := range gone {
			if !matched[n.Name] && l != nil && l.Channel == n.Channel {
				l.Name, gone[i], matched[n.Name] = n.Name, nil, true
			}
		}
		changed = changed || !matched[n.Name]
	}
	for _, l := range gone {
		if l != nil {
			l.Channel, changed = "", true
		}
	}
	return changed
}

// LineOf returns the line that a channel feeds.
func (t *Treatment) LineOf(channel string) (line int, ok bool) {
	for i := range t.Lines {
		if t.Lines[i].Channel == channel {
			return i, true
		}
	}
	return 0, false
}
