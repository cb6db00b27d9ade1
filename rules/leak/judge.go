package leak

import "math"

// Bumps are how many times a stack-day and place the statistic tries: the level z is
// crossed bumps·e^(−z²/2) times, as for a smooth Gaussian process (Rice 1944). A
// normal record needs no more than 14 (TestCalibration); more are taken, for records
// richer than the model have longer tails, with spikes and a sheet that is tight here
// and loose there.
const (
	stackBumps = 25.0
	lineBumps  = 100.0
)

// What a leak must be, beside likely.
const (
	leastRise  = 0.3 // of the loss rate from before, as high as it may have been
	leastAlone = 3.0 // z of a line for itself, to be named
	earlyMore  = 4.0 // by which z must be higher when the test goes live; nothing after as long again
)

// threshold of z of a line (of all: -1) for the false-alarm rate that was asked for.
func (s *State) threshold(line int) float64 {
	return thresholdOf(line, s.Setup.Lines, s.Setup.FalseAlarmsPerStackDay)
}

func thresholdOf(line, lines int, perDay float64) float64 {
	bumps := stackBumps
	if line >= 0 {
		bumps = lineBumps
	}
	return math.Sqrt(2 * math.Log(bumps*float64(lines+1)/perDay))
}

// judge looks for a leak, a blocked line or the end of a leak.
func (s *State) judge() []Event {
	if s.Raised != nil {
		return s.mending()
	}
	if s.At >= s.Hold {
		if events := s.still(); len(events) > 0 {
			return events
		}
	}
	if e := s.blocked(); e != nil {
		return []Event{*e}
	}
	best, over := found{}, earlyMore*max(0, 2-(s.At-s.Start)/quietHours)
	for line := -1; line < s.Setup.Lines; line++ {
		if line >= 0 && (s.Lines[line].Cause.Kind != "" || s.Setup.Lines == 1) {
			continue
		}
		f := s.Bank.best(line, 1, s.At)
		if above := f.z - s.threshold(line); above > over && (line < 0 || s.Bank.alone(f.onset, line, f.shape).z > leastAlone) {
			best, over = f, above
		}
	}
	if best.rate == 0 || s.doubtful(best) || s.stepped(best) || s.At < s.Hold || s.outRisen(best) || s.sized(best).rate < leastRise*s.Ref.at(s.At).Windy {
		return nil
	}
	return []Event{s.call(best)}
}

// call raises the leak that was found.
func (s *State) call(best found) Event {
	low, high := s.Bank.interval(best, 1, s.At)
	s.raise(Event{Kind: Leak, Line: best.line, Onset: s.Bank.Onset[best.onset], OnsetLow: low, OnsetHigh: high, Z: best.z, Alone: s.alone(best)}, best)
	return s.Raised.Event
}

// raise notes a leak, moves the reference and the filter to it, and holds back
// what the fit says from now on.
func (s *State) raise(e Event, f found) {
	f = s.sized(f)
	before := s.Ref.at(e.Onset).Loss
	e.LossBefore, e.LossAfter, e.LossSD = 24*before, 24*(before+f.rate), 24*f.sd
	s.Ref.freeze(e.Onset)
	s.Raised = &raised{Event: e, Rate: f.rate, Now: f.rate, Level: s.level(), At: s.At, Hour: s.At}
	s.accept(f)
}

// shareSD is how far the share of the gas space that a line stands for may lie
// from the one that fits best, of ln.
const shareSD = 0.7

// sized is a change found at a line with its size put right by what the stack as a
// whole did since.
func (s *State) sized(f found) found {
	if f.line < 0 || f.share == 0 {
		return f
	}
	all := s.Bank.at(f.onset, -1, 1, s.At)
	weight := 1 / (f.sd*f.sd + shareSD*shareSD*f.rate*f.rate)
	if all.sd > 0 {
		w := 1 / (all.sd * all.sd)
		if rate := (weight*f.rate + w*all.rate) / (weight + w); rate*f.rate > 0 {
			f.share *= f.rate / rate
			f.rate = rate
		}
		weight += w
	}
	f.sd = 1 / math.Sqrt(weight)
	return f
}

// accept moves the filter to a change of rate that was found, and opens the rate
// for what is not known of it.
func (s *State) accept(f found) {
	for j, t := range s.Bank.stack(f.onset, aRise) {
		s.Filter.Stack.Mean[j] += f.rate * float64(t)
	}
	if f.line >= 0 {
		for j, t := range s.Bank.line(f.onset, f.line, f.shape) {
			s.Filter.Lines[f.line].Mean[j] += f.share * f.rate * float64(t)
		}
		if f.shape == onward {
			s.Filter.Lines[f.line].Mean[atMix] -= f.share * f.rate / s.Ref.sizes(s.At, s.At-s.Start).mix
		}
	}
	size := s.slopeSize()
	s.Filter.Stack.Cov[atSlope*stackStates+atSlope] += f.sd * f.sd / (size * size)
	s.Bank.clear()
}

// flat reports whether a change of a line alone means that the line stands still
// while the stack does not.
func (s *State) flat(f found) bool {
	age := s.At - s.Bank.Onset[f.onset]
	stack := s.level() - s.Bank.Level[f.onset]
	line, sd := stack-f.rate*age, f.sd*age
	return math.Abs(stack) > 0.04 && math.Abs(line) < 2*sd+0.01 && math.Abs(line) < math.Abs(stack)/2
}

