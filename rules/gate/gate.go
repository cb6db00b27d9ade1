// Package gate decides whether people may go back into a store.
//
// [Decide] takes all that is known of one store at one moment and returns a
// state: shut, airing, check-owed or cleared, with the reasons that keep it from
// the next one. It opens only when every condition is shown to hold; what is not
// known counts against opening. It never says that a store is safe: it says what
// was read and what is still owed.
package gate

import (
	"math"
	"slices"
	"strings"
	"time"

	"undersheet/logbook"
)

// Times that a gate is held to.
const (
	BelowFor     = 30 * time.Minute // every reading of every point was below the limit for this long
	HandWithin   = time.Hour        // hand readings are no older than this when a person confirms
	DefaultAgain = 12 * time.Hour   // a confirmation lapses after this while stacks are in withholding
)

// Interval is a stretch of time.
type Interval struct {
	From, To logbook.Time
}

// Point is one inside or door air point.
type Point struct {
	Name       string
	Detection  float64       // detection limit, ppm
	AllowedGap time.Duration // how long it may say nothing
	Pump       string        // code of what is wrong with the pump that draws its air; empty = nothing
	Check      string        // code of the check that its instrument owes; empty = none
	Ahead      time.Duration // by how much its instrument's clock runs ahead, so that nothing it sends counts; 0 = it does not
	*Track                   // what was read there
}

// Stack is one stack of the store.
type Stack struct {
	Name        string
	Phase       string        // of its treatment; empty = none on record
	Since       logbook.Time  // dosing or t = 0
	AiringSince logbook.Time  // since when the running airing counts
	Paused      bool          // doors closed for the night or rain
	MinAiring   time.Duration // shortest airing
	HandOwed    bool          // aired, or its clearance fell, since the last standing clearance
}

// Hand is a hand reading in the store's air.
type Hand struct {
	Point     string
	Beside    string // the stack that it was taken beside; empty = elsewhere
	At        logbook.Time
	PPM       float64
	Detection float64 // detection limit of the method, ppm; negative = not stated
}

// Clearance is a named person's confirmation.
type Clearance struct {
	At logbook.Time
	By string
}

// Store is all that the gate of one store looks at.
type Store struct {
	Now       logbook.Time
	Limit     float64          // ppm
	Block     []logbook.Reason // doubts from outside: no site, restored logbook
	Declared  bool             // a clearance or a no-gas declaration is on record
	Inside    []string         // who is in by masked entry
	Stacks    []Stack
	Points    []Point
	Hands     []Hand       // newest per point
	HandAfter logbook.Time // hand readings count only after this: when the last clearance fell
	Cleared   *Clearance   // standing clearance
	RanOut    *Clearance   // the last confirmation, when it lapsed and none came since
	Again     time.Duration
}

// Decision is what the gate says.
type Decision struct {
	State   string
	Reasons []logbook.Reason
	Read    []logbook.PointRead
	Failed  bool // a condition does not hold: a standing clearance falls
	Lapsed  bool // the confirmation ran out: a standing clearance falls
}

// Decide judges the store. A standing clearance holds only while Failed and
// Lapsed are false; the caller takes it away when one is true.
func Decide(s *Store) Decision {
	d := Decision{Read: read(s)}
	shut := shutReasons(s)
	conditions := conditionReasons(s)
	d.Failed = len(shut)+len(conditions) > 0 || s.Cleared != nil && s.airing()
	d.Lapsed = !d.Failed && s.Cleared != nil && lapsed(s)
	switch {
	case len(shut) > 0:
		d.State, d.Reasons = logbook.GateShut, append(shut, conditions...)
	case len(conditions) > 0:
		d.State, d.Reasons = logbook.GateAiring, conditions
	case s.Cleared != nil && !d.Failed && !d.Lapsed:
		d.State = logbook.GateCleared
	default:
		d.State, d.Reasons = logbook.GateCheckOwed, Owed(s)
		if ran := s.ranOut(d.Lapsed); ran != nil {
			d.Reasons = append([]logbook.Reason{{Code: Lapsed, About: ran.By, Value: hours(s.Now.Sub(ran.At)), Limit: hours(again(s))}}, d.Reasons...)
		}
	}
	return d
}

// airing reports whether a stack is being aired. A confirmation ends the airing of every stack
// of its store, so beside a standing one it is an airing that nobody has looked at since.
func (s *Store) airing() bool {
	return slices.ContainsFunc(s.Stacks, func(k Stack) bool { return k.Phase == logbook.PhaseAiring })
}

