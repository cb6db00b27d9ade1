package leak

import "math"

// line is what is remembered of one line.
type line struct {
	Ref   float64 // what was expected of it since the filter began, ln C
	Known bool    // its level was found
	Used  int     // readings used since then, up to 100
	Good  float64 // hours of the newest reading that came as predicted
	Was   float64 // ln ppm of that reading
	PPM   float64 // newest reading
	Hush  hush    // of the noise
	Still still   // of readings that stay equal
	Far   far     `json:",omitzero"` // of readings that are not of the gas that was predicted
	Drop  int     // readings in a row that fell at once and were held back
	Miss  float64 // newest reading less what was predicted, ln
	Seen  float64 // its hours
	Cause cause   `json:",omitzero"`
	Told  told    // of the stack by its newest reading that was used
	Stand float64 // where it stands by its newest readings, ln C less what was expected
	Rest  rest    // how restless it is
}

// told is what a reading tells of the stack's level: the reading less how far its line is
// thought to lie from the stack.
type told struct{ At, Level, Var float64 }

// hush is what is known of the noise of a line.
type hush struct {
	Noise       float64    // its variance as a multiple of the stated one
	Tie         float64    // correlation of the noise of a reading with the one before
	Past        [6]float32 // newest readings, less what was expected, newest first
	Count       int        // of them
	At          float64    // hours of the newest of them
	Near, Apart float32    // mean squares of second differences one and three readings apart
	Weight      float32    // readings that these hold
}

// far counts readings in a row that lie far from what was predicted.
type far struct {
	Down, Up int
	DownAt   float64 // hours of the first below
}

// cause is why a line is taken out of the test.
type cause struct {
	Kind  Kind // LineOff, Blocked or Drifting while raised; empty = it is in
	Onset float64
	Held  float64 // ln ppm at which the line stands
	Gap   float64 // ln of the line over the mean of the others before
	Depth float64 // of LineOff: ln by which the line fell
	Back  int     // readings in a row that look right again
	Near  float64 // their mean, ln ppm less what is expected
}

const (
	farLn      = math.Ln2 // a reading this far from the predicted is not of the same gas
	farSD      = 6.0      // and this many standard deviations
	clipSD     = 3.0      // beyond this a reading is believed less
	farNoise   = 0.01
	offRuns    = 2 // readings in a row
	jumpRuns   = 3
	lostRuns   = 6
	dropLn     = 0.15 // a reading this far below the predicted fell at once
	goneShare  = 0.05 // of the predicted: below this the gas is gone at once
	leastLevel = 10.0 // ppm: below it a line that comes off is not told from one that is empty
)

// advance carries everything from the last bin to hours.
func (s *State) advance(hours float64) {
	if !(hours > s.At) {
		return
	}
	dt := hours - s.At
	for i := range s.Lines {
		s.Lines[i].Ref += s.Ref.change(i, s.At, hours) - s.shift()*dt
	}
	z := s.Ref.sizes(hours, hours-s.Start, s.Wind.at(hours))
	ms := z.moves(hours, dt)
	s.Bank.Young = z.young
	s.Filter.predict(&ms)
	s.Bank.predict(&ms, hours, dt)
	s.At = hours
}

// shift is the rise of the loss rate that the reference holds while a leak is
// raised, per hour. Beside a torn line the others fall as fast, once it has fallen.
func (s *State) shift() float64 {
	if s.Raised == nil {
		return 0
	}
	return s.Raised.Now
}

// read is a reading held against what is predicted of it.
type read struct {
	line        int
	ppm, y      float64 // y: ln ppm, floored at a tenth of a ppm
	noise       float64 // variance of y
	innovation  float64
	total       float64 // variance of the innovation, with the noise as it is
	fit, isFar  bool    // fit to be used; far from the predicted
	drop        bool    // below the predicted by more than leaks or noise bring about at once
	gone, fresh bool    // almost nothing left; line without a level yet
}

// readings sorts out the readings of a bin: the first of each line, in their order.
func (s *State) readings(obs []Obs) []read {
	var out []read
	seen := make([]bool, s.Setup.Lines)
	for _, o := range obs {
		if o.Line < 0 || o.Line >= s.Setup.Lines || seen[o.Line] || !finite(o.PPM) || o.PPM > 1e6 {
			s.Refused++
			continue
		}
		seen[o.Line] = true
		out = append(out, s.weigh(o))
	}
	return out
}

