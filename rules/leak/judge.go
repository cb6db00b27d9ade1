package leak

import "math"

// bumps is how many times a stack-day and place the statistic tries: the level z is
// crossed bumps·e^(−z²/2) times, as for a smooth Gaussian process (Rice 1944). 14 is
// an upper figure of TestCalibration (2000 exposures each, z of 3.5 to 4.5): 8 to 13
// with 2 to 8 lines and the usual disturbances, more for a single line, where the
// stack is the only place, and up to 30 with gusts or mixing far from the usual.
const bumps = 14.0

// threshold of z for the false-alarm rate that was asked for.
func (s *State) threshold() float64 {
	return thresholdOf(s.Setup.Lines, s.Setup.FalseAlarmsPerStackDay)
}

func thresholdOf(lines int, perDay float64) float64 {
	places := float64(lines + 1)
	if lines == 1 {
		places = 1
	}
	return math.Sqrt(2 * math.Log(bumps*places/perDay))
}

// judge looks for a leak, a blocked line or the end of a leak.
func (s *State) judge() []Event {
	if s.Raised != nil {
		return s.mending()
	}
	if e := s.blocked(); e != nil {
		return []Event{*e}
	}
	limit := s.threshold()
	best := found{z: limit}
	for place := range s.Bank.places() {
		if place > 0 && (s.Lines[place-1].Cause.Kind != "" || s.Setup.Lines == 1) {
			continue
		}
		if f := s.Bank.best(place, 1, s.At); f.z > best.z {
			best = f
		}
	}
	if best.rate == 0 || s.doubtful(best) || s.At < s.Hold || s.outRisen(best) {
		return nil
	}
	return []Event{s.call(best)}
}

// call raises the leak that was found.
func (s *State) call(best found) Event {
	low, high := s.Bank.interval(best, 1, s.At)
	e := Event{Kind: Leak, Line: best.place - 1, Onset: s.Bank.Onset[best.onset], OnsetLow: low, OnsetHigh: high, LossSD: 24 * best.sd, Z: best.z, Alone: s.alone(best)}
	s.raise(e, best)
	return s.Raised.Event
}

// raise notes a leak, moves the reference and the filter to it, and holds back
// what the fit says from now on.
func (s *State) raise(e Event, f found) {
	before := s.Ref.at(e.Onset).Loss
	e.LossBefore, e.LossAfter = 24*before, 24*(before+f.rate)
	s.Ref.freeze(e.Onset)
	s.Raised = &raised{Event: e, Rate: f.rate, Now: f.rate, Level: s.level(), At: s.At, Hour: s.At}
	s.accept(f)
}

// accept moves the filter to a change of rate that was found, and opens the rate
// for what is not known of it.
func (s *State) accept(f found) {
	d := len(s.Filter.Mean)
	for j, t := range s.Bank.trace(f.onset, f.place) {
		s.Filter.Mean[j] += f.rate * float64(t)
	}
	at, size := s.driver(f.place)
	s.Filter.Cov[at*d+at] += f.sd * f.sd / (size * size)
	s.Bank.clear()
}

// flat reports whether a change found at a line means that the line stands still
// while the stack does not.
func (s *State) flat(f found) bool {
	age := s.At - s.Bank.Onset[f.onset]
	stack := s.level() + f.rate*float64(s.Bank.trace(f.onset, f.place)[atLevel]) - s.Bank.Level[f.onset]
	line, sd := stack-f.rate*age, f.sd*age
	return f.place > 0 && math.Abs(stack) > 0.04 && math.Abs(line) < 2*sd+0.01 && math.Abs(line) < math.Abs(stack)/2
}

// sureBlocked is how far above the threshold z must be before a line that seems
// to stand still while the others rise is called blocked rather than leaking.
const sureBlocked = 2.0

// doubtful reports whether a leak at a line may as well be a blocked line.
func (s *State) doubtful(f found) bool {
	return f.place > 0 && s.flat(f) && f.z < s.threshold()+sureBlocked
}

// blocked looks for a line that stands still while the others change.
func (s *State) blocked() *Event {
	if s.Setup.Lines < 2 {
		return nil
	}
	for place := 1; place < s.Bank.places(); place++ {
		i := place - 1
		if s.Lines[i].Cause.Kind != "" {
			continue
		}
		for _, sign := range []float64{-1, 1} {
			f := s.Bank.best(place, sign, s.At)
			limit := s.threshold()
			if sign > 0 {
				limit += sureBlocked
			}
			if f.z <= limit || !s.flat(f) {
				continue
			}
			return s.block(f, sign)
		}
	}
	return nil
}

