package leak

import (
	"math"
	"slices"
)

// bumps is how many times a stack-day and place the statistic tries: the level z is
// crossed bumps·e^(−z²/2) times, as for a smooth Gaussian process (Rice 1944). A normal
// record needs no more than 14 (TestCalibration); more are taken, for gusts and spikes
// have longer tails.
const bumps = 150.0

// What a leak must be, beside likely.
const (
	leastRise  = 0.1 // of the loss rate from before
	leastAlone = 3.0 // z of a line for itself, to be named
	earlyMore  = 4.0 // by which z must be higher when the test goes live; nothing after as long again
)

// threshold of z, of a line or of all, for the false-alarm rate that was asked for.
func (s *State) threshold() float64 {
	return thresholdOf(s.Setup.Lines, s.Setup.FalseAlarmsPerStackDay)
}

func thresholdOf(lines int, perDay float64) float64 {
	return math.Sqrt(2 * math.Log(bumps*float64(lines+1)/perDay))
}

// judge looks for a leak, a blocked line or the end of a leak.
func (s *State) judge() []Event {
	if s.Raised != nil {
		if events := s.mending(); len(events) > 0 {
			return events
		}
		return s.another()
	}
	if s.Lost == nil { // a sheet that is shut at last leaves the lines as still as a pump that stops
		if events := s.still(); len(events) > 0 {
			return events
		}
	}
	if e := s.blocked(); e != nil {
		return []Event{*e}
	}
	s.noticeStep()
	best := s.likeliest(-1, 0, earlyMore*max(0, 2-(s.At-s.Start)/quietHours))
	if best.rate == 0 || s.refuted(best) {
		return nil
	}
	return []Event{s.call(best)}
}

// likeliest is the change since hours, from a place on, whose z is the most above the
// threshold and above it by more than over; its rate is 0 where none is.
func (s *State) likeliest(from int, since, over float64) (best found) {
	for line := from; line < s.Setup.Lines; line++ {
		if line >= 0 && (s.Lines[line].Cause.Kind != "" || s.Lines[line].Used < leastSeries || s.Setup.Lines == 1) {
			continue
		}
		f := s.best(line)
		if above := f.z - s.threshold(); above > over && s.Bank.Onset[f.onset] >= since && (line < 0 || s.Bank.alone(f.onset, line, f.shape).z > leastAlone) {
			best, over = f, above
		}
	}
	return best
}

// refuted reports whether a change that was found is too small to be a leak, or something
// else.
func (s *State) refuted(f found) bool {
	return s.doubtful(f) || s.At < s.Hold || s.outRisen(f) || s.sized(f).rate < leastRise*s.Ref.at(s.At).Loss || s.isBack(f) || s.stepped(f)
}

// call raises the leak that was found.
func (s *State) call(best found) Event {
	onset, low, high := s.began(best)
	s.raise(Event{Kind: Leak, Line: best.line, Onset: onset, OnsetLow: low, OnsetHigh: high, Z: best.z, Alone: s.alone(best)}, best)
	return s.Raised.Event
}

// raise notes a leak, moves the reference and the filter to it, and holds back
// what the fit says from now on.
func (s *State) raise(e Event, f found) {
	f = s.sized(f)
	before := s.Ref.at(e.Onset).Loss
	e.LossBefore, e.LossAfter, e.LossSD = 24*before, 24*(before+f.rate), 24*f.sd
	s.Ref.freeze(e.Onset)
	s.tellOf(&raised{Event: e, Rate: f.rate, Now: f.rate, Level: s.gas(), At: s.At, Hour: s.At})
	s.accept(f)
}

// tellOf makes a leak the one that stands. One of the whole stack takes the place of what
// half a day lost.
func (s *State) tellOf(r *raised) {
	s.Raised = r
	if r.Event.Line < 0 {
		s.Lost = nil
	}
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
			s.Filter.Lines[f.line].Mean[atMix] -= f.share * f.rate / s.Ref.sizes(s.At, s.At-s.Start, 1).mix
		}
	}
	size := s.slopeSize()
	s.Filter.Stack.Cov[atSlope*stackStates+atSlope] += f.sd * f.sd / (size * size)
	s.Bank.clear()
}