func (s *State) weigh(o Obs) read {
	l := &s.Lines[o.Line]
	sd := o.SDLn
	if !(sd > 0) || math.IsInf(sd, 0) {
		sd = defaultSDLn
	}
	r := read{line: o.Line, ppm: o.PPM, y: math.Log(max(o.PPM, 0.1)), noise: max(sd*sd, 1e-6)}
	r.fit = !o.Censored && o.PPM >= leastPPM && sd <= maxSDLn
	if !l.Known {
		r.fresh = true
		return r
	}
	mean, variance := s.Filter.see(o.Line)
	r.innovation = r.y - l.Ref - mean
	r.total = variance + l.Hush.of(r.noise)
	// Little gas is known badly in ln; that it is little is known well.
	r.isFar = math.Abs(r.innovation) > max(farLn, farSD*math.Sqrt(variance+l.Hush.Noise*min(r.noise, farNoise)))
	r.gone = r.innovation < math.Log(goneShare)
	r.drop = r.innovation < -max(dropLn, farSD*math.Sqrt(r.total))
	if o.Censored && r.innovation > -farLn {
		r.isFar = false // over the range, or below a high detection limit: it tells nothing
	}
	return r
}

// take lets the filter and the bank have the readings that can be believed, and
// says which lines came off, stand still or are back.
func (s *State) take(obs []Obs) (events []Event) {
	reads := s.readings(obs)
	s.allFalling(reads)
	for _, r := range reads {
		l := &s.Lines[r.line]
		l.still(r, s.At)
		if !r.fit {
			s.Pace.take(r.line, 0, false)
		}
		if !r.fresh {
			l.Miss, l.Seen = r.innovation, s.At
		}
		if !r.drop {
			l.Drop = 0
		}
		switch {
		case l.Cause.Kind != "":
			events = s.back(r, events)
		case r.fresh:
			s.find(r)
		case r.isFar:
			s.far(r)
		case r.drop && s.At-s.Start >= quietHours && (l.Drop < jumpRuns || s.Fall.goesOn(s.At)):
			l.Drop++ // all may be falling: wait for what it is
			l.Far = far{}
		default:
			l.Far, l.Good, l.Was = far{}, s.At, r.y
			if r.fit {
				s.use(r)
			}
		}
	}
	for _, r := range reads {
		events = s.off(r, events)
		events = s.stuck(r, events)
	}
	return events
}

// find takes the level of a line from a reading.
func (s *State) find(r read) {
	l := &s.Lines[r.line]
	if !r.fit {
		return
	}
	s.Filter.place(r.line, r.y-l.Ref, l.Hush.Noise*r.noise)
	s.Bank.place(r.line)
	s.Recent.forget(r.line, s.Setup.Lines)
	l.Stand = r.y - l.Ref
	l.Known, l.Used, l.Far, l.Good, l.Was, l.Hush.Count = true, 1, far{}, s.At, r.y, 0
}

// far counts readings that lie so far from what was predicted that they cannot be of the same
// gas. A line that stays above gets a new level; in the first hours also one that stays below.
func (s *State) far(r read) {
	l := &s.Lines[r.line]
	if r.innovation > 0 {
		l.Far.Down = 0
		if l.Far.Up++; l.Far.Up >= jumpRuns {
			s.find(r)
		}
		return
	}
	if f := &s.Fall; f.Bins >= fallRuns && (f.Stopped || f.goesOn(s.At)) && s.At-s.Start >= quietHours {
		l.Far = far{} // all fall
		return
	}
	l.Far.Up = 0
	if l.Far.Down++; l.Far.Down == 1 {
		l.Far.DownAt = s.At
	}
	if l.Far.Down >= lostRuns && s.At-s.Start < quietHours {
		s.find(r) // while gas comes off: not gone, only less than a young fit promised
	}
}