func (s *State) block(f found, sign float64) *Event {
	i, onset := f.place-1, s.Bank.Onset[f.onset]
	low, high := s.Bank.interval(f, sign, s.At)
	drift := -f.rate * (s.At - onset)
	s.accept(f)
	mean, _ := s.Filter.see(i)
	s.set(i, Blocked, onset, s.Lines[i].Ref+mean, drift)
	return &Event{Kind: Blocked, Line: i, Onset: onset, OnsetLow: low, OnsetHigh: high}
}

// hear adds a standardised innovation to the running hour of a raised leak.
func (r *raised) hear(i int, z float64) {
	if r != nil && (r.Event.Line < 0 || r.Event.Line == i) {
		r.Sum, r.N = r.Sum+z, r.N+1
	}
}

// figures of the end of a leak.
const (
	calmHours   = 3
	leastShare  = 0.1 // of the gas when it was raised: below it nothing is cleared
	firstHours  = 2.0 // a change this soon after the leak was raised corrects its size
	leastOfRate = 0.25
)

// mending follows a leak that is raised. Each hour the cumulative sum says whether
// the rate changed again, the bank when and by how much. The leak clears when its
// rise is gone for some hours.
func (s *State) mending() []Event {
	r := s.Raised
	if s.At-r.Hour < 1 || r.N == 0 {
		return nil
	}
	r.Back.add(r.Sum/math.Sqrt(r.N), cusumSlack)
	r.Sum, r.N, r.Hour = 0, 0, s.At
	place := r.Event.Line + 1
	if f := s.Bank.best(place, -1, s.At); r.Back.High > cusumLimit && f.z > 3 && -f.rate > r.Rate/4 {
		s.slower(f)
	}
	s.hold(place)
	if !s.gone(place) {
		r.Calm = 0
		return nil
	}
	if r.Calm++; r.Calm < calmHours {
		return nil
	}
	return []Event{s.clear(place)}
}

// hold moves what the filter learned of the leak's rate into the reference, where
// it stays; in the filter it would fade like an error of the fit.
func (s *State) hold(place int) {
	at, size := s.driver(place)
	s.Raised.Now -= size * s.Filter.Mean[at]
	s.Filter.Mean[at] = 0
}

// slower takes in that the leak's rate fell; at once after it was raised that says
// that it was taken too large.
func (s *State) slower(f found) {
	r := s.Raised
	r.Now += f.rate
	r.Back = cusum{}
	if !r.Changed && s.Bank.Onset[f.onset] < r.At+firstHours {
		r.Rate = max(r.Rate+f.rate, leastOfRate*r.Rate)
	} else {
		r.Changed = true
	}
	s.accept(f)
}

// gone reports whether the rise is gone: below half after a change was seen, else
// surely below a quarter, and enough gas left to say so.
func (s *State) gone(place int) bool {
	r := s.Raised
	rise, sd := s.rise(place)
	if s.level() < r.Level+math.Log(leastShare) {
		return false
	}
	return r.Changed && rise+sd < r.Rate/2 || rise+2*sd < r.Rate/4
}

// clear ends the leak. What of its rise is in the reference goes over to the rate
// of the filter.
func (s *State) clear(place int) Event {
	e := s.Raised.Event
	rise, sd := s.rise(place)
	at, size := s.driver(place)
	e.Cleared, e.LossAfter, e.LossSD = true, max(e.LossBefore+24*rise, 0), 24*sd
	s.Filter.Mean[at] = -rise / size
	s.Raised = nil
	s.Ref.thaw(s.At)
	s.Bank.clear()
	return e
}

// driver is the slow rate of a place: where it is kept, and its size per hour.
func (s *State) driver(place int) (at int, size float64) {
	z := s.Ref.sizes(s.At, s.At-s.Start)
	if place == 0 {
		return atSlope, z.slope
	}
	return lineLevel(place-1) + s.Setup.Lines, z.mix
}

