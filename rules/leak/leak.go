package leak

import (
	"math"
	"slices"

	"undersheet/rules/decay"
)

// Setup is what the test of a stack is told.
type Setup struct {
	Lines                  int     // sampling lines; from 1 to 64
	FalseAlarmsPerStackDay float64 // 0 = 1/500; held between 1e-5 and 0.2
}

// Obs is what one line read in one bin.
type Obs struct {
	Line     int     // from 0
	PPM      float64 // mean of the bin
	SDLn     float64 // standard deviation of ln PPM from noise and resolution; 0 = 0.05
	Censored bool    // below the detection limit or over the range
}

// Expecter is the fit, as this test needs it.
type Expecter interface {
	// ExpectedLnChange is the predicted change of ln C of a line between two
	// times, hours since dosing, and its standard deviation: +Inf = not known.
	ExpectedLnChange(line int, from, to float64) (mean, sd float64)
	// MeanLnChange is the mean alone, for less work.
	MeanLnChange(line int, from, to float64) float64
	// LossPerDay is the loss rate by now and the standard deviation of its ln; 0 = it
	// is not known.
	LossPerDay() (loss, sdLn float64)
	// GustPerDay is how much gusts move the loss rate, its standard deviation per day; 0 =
	// it is not known.
	GustPerDay() float64
	// Rises is what the whole record says of rises of the loss rate that nobody told
	// of, and hours since dosing until which its readings go.
	Rises() (at float64, rises []decay.Rise)
}

// Kind names what an event is about.
type Kind string

// Kinds of events.
const (
	Leak    Kind = "leak"     // the gas is lost faster than before
	LineOff Kind = "line-off" // a line draws air at once
	Blocked Kind = "blocked"  // a line stands still while the others change
	// PumpStop is all lines falling alike within the hour, as the cells use
	// up the gas that stands in them, or all lines standing still: nothing is drawn.
	PumpStop Kind = "pump-stop"
	// Swapped is two lines that took each other's level, and Drifting an instrument
	// that departs steadily from the others: package fault finds them.
	Swapped  Kind = "swapped"
	Drifting Kind = "drifting"
)

// Event is the beginning or, with Cleared, the end of a cause.
type Event struct {
	Kind                Kind
	Line                int     // likely place; -1 = all lines
	Onset               float64 // hours since dosing
	OnsetLow, OnsetHigh float64 // 95 % interval of the onset, as far as the grid of onsets tells
	LossBefore          float64 // per day: what the fit held before the onset
	LossAfter           float64 // per day: LossBefore and the rise that was found
	LossSD              float64 // per day: standard deviation of the rise
	Z                   float64 // the statistic that raised a leak; 0: all lines fell at once
	// Alone: the gas falls at Line only and the other lines do not follow, as far as
	// is known when it begins; the instrument of Line may drift instead.
	Alone bool `json:",omitempty"`
	// Limit is per day, of a leak that was told by what the stack lost in half a day,
	// LossAfter, whatever it lost before: a sheet that is shut loses less. 0: told otherwise.
	Limit   float64 `json:",omitempty"`
	Other   int     `json:",omitempty"` // of Swapped: the other line
	Rate    float64 `json:",omitempty"` // of Drifting: change of ln of the line over the others, per day
	Cleared bool
}

// Stat is where the test stands. z is the signed square root of twice the log
// likelihood ratio.
type Stat struct {
	Threshold float64 // of any z
	Value     float64 // the highest z
	Live      bool    // false: nothing is judged yet, Value is 0
	Common    float64 // z of all lines together
	Lines     []float64
}

// raised is a leak that was reported and not cleared, with those that came beside it.
type raised struct {
	Event Event
	Later []Event `json:",omitempty"` // leaks that began at other lines since
	Rate  float64 // rise that was found, per hour, of all together
	Now   float64 // what of it is in the reference now, per hour
	Level float64 // ln ppm of the stack when it was raised
	At    float64 // hours when it was raised
	Calm  int     // hours in a row at the expected rate
	Sum   float64 // of standardised innovations in the running hour
	N     float64
	Hour  float64 // when the running hour began
	Back  cusum   // of the hourly sums: the rate went back

	Changed bool // the rate was seen to fall after that
}

// State is the running test of one stack. The zero value is of no use: New makes
// one. Its fields are exported for the JSON form only; it is not safe for
// concurrent use. It stays below 16 KiB of JSON for up to 6 lines, and grows with
// the square of their number.
type State struct {
	Setup   Setup
	Start   float64 // hours: dosing, or the newest added dose
	At      float64 // hours of the newest bin; -1 = none yet
	Since   float64 // hours from which the filter runs
	Ref     reference
	Filter  filter
	Bank    bank
	Whole   whole
	Lines   []line
	Wind    wind
	Taken   taken   `json:",omitzero"` // falls at once
	Fall    fall    // of all lines at once
	Hold    float64 `json:",omitempty"` // hours until which no leak and no line off is called
	Raised  *raised `json:",omitempty"`
	Held    *held   `json:",omitempty"` // all lines stand still
	Unsaid  bool    `json:",omitempty"` // a stopped pump was reported, its end not yet
	Flat    flat    `json:",omitzero"`  // they seem to
	Recent  recent  // what the newest bins read
	Stood   stood   // where the lines stood
	Pace    pace
	Lost    *lost `json:",omitempty"` // half a day lost too much
	Refused int   // readings that were none, or of no line of this stack
}

// MaxLines is how many lines of a stack are tested: the first.
const MaxLines = 64

