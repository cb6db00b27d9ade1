package logbook

import (
	"fmt"
	"math"
	"strconv"
)

// Kinds of records: what the program made of the inputs.
const (
	KindAccepted Kind = "accepted"
	KindRefused  Kind = "refused"
	KindFinding  Kind = "finding"
	KindPhase    Kind = "phase"
	KindEndLevel Kind = "end-level"
	KindGate     Kind = "gate"
	KindAlarm    Kind = "alarm"
	KindForecast Kind = "forecast"
	KindMessage  Kind = "message"
)

// Number is a computed value. It prints with 6 significant digits, so that
// records agree across processors. NaN and infinities are errors.
type Number float64

// MarshalJSON implements json.Marshaler.
func (n Number) MarshalJSON() ([]byte, error) {
	v := float64(n)
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil, fmt.Errorf("write number: %v is not finite", v)
	}
	if v == 0 {
		return []byte("0"), nil // no "-0"
	}
	return strconv.AppendFloat(nil, v, 'g', 6, 64), nil
}

// Round returns v as it is written, to six significant digits: what is kept in memory
// then reads the same as what comes back from a snapshot.
func Round(v float64) Number {
	if r, err := strconv.ParseFloat(strconv.FormatFloat(v, 'g', 6, 64), 64); err == nil {
		return Number(r)
	}
	return Number(v)
}

// Record is the part that all records share: by whom and of what they were made.
type Record struct {
	Of      uint64 `json:"of,omitempty"`      // seq of the entry that made it known
	Program string `json:"program,omitempty"` // version of the program that judged
}

// Rec returns the common part, so that every kind that embeds it is a Recorded.
func (r *Record) Rec() *Record { return r }

// Recorded is an Entry that is a record.
type Recorded interface {
	Entry
	Rec() *Record
}

// Accepted is the verdict that an act took effect.
type Accepted struct {
	Header
	Record
	Entry Kind   `json:"entry"` // kind of the act
	Store string `json:"store,omitempty"`
	Stack string `json:"stack,omitempty"`
}

// Refused is the verdict that an act took no effect.
type Refused struct {
	Header
	Record
	Entry   Kind     `json:"entry"` // kind of the act
	Store   string   `json:"store,omitempty"`
	Stack   string   `json:"stack,omitempty"`
	Code    string   `json:"code"`
	Reasons []Reason `json:"reasons,omitempty"` // what stood against it
	Why     string   `json:"why,omitempty"`     // the sentence; made outside rules
}

// Finding notes something that breaks a rule or good practice in a fact that
// was accepted, or in a reading.
type Finding struct {
	Header
	Record
	Code    string `json:"code"`
	Store   string `json:"store,omitempty"`
	Stack   string `json:"stack,omitempty"`
	Line    string `json:"line,omitempty"`
	Channel string `json:"channel,omitempty"`
	About   string `json:"about,omitempty"` // what the finding is of, in the site's own words
	Value   Number `json:"value"`
	Limit   Number `json:"limit"`
	Text    string `json:"text,omitempty"` // the sentence; made outside rules
}

// Phases of a treatment.
const (
	PhaseDosing      = "dosing"
	PhaseExposure    = "exposure"
	PhaseAiring      = "airing"
	PhaseWithholding = "withholding"
	PhaseClosed      = "closed"
)

// Verdicts on a treatment.
const (
	VerdictProvisional = "provisional"
	VerdictHeld        = "held"
	VerdictFailed      = "failed"
	VerdictAbandoned   = "abandoned"
)

// Phase says where a treatment stands and what is thought of it.
type Phase struct {
	Header
	Record
	Stack     string `json:"stack"`
	Treatment string `json:"treatment,omitempty"` // empty while dosing: it has no name yet
	Phase     string `json:"phase"`
	Verdict   string `json:"verdict"`
}

// Results of judging a line against the end level.
const (
	ShownMet    = "met"
	ShownNotMet = "not-met"
	NotShown    = "not-shown"
)

// Moments at which the end level is judged.
const (
	MomentShortest = "shortest-exposure"
	MomentAiring   = "airing"
)

// EndLevel is one line judged against the end level: the median of the last hour.
type EndLevel struct {
	Header
	Record
	Stack     string `json:"stack"`
	Treatment string `json:"treatment"`
	Line      string `json:"line"`
	Moment    string `json:"moment"` // shortest-exposure or airing
	Shown     string `json:"shown"`  // met, not-met or not-shown
	PPM       Number `json:"ppm"`    // median of the last hour; 0 when not shown
	EndPPM    Number `json:"end_level_ppm"`
	ByHand    bool   `json:"by_hand,omitempty"` // a hand reading filled in
}

// Gate states.
const (
	GateShut      = "shut"
	GateAiring    = "airing"
	GateCheckOwed = "check-owed"
	GateCleared   = "cleared"
)

// Reason is one thing that keeps a gate from opening, as a code with values.
type Reason struct {
	Code  string `json:"code"`
	About string `json:"about,omitempty"` // stack, line, air point or person
	Value Number `json:"value"`           // what was found, in the unit that the code implies
	Limit Number `json:"limit,omitempty"` // what it is held against, same unit
	Text  string `json:"text,omitempty"`  // the sentence; made outside rules
}

// PointRead is what one gate air point last read.
type PointRead struct {
	Point string `json:"point"`
	PPM   Number `json:"ppm"`
	Upper Number `json:"upper_ppm"` // reading × (1 + accuracy) + zero error
	At    Time   `json:"at"`
}