// rise is by how much the loss rate of a place is above the reference from before
// the leak, per hour, and its standard deviation.
func (s *State) rise(place int) (rise, sd float64) {
	at, size := s.driver(place)
	d := len(s.Filter.Mean)
	return s.Raised.Now - size*s.Filter.Mean[at], size * math.Sqrt(max(s.Filter.Cov[at*d+at], 0))
}

// allFalling counts bins in which every line that was read fell far below what is
// predicted.
func (s *State) allFalling(reads []read) {
	down, known, gas, by, low, high := 0, 0, 0, 0.0, math.Inf(1), 0.0
	for _, r := range reads {
		if s.Lines[r.line].Cause.Kind != "" || r.fresh {
			continue
		}
		known++
		if (r.isFar || r.drop) && r.innovation < 0 {
			down, by = down+1, by-r.innovation
			if !r.gone && r.fit { // what is nearly nothing is known badly in ln
				gas++
				low, high = min(low, -r.innovation), max(high, -r.innovation)
			}
		}
	}
	f := &s.Fall
	switch {
	case known == 0:
	case down < known && known-down >= down && f.Bins > 0 || down < known && f.Bins == 0:
		s.Fall = fall{Before: s.At, Stopped: f.Stopped}
	case down < known: // a line that reads its old gas for once
	default:
		if f.Bins++; f.Bins == 1 {
			f.Since = s.At
		}
		if gas > 0 {
			f.WithGas++
		}
		f.By, f.Spread = by/float64(down), max(high-low, 0)
		if f.Level++; f.By > f.Most+dropLn/3 {
			f.Most, f.Level = f.By, 0
		}
	}
}

// suddenFall judges a fall of all lines within minutes. When it ends with gas left,
// or the lines fall unlike, the sheet is open wide. When all go alike to nothing,
// the pump has stopped and the cells use up what stands in them.
func (s *State) suddenFall() []Event {
	f := &s.Fall
	if f.Stopped && f.Bins == 0 {
		f.Stopped = false
		return []Event{{Kind: PumpStop, Line: -1, Onset: f.Before, OnsetLow: f.Before, OnsetHigh: f.Before, Cleared: true}}
	}
	if f.Bins < fallRuns || f.Stopped || s.Setup.Lines < 2 || s.At-s.Start < quietHours && f.WithGas == 0 {
		return nil
	}
	gone := f.By > -math.Log(goneShare)
	switch {
	case gone && f.WithGas > 0 && f.Spread < f.By/2:
		f.Stopped = true
		return []Event{{Kind: PumpStop, Line: -1, Onset: f.Since, OnsetLow: f.Before, OnsetHigh: f.Since}}
	case f.WithGas < fallRuns-1 || f.By < farLn || s.level() < math.Log(leastLevel):
		return nil
	case f.Spread < alikeLn+f.By/3 && (gone || f.Level < fallRuns) && s.At-f.Since < fallHours:
		return nil // it goes on falling, alike
	}
	return s.open()
}

// goesOn reports whether all lines still fall, or fell far a short time ago.
func (f *fall) goesOn(now float64) bool {
	return f.Bins > 0 && (f.Level < fallRuns || f.By > farLn) && now-f.Since < 2*fallHours
}

// open raises a leak of a sheet that is open wide.
func (s *State) open() []Event {
	f := s.Fall
	took := max(f.Since-f.Before, 0.25)
	for i := range s.Lines {
		s.Lines[i].Known = false // found anew from the next reading
	}
	s.Fall = fall{Before: s.At}
	// While gas comes off, a fit of the first readings may have promised more than
	// comes: that is no fall.
	if s.Raised != nil || s.At-s.Start < quietHours {
		return nil
	}
	rate := f.By / max(took, s.At-f.Since)
	before := s.Ref.at(f.Since).Loss
	e := Event{Kind: Leak, Line: -1, Onset: f.Since, OnsetLow: f.Before, OnsetHigh: f.Since, LossBefore: 24 * before,
		LossAfter: 24 * (before + rate), LossSD: 24 * rate / 2}
	s.Ref.freeze(f.Since)
	s.Raised = &raised{Event: e, Rate: max(before, leastLeakDay/24), Level: s.level(), At: s.At, Hour: s.At, Changed: true}
	d := len(s.Filter.Mean)
	at, size := s.driver(0)
	s.Filter.Cov[at*d+at] += rate * rate / (size * size)
	s.Bank.clear()
	return []Event{e}
}