// limits of what is taken.
const (
	maxHours     = 24 * 400
	maxGap       = 12.0 // hours without a reading after which levels are found anew
	quietHours   = 12.0
	releaseHours = 28.0 // after dosing: until then the end of release may look like a leak of the stack
	settleHours  = 3.0
	maxSlopeSD   = 1.0 / 24
	defaultRate  = 1.0 / 500
	defaultSDLn  = 0.05
	maxSDLn      = 0.35
	leastPPM     = 1.0
	leastLeakDay = 0.02 // per day: a smaller rise is not worth a walk
)

// New starts the test of a stack at t = 0.
func New(setup Setup) *State {
	setup.Lines = min(max(setup.Lines, 1), MaxLines)
	if r := setup.FalseAlarmsPerStackDay; !(r > 0) || math.IsInf(r, 0) {
		setup.FalseAlarmsPerStackDay = defaultRate
	}
	setup.FalseAlarmsPerStackDay = min(max(setup.FalseAlarmsPerStackDay, 1e-5), 0.2)
	s := &State{Setup: setup}
	s.Reset(0)
	return s
}

// Reset forgets everything: a treatment begins at hours.
func (s *State) Reset(hours float64) {
	n := s.Setup.Lines
	*s = State{Setup: s.Setup, Start: clampHours(hours), At: -1, Wind: newWind(), Pace: newPace(n)}
	s.Filter, s.Bank = newFilter(n), newBank(n, s.Start+releaseHours)
	s.Lines = make([]line, n)
	for i := range s.Lines {
		s.Lines[i].Hush = hush{Noise: 1, Near: 1, Apart: 1}
	}
}

// DoseAdded tells that phosphine was added at hours: the test is quiet until the
// new curve is past its early release. What is raised stays raised; an open leak
// is from then on judged against the fit as it then is.
func (s *State) DoseAdded(hours float64) {
	s.Start = max(clampHours(hours), s.Start)
	s.Ref = reference{}
	s.Bank.From = s.Start + releaseHours
	s.anew()
	if s.Raised != nil {
		s.Raised.Now, s.Raised.Calm, s.Raised.Back = 0, 0, cusum{}
	}
}

// anew lets the levels be found anew from the next readings on.
func (s *State) anew() {
	s.Filter = newFilter(s.Setup.Lines)
	s.Bank.clear()
	s.Since = max(s.At, 0)
	s.Unsaid = s.Unsaid || s.Held != nil || s.Fall.Stopped
	s.Held = nil // whether the pump stands is seen anew
	s.Fall, s.Flat, s.Recent, s.Stood = fall{}, flat{}, recent{}, stood{}
	for i := range s.Lines {
		l := &s.Lines[i]
		l.Ref, l.Known, l.Far, l.Hush.Count = 0, false, far{}, 0
	}
}

func clampHours(h float64) float64 {
	if !(h >= 0) {
		return 0
	}
	return min(h, maxHours)
}

// Observe takes what the lines read in a bin around hours, and returns what began
// or ended. Bins come in order; one that is not after the last is left out. With
// no usable reading only time passes. expect may be nil: nothing is expected.
func (s *State) Observe(hours float64, obs []Obs, expect Expecter) []Event {
	if !(hours >= 0 && hours <= maxHours) || hours <= s.At {
		s.Refused += len(obs)
		return nil
	}
	if s.At < 0 || hours-s.At > maxGap {
		s.At = hours
		s.anew()
	}
	s.Ref.foresee(hours, s.Setup.Lines, expect, hours-s.Start >= quietHours)
	s.Whole.ask(expect)
	s.advance(hours)
	turned := s.Pace.turn(hours, s.expectedLoss(hours))
	events := s.tell(obs)
	if turned && s.Held == nil {
		events = append(events, s.lostTooMuch()...)
	}
	if s.Unsaid {
		s.Unsaid = false
		events = slices.Insert(events, 0, Event{Kind: PumpStop, Line: -1, Onset: hours, OnsetLow: hours, OnsetHigh: hours, Cleared: true})
	}
	for _, e := range events {
		if e.Kind != Leak && !e.Cleared {
			s.Ref.doubt(min(e.Onset, e.OnsetLow), hours)
			s.Whole.Rises = nil // until the fit has taken those readings back
			s.Pace.forget(e.Line)
		}
	}
	if !s.Filter.sound() {
		s.anew()
	}
	return events
}

// tell returns what begins or ends with a bin.
func (s *State) tell(obs []Obs) []Event {
	if s.Held != nil {
		return s.standing(obs)
	}
	hours, events := s.At, s.take(obs)
	if s.Held != nil {
		return events
	}
	events = append(events, s.suddenFall()...)
	s.stand()
	if s.live() {
		s.Bank.open(hours, s.level())
		if s.Raised != nil || !s.Fall.goesOn(hours) && s.Fall.Back == 0 { // else wait for what the fall is, or was
			events = append(events, s.judge()...)
		}
	}
	return events
}

// live reports whether the test judges slopes.
func (s *State) live() bool {
	return s.At-s.Start >= quietHours && s.At-s.Since >= settleHours && s.Ref.known(s.At) && s.Ref.at(s.At).SD <= maxSlopeSD
}

// level is ln of the gas of the stack over where it was when the filter began.
func (s *State) level() float64 {
	sum := 0.0
	for _, l := range s.Lines {
		sum += l.Ref
	}
	return sum/float64(len(s.Lines)) + s.Filter.Stack.Mean[0]
}

// Statistic returns where the test stands, for pages.
func (s *State) Statistic() Stat {
	st := Stat{Threshold: s.threshold(), Live: s.live(), Lines: make([]float64, s.Setup.Lines)}
	if !st.Live {
		return st
	}
	for line := -1; line < s.Setup.Lines; line++ {
		z := s.best(line).z
		if line < 0 {
			st.Common = z
		} else {
			st.Lines[line] = z
		}
		st.Value = max(st.Value, z)
	}
	return st
}