// sureBlocked is how far above the threshold z must be before a line that seems
// to stand still while the others rise is called blocked rather than leaking.
const sureBlocked = 2.0

// sameDigits is the least −ln of the chance that a line's readings are equal by
// themselves at which it is not said to fall: one in 20, until it reads anything else.
const sameDigits = 3.0

// doubtful reports whether a leak at a line may as well be a blocked line.
func (s *State) doubtful(f found) bool {
	if f.line >= 0 && s.Lines[f.line].Still.Same > sameDigits {
		return true
	}
	if f.line < 0 || f.z >= s.threshold(f.line)+sureBlocked {
		return false
	}
	for k, onset := range s.Bank.Onset {
		if s.At-onset >= youngest && s.flat(s.Bank.alone(k, f.line, onward)) {
			return true
		}
	}
	return false
}

// blocked looks for a line that stands still while the others change.
func (s *State) blocked() *Event {
	if s.Setup.Lines < 2 {
		return nil
	}
	for i := range s.Lines {
		if s.Lines[i].Cause.Kind != "" {
			continue
		}
		for k, onset := range s.Bank.Onset {
			if s.At-onset < youngest {
				break
			}
			f := s.Bank.alone(k, i, onward)
			limit := s.threshold(i)
			if f.z > 0 {
				limit += sureBlocked
			}
			// Where another line falls, the rest only seem to rise.
			if math.Abs(f.z) > limit && s.flat(f) && (f.z > 0 || s.other(i, 1) < -f.z) {
				return s.block(f)
			}
		}
	}
	return nil
}

func (s *State) block(f found) *Event {
	i, onset := f.line, s.Bank.Onset[f.onset]
	drift := -f.rate * (s.At - onset)
	for j, t := range s.Bank.line(f.onset, i, f.shape) {
		s.Filter.Lines[i].Mean[j] += f.rate * float64(t)
	}
	mean, _ := s.Filter.see(i)
	s.set(i, Blocked, onset, s.Lines[i].Ref+mean, drift)
	s.Bank.place(i)
	return &Event{Kind: Blocked, Line: i, Onset: onset, OnsetLow: max(onset-onsetStep, 0), OnsetHigh: min(onset+onsetStep, s.At)}
}

// hear adds a standardised innovation to the running hour of a raised leak.
func (r *raised) hear(i int, z float64) {
	if r != nil && (r.Event.Line < 0 || r.Event.Line == i) {
		r.Sum, r.N = r.Sum+z, r.N+1
	}
}

// CalmHours is how long a leak's rise must be gone before it is cleared: it was mended
// so many hours ago.
const CalmHours = 3

// figures of the end of a leak.
const (
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
	if f := s.Bank.best(r.Event.Line, -1, s.At); r.Back.High > cusumLimit && f.z > 3 && -f.rate > r.Rate/4 {
		s.slower(f)
	}
	s.hold()
	if !s.gone() {
		r.Calm = 0
		return nil
	}
	if r.Calm++; r.Calm < CalmHours {
		return nil
	}
	return []Event{s.clear()}
}

// hold moves what the filter learned of the leak's rate into the reference, where
// it stays; in the filter it would fade like an error of the fit.
func (s *State) hold() {
	slope := &s.Filter.Stack.Mean[atSlope]
	s.Raised.Now -= s.slopeSize() * *slope
	*slope = 0
}

// slower takes in that the leak's rate fell; at once after it was raised that says
// that it was taken too large.
func (s *State) slower(f found) {
	r := s.Raised
	f = s.sized(f)
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
// surely below a quarter.
func (s *State) gone() bool {
	r := s.Raised
	rise, sd := s.rise()
	if s.level() < r.Level+math.Log(leastShare) || r.Event.Alone && !r.Changed {
		return false // too little gas to say; or only the line showed it, and has shown no end
	}
	return r.Changed && rise+sd < r.Rate/2 || rise+2*sd < r.Rate/4
}

// clear ends the leak. What of its rise is in the reference goes over to the rate
// of the filter.
func (s *State) clear() Event {
	e := s.Raised.Event
	rise, sd := s.rise()
	e.Cleared, e.LossAfter, e.LossSD = true, max(e.LossBefore+24*rise, 0), 24*sd
	s.Filter.Stack.Mean[atSlope] = -rise / s.slopeSize()
	s.Raised = nil
	s.Ref.thaw(s.At)
	s.Bank.clear()
	return e
}

// slopeSize is that of the slow rate of the stack, per hour.
func (s *State) slopeSize() float64 { return s.Ref.sizes(s.At, s.At-s.Start).slope }

// rise is by how much the loss rate is above the reference from before the leak,
// per hour, and its standard deviation.
func (s *State) rise() (rise, sd float64) {
	t, size := &s.Filter.Stack, s.slopeSize()
	return s.Raised.Now - size*t.Mean[atSlope], size * math.Sqrt(max(t.Cov[atSlope*stackStates+atSlope], 0))
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
	size := s.slopeSize()
	s.Filter.Stack.Cov[atSlope*stackStates+atSlope] += rate * rate / (size * size)
	s.Bank.clear()
	return []Event{e}
}