// Next returns when the passing of time alone may first change a decision: when a
// point falls silent, a hand reading becomes too old, or a confirmation lapses.
func (s *Store) Next() logbook.Time {
	next := logbook.Time(math.MaxInt64)
	note := func(at logbook.Time) {
		if at > s.Now {
			next = min(next, at)
		}
	}
	for i := range s.Points {
		note(s.Points[i].shown().Add(s.Points[i].AllowedGap) + 1)
	}
	for i := range s.Hands {
		note(s.Hands[i].At.Add(HandWithin) + 1)
	}
	if s.Cleared != nil {
		note(s.Cleared.At.Add(again(s)))
	}
	return next
}

// ranOut returns the confirmation that lapsed and was not renewed; nil = none did. now: the
// standing one lapses at this moment.
func (s *Store) ranOut(now bool) *Clearance {
	if now {
		return s.Cleared
	}
	return s.RanOut
}

// shutReasons are those for which the gate is shut whatever the air reads.
func shutReasons(s *Store) []logbook.Reason {
	rs := append(make([]logbook.Reason, 0, len(s.Block)+len(s.Stacks)+len(s.Inside)+1+len(s.Points)), s.Block...)
	for _, k := range s.Stacks {
		switch k.Phase {
		case logbook.PhaseDosing:
			rs = append(rs, logbook.Reason{Code: Dosing, About: k.Name, Value: since(s.Now, k.Since)})
		case logbook.PhaseExposure:
			rs = append(rs, logbook.Reason{Code: UnderGas, About: k.Name, Value: since(s.Now, k.Since)})
		}
	}
	for _, p := range s.Inside {
		rs = append(rs, logbook.Reason{Code: Inside, About: p})
	}
	if !s.Declared {
		rs = append(rs, logbook.Reason{Code: NoClearance})
	}
	return rs
}

// conditionReasons are those conditions of check-owed that do not hold.
func conditionReasons(s *Store) []logbook.Reason {
	var rs []logbook.Reason
	for _, k := range s.Stacks {
		if k.Phase != logbook.PhaseAiring {
			continue
		}
		if k.Paused {
			rs = append(rs, logbook.Reason{Code: AiringPaused, About: k.Name})
			continue
		}
		if _, done, counted := s.aired(k); !done {
			rs = append(rs, logbook.Reason{Code: AiringTooShort, About: k.Name,
				Value: minutes(counted), Limit: minutes(k.MinAiring)})
		}
	}
	if len(s.Points) == 0 {
		rs = append(rs, logbook.Reason{Code: NoPoints})
	}
	for i := range s.Points {
		rs = append(rs, s.point(&s.Points[i])...)
	}
	for _, h := range s.Hands {
		if !(h.PPM < s.Limit) {
			rs = append(rs, logbook.Reason{Code: HandAbove, About: h.Point, Value: logbook.Number(h.PPM), Limit: logbook.Number(s.Limit)})
		}
	}
	return rs
}

// point returns what stands against the gate at one air point.
func (s *Store) point(p *Point) []logbook.Reason {
	var rs []logbook.Reason
	if p.Check != "" {
		rs = append(rs, logbook.Reason{Code: p.Check, About: p.Name})
	}
	if p.Pump != "" {
		rs = append(rs, logbook.Reason{Code: p.Pump, About: p.Name})
	}
	none, never, age := p.Newest.At == 0, p.heard() == 0, s.Now.Sub(p.shown())
	switch {
	case p.Ahead > 0 && (never || age > p.AllowedGap):
		rs = append(rs, logbook.Reason{Code: ClockAhead, About: p.Name, Value: minutes(p.Ahead)})
	case none, never && age <= p.AllowedGap:
		rs = append(rs, logbook.Reason{Code: NoReading, About: p.Name})
	case age > p.AllowedGap:
		rs = append(rs, logbook.Reason{Code: PointSilent, About: p.Name, Value: minutes(age), Limit: minutes(p.AllowedGap)})
	}
	if none {
		return rs
	}
	if !(p.Detection < s.Limit) {
		rs = append(rs, logbook.Reason{Code: TooCoarse, About: p.Name, Value: logbook.Number(p.Detection), Limit: logbook.Number(s.Limit)})
	}
	if p.Fault != "" {
		return append(rs, logbook.Reason{Code: p.Fault, About: p.Name, Value: logbook.Number(p.NewestPPM)})
	}
	if !(p.Newest.PPM < s.Limit) {
		return append(rs, logbook.Reason{Code: AboveLimit, About: p.Name, Value: logbook.Number(p.Newest.PPM), Limit: logbook.Number(s.Limit)})
	}
	if below := p.BelowFor(s.Limit); below < BelowFor {
		rs = append(rs, logbook.Reason{Code: NotBelowLong, About: p.Name, Value: minutes(below), Limit: minutes(BelowFor)})
	}
	return rs
}