// What a leak beside another must show. Gas flows to a torn place from its neighbours, which
// fall beside the rest for some hours.
const (
	anotherAfter = 6.0 // hours from the onset of the last to its own
	anotherMore  = 1.0 // of z
)

// another looks for a leak at another line than those that are raised. What the stack as a
// whole does is followed meanwhile and tells nothing of it.
func (s *State) another() []Event {
	r := s.Raised
	best := s.likeliest(0, r.newest().Onset+anotherAfter, anotherMore)
	if best.rate == 0 || r.at(best.line) || s.refuted(best) {
		return nil
	}
	onset, low, high := s.Bank.since(best, s.At)
	e := Event{Kind: Leak, Line: best.line, Onset: onset, OnsetLow: low, OnsetHigh: high, Z: best.z, Alone: s.alone(best)}
	best = s.sized(best)
	before := s.Ref.at(e.Onset).Loss + r.Rate
	e.LossBefore, e.LossAfter, e.LossSD = 24*before, 24*(before+best.rate), 24*best.sd
	r.Later = append(r.Later, e)
	r.Rate, r.Now, r.Level, r.At = r.Rate+best.rate, r.Now+best.rate, s.gas(), s.At
	r.Changed, r.Calm, r.Back = false, 0, cusum{}
	s.accept(best)
	return []Event{e}
}

// all lists what is raised, the oldest first.
func (r *raised) all() []Event { return append([]Event{r.Event}, r.Later...) }

// newest is the leak that was raised last.
func (r *raised) newest() Event { return r.all()[len(r.Later)] }

// at reports whether a leak is raised at a line.
func (r *raised) at(line int) bool {
	return slices.ContainsFunc(r.all(), func(e Event) bool { return e.Line == line })
}

// place is where what is raised shows: a line, or -1.
func (r *raised) place() int {
	if len(r.Later) > 0 {
		return -1
	}
	return r.Event.Line
}

// hear adds a standardised innovation to the running hour of a raised leak.
func (r *raised) hear(i int, z float64) {
	if r != nil && (r.place() < 0 || r.place() == i) {
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
	if f := s.Bank.best(r.place(), -1, s.At); r.Back.High > cusumLimit && f.z > 3 && -f.rate > r.Rate/4 {
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
	return s.clear()
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
	if s.gas() < r.Level+math.Log(leastShare) || r.alone() && !r.Changed {
		return false // too little gas to say; or only the line showed it, and has shown no end
	}
	return r.Changed && rise+sd < r.Rate/2 || rise+2*sd < r.Rate/4
}

// alone reports whether only lines showed what is raised.
func (r *raised) alone() bool {
	return !slices.ContainsFunc(r.all(), func(e Event) bool { return !e.Alone })
}

// clear ends what is raised. What of its rise is in the reference goes over to the rate of
// the filter.
func (s *State) clear() []Event {
	events := s.Raised.all()
	rise, sd := s.rise()
	for i := range events {
		e := &events[i]
		e.Cleared, e.LossAfter, e.LossSD = true, max(events[0].LossBefore+24*rise, 0), 24*sd
	}
	s.Filter.Stack.Mean[atSlope] = -rise / s.slopeSize()
	s.Raised = nil
	s.Ref.thaw(s.At)
	s.Bank.clear()
	s.Pace.forget(-1)
	return events
}

// slopeSize is that of the slow rate of the stack, per hour.
func (s *State) slopeSize() float64 { return s.Ref.sizes(s.At, s.At-s.Start, 1).slope }

// rise is by how much the loss rate is above the reference from before the leak,
// per hour, and its standard deviation.
func (s *State) rise() (rise, sd float64) {
	t, size := &s.Filter.Stack, s.slopeSize()
	return s.Raised.Now - size*t.Mean[atSlope], size * math.Sqrt(max(t.Cov[atSlope*stackStates+atSlope], 0))
}