// Gate is the re-entry decision for one store, as it changed.
type Gate struct {
	Header
	Record
	Store    string      `json:"store"`
	State    string      `json:"state"`
	LimitPPM Number      `json:"limit_ppm"`
	LimitOf  string      `json:"limit_of,omitempty"` // where the limit comes from; "no country set" when the default holds
	Reasons  []Reason    `json:"reasons"`
	Read     []PointRead `json:"read,omitempty"`
}

// States of an alarm, in the terms of IEC 62682.
const (
	AlarmRaised  = "raised"
	AlarmSeen    = "acknowledged"
	AlarmCleared = "cleared"
)

// Priorities of alarms.
const (
	PriorityHigh   = "high"
	PriorityMedium = "medium"
	PriorityLow    = "low"
)

// Alarm is a condition that asks for a response, as it was raised, acknowledged
// or cleared.
type Alarm struct {
	Header
	Record
	State    string   `json:"state"`
	Alarm    string   `json:"alarm"`
	Store    string   `json:"store,omitempty"`
	Stack    string   `json:"stack,omitempty"`
	Line     string   `json:"line,omitempty"`
	Point    string   `json:"point,omitempty"`
	Channel  string   `json:"channel,omitempty"`
	Onset    Time     `json:"onset,omitzero"`   // when the condition began, as far as can be told
	Owed     *Owed    `json:"owed,omitempty"`   // what is due, of follow-up-due
	Missed   *Missed  `json:"missed,omitempty"` // what nobody watched, of unwatched
	Priority string   `json:"priority"`
	Code     string   `json:"code,omitempty"` // which case of the alarm, for example "stuck" of instrument-fault
	Value    Number   `json:"value"`
	Limit    Number   `json:"limit"`
	Also     []string `json:"also,omitempty"` // alarms of the same cause that this one speaks for
	By       string   `json:"by,omitempty"`   // who acknowledged it
	Grounds  *Grounds `json:"grounds,omitempty"`
	Wake     bool     `json:"wake,omitempty"` // people are woken for it
	Text     string   `json:"text,omitempty"` // the sentence; made outside rules
}

// Owed is the follow-up that an alarm speaks of.
type Owed struct {
	Treatment string `json:"treatment,omitempty"`
	Person    string `json:"person,omitempty"` // whose licence or canister it is
	Due       Time   `json:"due"`
	Until     Time   `json:"until,omitzero"` // last time; 0 = none is set
	Owner     string `json:"owner,omitempty"`
}

// Missed is a time in which nothing was read or watched.
type Missed struct {
	From   Time     `json:"from"`   // the last reading, or look at the clock, before it
	Until  Time     `json:"until"`  // the first after it
	Stacks []string `json:"stacks"` // under gas or being aired then, in the alarm's store
}

// FollowUp is the code of the follow-up that is due; empty for all other alarms.
func (a *Alarm) FollowUp() string {
	if a.Owed == nil {
		return ""
	}
	return a.Code
}

// Which tells apart alarms of one name at one place: the follow-up with its treatment or
// person; empty for all other alarms.
func (a *Alarm) Which() string {
	switch {
	case a.Owed == nil:
		return ""
	case a.Owed.Treatment != "":
		return a.Code + ": " + a.Owed.Treatment
	case a.Owed.Person != "":
		return a.Code + ": " + a.Owed.Person
	}
	return a.Code
}

// Grounds are what a leak was told from.
type Grounds struct {
	From      Time   `json:"from"` // the onset lies between From and To with 95 %
	To        Time   `json:"to"`
	Statistic Number `json:"statistic"` // z of the test when it was told; 0: all lines fell at once. Of "half-day": what was lost, per day
	Threshold Number `json:"threshold"` // of z, or of that loss
}

// Quantiles bound a concentration in ppm with 90 %.
type Quantiles struct {
	P05 Number `json:"p05"`
	P50 Number `json:"p50"`
	P95 Number `json:"p95"`
}

// Forecast is the concentration expected at the planned end of the exposure.
type Forecast struct {
	Header
	Record
	Stack     string    `json:"stack"`
	Line      string    `json:"line,omitempty"` // empty: the lowest line of the stack
	For       Time      `json:"for"`
	PPM       Quantiles `json:"ppm"`
	ChanceMet Number    `json:"chance_met"` // chance to be at or above the end level at For
	Daily     bool      `json:"-"`          // the one of the day, which the logbook keeps
}

// Message says what became of one message to one person.
type Message struct {
	Header
	Record
	Messenger string `json:"messenger"`
	To        string `json:"to"` // person of the site file
	Subject   string `json:"subject"`
	MessageID string `json:"message_id"`
	State     string `json:"state"` // handed-over, delayed, in-doubt or given-up
	Attempt   int    `json:"attempt"`
	Detail    string `json:"detail,omitempty"`
}

// Validate implements Entry.
func (a *Accepted) Validate() error { return need("entry", string(a.Entry)) }

// Validate implements Entry.
func (r *Refused) Validate() error { return need("entry", string(r.Entry)) }

// Validate implements Entry.
func (f *Finding) Validate() error { return need("code", f.Code) }

// Validate implements Entry.
func (p *Phase) Validate() error {
	return need("stack", p.Stack, "phase", p.Phase, "verdict", p.Verdict)
}

// Validate implements Entry.
func (e *EndLevel) Validate() error { return need("stack", e.Stack, "line", e.Line, "shown", e.Shown) }

// Validate implements Entry.
func (g *Gate) Validate() error { return need("store", g.Store, "state", g.State) }

// Validate implements Entry.
func (a *Alarm) Validate() error { return need("state", a.State, "alarm", a.Alarm) }

// Validate implements Entry.
func (f *Forecast) Validate() error { return need("stack", f.Stack) }

// Validate implements Entry.
func (m *Message) Validate() error {
	return need("messenger", m.Messenger, "to", m.To, "state", m.State)
}