// use updates the filter with a reading: the stack's track with what the reading tells of the
// stack, and the line's track with how far the reading lies from what the other lines told of
// it. The two are independent as far as all lines are equally noisy.
func (s *State) use(r read) {
	l := &s.Lines[r.line]
	if s.Ref.known(s.At) && s.At-s.Start >= noiseFrom { // before, what is not noise but release would be learned
		l.Hush.learn(s.At, r.y-l.Ref, r.noise, s.tie())
	}
	line, noise := &s.Filter.Lines[r.line], l.Hush.of(r.noise)
	level := r.y - l.Ref - line.Mean[0]
	others, doubt := s.told(r.line)
	var g gains
	e, total := s.Filter.Stack.clipped(level-s.Filter.Stack.Mean[0], line.Cov[0]+noise)
	s.Raised.hear(r.line, e/math.Sqrt(total))
	s.feel(e / math.Sqrt(total))
	s.Filter.Stack.update(e, total, g.stack[:])
	s.Bank.updateStack(e, total, g.stack[:])
	l.Stand += movesBy(s.At-l.Told.At) * (r.y - l.Ref - l.Stand)
	l.Told = told{s.At, level, line.Cov[0] + noise}
	s.Recent.add(s.At, r.line, s.Setup.Lines, r.y-l.Ref)
	e, total = line.clipped(level-others, doubt+noise)
	s.settle(r.line, e/math.Sqrt(total))
	line.update(e, total, g.line[:])
	s.Bank.updateLine(r.line, e, total, g.line[:])
	l.Used = min(l.Used+1, 100)
	s.Pace.take(r.line, r.y, true)
}

// toldHours is how long what a reading told of the stack is of use.
const toldHours = 0.4

// told is the level of the stack by the newest readings of all lines but i, and its variance;
// where there are no such readings it is taken from the track of the stack.
func (s *State) told(i int) (level, variance float64) {
	sum, weight := 0.0, 0.0
	for j := range s.Lines {
		if t := &s.Lines[j].Told; j != i && t.Var > 0 && s.At-t.At < toldHours {
			sum, weight = sum+t.Level/t.Var, weight+1/t.Var
		}
	}
	if weight == 0 {
		return s.Filter.Stack.Mean[0], s.Filter.Stack.Cov[0]
	}
	return sum / weight, 1 / weight
}

// set raises a cause of a line and takes the line out of the test. held is the ln
// ppm at which it stands; drift what its level was moved by the cause so far.
func (s *State) set(i int, kind Kind, onset, held, drift float64) {
	l := &s.Lines[i]
	gap := l.Ref + s.Filter.Lines[i].Mean[0] - drift
	if others, ok := s.others(i); ok {
		gap -= others - s.Filter.Stack.Mean[0]
	}
	l.Far, l.Cause = far{}, cause{Kind: kind, Onset: onset, Held: held, Gap: gap}
}

// gas is the mean ln ppm that is predicted of the lines; 0 where none is known.
func (s *State) gas() float64 {
	if ln, known := s.others(-1); known {
		return ln
	}
	return 0
}

// others is the mean ln ppm that is predicted of the lines but i; false without any.
func (s *State) others(i int) (float64, bool) {
	sum, n := 0.0, 0.0
	for j, l := range s.Lines {
		if j != i && l.Cause.Kind == "" && l.Known {
			mean, _ := s.Filter.see(j)
			sum, n = sum+l.Ref+mean, n+1
		}
	}
	if n == 0 {
		return s.level(), false
	}
	return sum / n, true
}

// back looks whether a line that is off or blocked is right again: when three readings in a row
// are nearer to what the other lines tell than to where the line stood.
func (s *State) back(r read, events []Event) []Event {
	l := &s.Lines[r.line]
	if l.Cause.Kind == Drifting {
		return events
	}
	others, ok := s.others(r.line)
	due := l.Cause.Gap + others
	if !ok {
		due = l.Cause.Gap + s.Filter.Stack.Mean[0]
	}
	near := math.Abs(r.y-due) < math.Abs(r.y-l.Cause.Held) && math.Abs(r.y-due) < 2*farLn && math.Abs(r.y-l.Cause.Held) > 3*math.Sqrt(r.noise)
	if l.Cause.Kind == LineOff {
		near = math.Abs(r.y-due) < min(farLn, l.Cause.Depth/2)
	}
	over := l.Cause.Kind == LineOff && r.ppm >= leastPPM // as full as the others, if over the range
	if !near || !r.fit && !over {
		l.Cause.Back = 0
		return events
	}
	l.Cause.Back++
	l.Cause.Near += (r.y - l.Ref - l.Cause.Near) / float64(l.Cause.Back)
	if l.Cause.Back < jumpRuns {
		return events
	}
	r.y = l.Ref + l.Cause.Near
	e := Event{Kind: l.Cause.Kind, Line: r.line, Onset: l.Cause.Onset, OnsetLow: l.Cause.Onset, OnsetHigh: l.Cause.Onset, Cleared: true}
	l.Cause, l.Known = cause{}, false
	s.find(r)
	return append(events, e)
}
