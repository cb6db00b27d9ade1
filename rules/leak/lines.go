package leak

import "math"

// line is what is remembered of one line.
type line struct {
	Ref   float64 // what was expected of it since the filter began, ln C
	Known bool    // its level was found
	Used  int     // readings used since then, up to 100
	Good  float64 // hours of the newest reading that came as predicted
	Noise float64 // true variance of the noise over the stated one
	Tie   float64 // correlation of an innovation with the one before
	Last  float64 // newest innovation, standardised
	PPM   float64 // newest reading
	Step  float64 // the smallest between two readings, ppm
	Same  float64 // −ln of the chance that the readings stay equal by themselves
	Still float64 // hours since which they are equal

	Down, Up int     // readings in a row far below, far above what is predicted
	DownAt   float64 // hours of the first of them

	Cause Kind    `json:",omitempty"` // LineOff or Blocked while raised
	Onset float64 // of the cause
	Held  float64 // ln ppm at which a blocked line stands
	Gap   float64 // ln of the line over the mean of the others before
	Back  int     // readings in a row that look right again
}

// fall is all lines together falling at once.
type fall struct {
	Bins, WithGas int     // in a row; of them with gas still
	Since, Before float64 // hours: of the first; of the last good bin
	By            float64 // ln of the fall so far
}

const (
	farLn       = math.Ln2 // a reading this far from the predicted is not of the same gas
	farSD       = 6.0      // and this many standard deviations
	clipSD      = 3.0      // beyond this a reading is believed less
	offRuns     = 2        // readings in a row
	jumpRuns    = 3
	fallRuns    = 3
	goneShare   = 0.05 // of the predicted: below this the gas is gone at once
	noiseMemory = 1.0 / 150
	leastNoise  = 0.15
	mostNoise   = 25.0
	mostTie     = 0.9
	tieShare    = 1.4
	stuckSure   = 18.0 // −ln of a chance: one in 65 million
	stuckHours  = 1.0
	leastLevel  = 10.0 // ppm: below it a line that comes off is not told from one that is empty
)

// advance carries everything from the last bin to hours.
func (s *State) advance(hours float64) {
	if !(hours > s.At) {
		return
	}
	dt := hours - s.At
	for i := range s.Lines {
		s.Lines[i].Ref += s.Ref.change(i, s.At, hours) - s.shift(i)*dt
	}
	ms := s.Ref.sizes(hours, hours-s.Start).moves(s.Setup.Lines, dt)
	s.Filter.predict(ms)
	s.Bank.predict(ms, dt)
	s.At = hours
}

// shift is the rise of the loss rate that the reference of a line holds while a
// leak is raised, per hour.
func (s *State) shift(i int) float64 {
	if r := s.Raised; r != nil && (r.Event.Line < 0 || r.Event.Line == i) {
		return r.Now
	}
	return 0
}

// read is a reading held against what is predicted of it.
type read struct {
	line        int
	ppm, y      float64 // y: ln ppm, floored at a tenth of a ppm
	noise       float64 // variance of y
	innovation  float64
	total       float64 // variance of the innovation, with the noise as it is
	fit, isFar  bool    // fit to be used; far from the predicted
	gone, fresh bool    // almost nothing left; line without a level yet
}