// aired returns when the running airing of k had lasted for its shortest time, and how much of
// it counts. Only time in which every gate air point was live counts.
func (s *Store) aired(k Stack) (at logbook.Time, done bool, counted time.Duration) {
	if k.AiringSince == 0 || len(s.Points) == 0 {
		return 0, false, 0
	}
	for _, v := range s.allLive() {
		from := max(v.From, k.AiringSince)
		if v.To <= from {
			continue
		}
		if span := v.To.Sub(from); counted+span >= k.MinAiring {
			return from.Add(k.MinAiring - counted), true, k.MinAiring
		} else {
			counted += span
		}
	}
	return 0, false, counted
}

// Aired returns how much airing counts so far: of the stacks that are being aired that of the one
// with the least, none during a pause, and never more than its shortest time asks for.
func (s *Store) Aired() time.Duration {
	least, any := time.Duration(0), false
	for _, k := range s.Stacks {
		if k.Phase != logbook.PhaseAiring {
			continue
		}
		counted := time.Duration(0)
		if !k.Paused {
			_, _, counted = s.aired(k)
		}
		if !any || counted < least {
			least, any = counted, true
		}
	}
	return least
}

// allLive returns the stretches in which every point was live.
func (s *Store) allLive() []Interval {
	all := s.Points[0].Live
	for _, p := range s.Points[1:] {
		var both []Interval
		for i, k := 0, 0; i < len(all) && k < len(p.Live); {
			from, to := max(all[i].From, p.Live[k].From), min(all[i].To, p.Live[k].To)
			if from < to {
				both = append(both, Interval{from, to})
			}
			if all[i].To < p.Live[k].To {
				i++
			} else {
				k++
			}
		}
		all = both
	}
	return all
}

// Owed returns what a person still has to bring before a confirmation counts.
func Owed(s *Store) []logbook.Reason {
	var rs []logbook.Reason
	for _, k := range s.Stacks {
		if k.HandOwed {
			if r, ok := s.handOwed(k); !ok {
				rs = append(rs, r)
			}
		}
	}
	return append(rs, logbook.Reason{Code: ConfirmOwed})
}

// handOwed judges the newest hand reading beside stack k.
func (s *Store) handOwed(k Stack) (logbook.Reason, bool) {
	owed := logbook.Reason{Code: HandOwed, About: k.Name}
	for _, h := range s.Hands {
		if h.Beside != k.Name {
			continue
		}
		age := s.Now.Sub(h.At)
		airedAt, done, _ := s.aired(k)
		switch {
		case h.At < s.HandAfter || k.Phase == logbook.PhaseAiring && (!done || h.At < airedAt) || age > HandWithin:
			owed = logbook.Reason{Code: HandTooOld, About: k.Name, Value: minutes(age), Limit: minutes(HandWithin)}
		case !(h.PPM < s.Limit):
			owed = logbook.Reason{Code: HandAbove, About: k.Name, Value: logbook.Number(h.PPM), Limit: logbook.Number(s.Limit)}
		case h.Detection < 0 && !(h.PPM > 0) || !(h.Detection < s.Limit):
			owed = logbook.Reason{Code: HandTooCoarse, About: k.Name, Value: logbook.Number(math.Max(h.Detection, 0)), Limit: logbook.Number(s.Limit)}
		default:
			return logbook.Reason{}, true
		}
	}
	return owed, false
}

func lapsed(s *Store) bool {
	for _, k := range s.Stacks {
		if k.Phase == logbook.PhaseWithholding {
			return s.Now.Sub(s.Cleared.At) >= again(s)
		}
	}
	return false
}

func again(s *Store) time.Duration {
	if s.Again > 0 {
		return s.Again
	}
	return DefaultAgain
}

// read lists what the points last read, by name.
func read(s *Store) []logbook.PointRead {
	var out []logbook.PointRead
	for i := range s.Points {
		if p := &s.Points[i]; p.Newest.At != 0 {
			out = slices.Grow(out, len(s.Points)-i)
			out = append(out, logbook.PointRead{Point: p.Name, PPM: logbook.Number(p.NewestPPM), Upper: logbook.Number(p.Newest.PPM), At: p.Newest.At})
		}
	}
	slices.SortFunc(out, func(a, b logbook.PointRead) int { return strings.Compare(a.Point, b.Point) })
	return out
}

func minutes(d time.Duration) logbook.Number { return logbook.Number(d.Minutes()) }

func hours(d time.Duration) logbook.Number { return logbook.Number(d.Hours()) }

func since(now, t logbook.Time) logbook.Number {
	if t == 0 {
		return 0
	}
	return logbook.Number(now.Hours(t))
}