// noise is the variance that the noise of a line counts with. Noise that is tied
// from one reading to the next averages out more slowly, by (1+ρ)/(1−ρ) for a
// first-order process. The filter takes some of it for the gas, so ρ is seen too
// small; tieShare makes up for that (from the simulation of the tests).
func (l *line) noise(r read) float64 {
	return l.Noise * r.noise * math.Pow((1+l.Tie)/(1-l.Tie), tieShare)
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
	r.total = variance + l.noise(r)
	r.isFar = math.Abs(r.innovation) > max(farLn, farSD*math.Sqrt(r.total))
	r.gone = r.innovation < math.Log(goneShare)
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
		s.still(r)
		switch {
		case l.Cause != "":
			events = s.back(r, events)
		case r.fresh:
			s.find(r)
		case r.isFar:
			s.far(r)
		default:
			l.Down, l.Up, l.Good = 0, 0, s.At
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
	s.Filter.place(r.line, r.y-l.Ref, l.Noise*r.noise)
	s.Bank.place(r.line)
	l.Known, l.Used, l.Down, l.Up, l.Good, l.Last = true, 1, 0, 0, s.At, 0
}

// far counts readings that are not of the gas that was predicted. A line that
// stays above gets a new level.
func (s *State) far(r read) {
	l := &s.Lines[r.line]
	if r.innovation > 0 {
		l.Down = 0
		if l.Up++; l.Up >= jumpRuns {
			s.find(r)
		}
		return
	}
	l.Up = 0
	if l.Down++; l.Down == 1 {
		l.DownAt = s.At
	}
}

// use updates the filter with a reading.
func (s *State) use(r read) {
	l := &s.Lines[r.line]
	mean, variance := s.Filter.see(r.line)
	e := r.y - l.Ref - mean
	plain := variance + l.Noise*r.noise
	total := variance + l.noise(r)
	total = max(total, e*e/(clipSD*clipSD))
	z := min(max(e/math.Sqrt(plain), -clipSD), clipSD)
	s.learn(l, z, variance/plain)
	s.Raised.hear(r.line, e/math.Sqrt(total))
	gain := make([]float64, len(s.Filter.Mean))
	s.Filter.update(r.line, e, total, gain)
	s.Bank.update(r.line, e, total, gain)
	l.Used = min(l.Used+1, 100)
}

// learn follows the noise of a line: its size, over what was stated, and the
// correlation of one reading with the next. share is what of the innovation's
// variance is not noise.
func (s *State) learn(l *line, z, share float64) {
	l.Noise = min(max(l.Noise*(1+noiseMemory*(1-share)*(z*z-0.97)), leastNoise), mostNoise)
	l.Tie = min(max(l.Tie+noiseMemory*(z*l.Last-l.Tie), 0), mostTie)
	l.Last = z
}

// off says that a line came off: it fell to less than half within two readings
// and stays there, and a neighbour that was read since did not.
func (s *State) off(r read, events []Event) []Event {
	l := &s.Lines[r.line]
	if l.Cause != "" || l.Down < offRuns || l.Used < jumpRuns || !s.neighbour(r.line, l.DownAt) || r.y-r.innovation < math.Log(leastLevel) {
		return events
	}
	s.set(r.line, LineOff, l.DownAt, r.y, 0)
	return append(events, Event{Kind: LineOff, Line: r.line, Onset: l.DownAt, OnsetLow: max(l.Good, 0), OnsetHigh: l.DownAt})
}

// neighbour reports whether another line read as predicted since hours; a line
// that is alone has none to contradict it.
func (s *State) neighbour(i int, since float64) bool {
	alone := true
	for j := range s.Lines {
		l := &s.Lines[j]
		if j == i || l.Cause != "" || !l.Known {
			continue
		}
		alone = false
		if l.Good >= since {
			return true
		}
	}
	return alone
}

// set raises a cause of a line and takes the line out of the test. held is the ln
// ppm at which it stands; drift what its level was moved by the cause so far.
func (s *State) set(i int, cause Kind, onset, held, drift float64) {
	l := &s.Lines[i]
	l.Cause, l.Onset, l.Held, l.Back, l.Down, l.Up = cause, onset, held, 0, 0, 0
	l.Gap = l.Ref + s.Filter.Mean[lineLevel(i)] - drift
	if others, ok := s.others(i); ok {
		l.Gap -= others - s.Filter.Mean[atLevel]
	}
}

// others is the mean ln ppm that is predicted of the lines but i; false without any.
func (s *State) others(i int) (float64, bool) {
	sum, n := 0.0, 0.0
	for j, l := range s.Lines {
		if j != i && l.Cause == "" && l.Known {
			mean, _ := s.Filter.see(j)
			sum, n = sum+l.Ref+mean, n+1
		}
	}
	if n == 0 {
		return s.level(), false
	}
	return sum / n, true
}

// back looks at a line that is off or blocked: it clears when three readings in a
// row are nearer to what the neighbours say than to where it stood.
func (s *State) back(r read, events []Event) []Event {
	l := &s.Lines[r.line]
	others, ok := s.others(r.line)
	due := l.Gap + others
	if !ok {
		due = l.Gap + s.Filter.Mean[atLevel]
	}
	near := math.Abs(r.y-due) < math.Abs(r.y-l.Held) && math.Abs(r.y-due) < 2*farLn && math.Abs(r.y-l.Held) > 3*math.Sqrt(r.noise)
	if l.Cause == LineOff {
		near = math.Abs(r.y-due) < farLn
	}
	if !near || !r.fit {
		l.Back = 0
		return events
	}
	if l.Back++; l.Back < jumpRuns {
		return events
	}
	e := Event{Kind: l.Cause, Line: r.line, Onset: l.Onset, OnsetLow: l.Onset, OnsetHigh: l.Onset, Cleared: true}
	l.Cause, l.Back = "", 0
	s.find(r)
	return append(events, e)
}

// still adds to the evidence that a line's readings are equal for no good reason.
// The chance that two equal ones follow by themselves is that of a normal value
// rounded to the smallest step seen, step/(2σ√π), taken half again as high.
func (s *State) still(r read) {
	l := &s.Lines[r.line]
	if r.ppm != l.PPM || !r.fit {
		if step := math.Abs(r.ppm - l.PPM); l.PPM > 0 && r.fit && step > 0 && (l.Step == 0 || step < l.Step) {
			l.Step = step
		}
		l.PPM, l.Same, l.Still = r.ppm, 0, s.At
		return
	}
	if sigma := math.Sqrt(min(l.Noise, 1)*r.noise) * r.ppm; l.Step > 0 {
		l.Same -= math.Log(min(0.42*l.Step/sigma, 1))
	}
}

// stuck says that a line stands still to the digit while a neighbour does not.
func (s *State) stuck(r read, events []Event) []Event {
	l := &s.Lines[r.line]
	if l.Cause != "" || l.Same < stuckSure || s.At-l.Still < stuckHours || !s.otherMoves(r.line) {
		return events
	}
	s.set(r.line, Blocked, l.Still, r.y, 0)
	return append(events, Event{Kind: Blocked, Line: r.line, Onset: l.Still, OnsetLow: l.Still, OnsetHigh: l.Still})
}

// otherMoves reports whether another line was read since this one stands still,
// and changed.
func (s *State) otherMoves(i int) bool {
	for j, l := range s.Lines {
		if j != i && l.Cause == "" && l.Still > s.Lines[i].Still && l.Known {
			return true
		}
	}
	return false
}
