package leak

import "math"

// What falls at once and then goes on as before is no leak, which makes gas fall faster,
// not at once: a line that was swapped or that is free again after it was blocked, an
// instrument that was set anew, a pump that runs again. Whether a fall came at once is
// seen in the newest readings themselves, one by one.

// recent is what the lines read in the newest bins, less what was expected, ln C.
type recent struct {
	At singles // hours of the bins
	Ln singles // by bin and line; unread where nothing was used
}

const (
	recentHours = 3.0
	recentBins  = 36
	unread      = 1e6
)

// fits reports whether the parts fit each other.
func (r *recent) fits(lines int) bool {
	return len(r.At) <= recentBins && len(r.Ln) == len(r.At)*lines
}

// add notes what a line read in the bin at hours.
func (r *recent) add(hours float64, line, lines int, ln float64) {
	n, at := len(r.At), float32(hours)
	if n == 0 || r.At[n-1] != at {
		drop := 0
		for drop < n && (n-drop >= recentBins || at-r.At[drop] > recentHours) {
			drop++
		}
		r.At, r.Ln = r.At[:copy(r.At, r.At[drop:])], r.Ln[:copy(r.Ln, r.Ln[drop*lines:])]
		r.At = append(r.At, at)
		for range lines {
			r.Ln = append(r.Ln, unread)
		}
	}
	r.Ln[len(r.Ln)-lines+line] = float32(ln)
}

// forget drops what was read of a line, which is of another place or wrong.
func (r *recent) forget(line, lines int) {
	for k := range r.At {
		r.Ln[k*lines+line] = unread
	}
}

// series are points of one level and one variance.
type series struct {
	at, ln   []float64
	variance float64
}

// of is what was read of a line.
func (r *recent) of(line, lines int) (out series) {
	for k, hours := range r.At {
		if x := r.Ln[k*lines+line]; x != unread {
			out.at, out.ln = append(out.at, float64(hours)), append(out.ln, float64(x))
		}
	}
	return out
}

// mean of the points.
func (p *series) mean() float64 {
	sum := 0.0
	for _, x := range p.ln {
		sum += x
	}
	return sum / float64(len(p.ln))
}

// newest is the last point until hours; ok is false where it is older than what a
// reading tells of the stack is of use.
func (p *series) newest(hours float64) (ln float64, ok bool) {
	for i := len(p.at) - 1; i >= 0; i-- {
		if p.at[i] <= hours {
			return p.ln[i], hours-p.at[i] < toldHours
		}
	}
	return 0, false
}

// all is what every line read, but one.
func (s *State) all(but int) (out []series) {
	n := s.Setup.Lines
	for i := range s.Lines {
		one := s.Recent.of(i, n)
		if i == but || s.Lines[i].Cause.Kind != "" || len(one.at) < leastSeries {
			continue
		}
		one.variance = s.Lines[i].Told.Var
		out = append(out, one)
	}
	return out
}

// apart is what a line read less what the others did, each from its own mean.
func (s *State) apart(line int) (out series) {
	others, one, weight := s.all(line), s.Recent.of(line, s.Setup.Lines), 0.0
	for _, o := range others {
		weight += 1 / o.variance
	}
	if len(others) == 0 || len(one.at) < leastSeries {
		return out
	}
	means := make([]float64, len(others))
	for j := range others {
		means[j] = others[j].mean()
	}
	for i, at := range one.at {
		sum, by := 0.0, 0.0
		for j := range others {
			if ln, ok := others[j].newest(at); ok {
				sum, by = sum+(ln-means[j])/others[j].variance, by+1/others[j].variance
			}
		}
		if by > weight/2 {
			out.at, out.ln = append(out.at, at), append(out.ln, one.ln[i]-sum/by)
		}
	}
	out.variance = s.Lines[line].Told.Var + 1/weight
	return out
}

// step is a fall at once (or a rise, below nothing) that was found.
type step struct {
	at, by float64 // hours; ln C
	z      float64
	lead   float64 // twice the log likelihood by which it explains more than a change of rate
}

const (
	leastSeries = 8   // points
	afterStep   = 3   // of them after the step
	mostSquare  = 9.0 // that a point counts with: it may be wild
)

// atOnce looks for the likeliest step in what was read, and holds it against a change of
// rate from the likeliest onset, which goes on or fades.
func atOnce(read []series) (out step) {
	bestStep, bestFall := math.Inf(1), math.Inf(1)
	for _, p := range read {
		for k := 1; k < len(p.at); k++ {
			onset := (p.at[k-1] + p.at[k]) / 2
			left, size, sd := explained(read, func(at float64) float64 { return bit(at > onset) })
			if left < bestStep && len(p.at)-k >= afterStep {
				bestStep = left
				out = step{at: onset, by: -size, z: -size / sd}
			}
			for _, tau := range fade {
				left, _, _ := explained(read, func(at float64) float64 { return faded(max(at-p.at[k-1], 0), tau) })
				bestFall = min(bestFall, left)
			}
		}
	}
	out.lead = bestFall - bestStep
	return out
}

// faded is how far a line has fallen t hours after a loss of 1 per hour began which fades
// over tau.
func faded(t, tau float64) float64 {
	if math.IsInf(tau, 1) {
		return t
	}
	return tau * (1 - math.Exp(-t/tau))
}

func bit(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

// explained fits a level to each series and the size of a shape to all by least squares,
// and returns the squares that are left, in units of the variance, and the size with its
// standard deviation.
func explained(read []series, shape func(at float64) float64) (left, size, sd float64) {
	sxx, sxy := 0.0, 0.0
	for _, p := range read {
		n, x, y, xx, xy := float64(len(p.at)), 0.0, 0.0, 0.0, 0.0
		for i, at := range p.at {
			v := shape(at)
			x, y, xx, xy = x+v, y+p.ln[i], xx+v*v, xy+v*p.ln[i]
		}
		sxx, sxy = sxx+(xx-x*x/n)/p.variance, sxy+(xy-x*y/n)/p.variance
	}
	if !(sxx > 1e-9) {
		return math.Inf(1), 0, math.Inf(1)
	}
	size = sxy / sxx
	for _, p := range read {
		level := 0.0
		for i, at := range p.at {
			level += (p.ln[i] - size*shape(at)) / float64(len(p.at))
		}
		for i, at := range p.at {
			e := p.ln[i] - level - size*shape(at)
			left += min(e*e/p.variance, mostSquare)
		}
	}
	return left, size, 1 / math.Sqrt(sxx)
}

// What a step must show. Of the leaks of 60 hard stacks of the bench the likeliest step of
// all lines never explained more than the likeliest change of rate when all were found to
// leak, and led by 4 for one in a hundred found at a line; that of one line led by 2 for one
// in six and by 6 for one in forty, for a while: how gas thins beside a tear looks much alike.
const (
	stepZ    = 4.0
	stepPart = 0.5 // of what the leak that was found explains
	allLead  = 4.0 // least lead of a step of all lines: to call no leak
	lineLead = 6.0 // and of one line
	sureLead = 6.0 // to take it for what it is
)

// stepped reports whether a leak that was found is a fall at once, of its line or of all.
func (s *State) stepped(f found) bool {
	z := f.z
	if f.whole != nil { // of many more readings than a step is seen in
		z = s.Bank.at(f.onset, -1, 1, s.At).z
	}
	for _, line := range []int{f.line, -1} {
		d := s.stepOf(line, f.line)
		if d.z > 0 && d.z*d.z > stepPart*z*z && d.at > s.Bank.Onset[f.onset]-onsetStep && s.passes(line, d) {
			return true
		}
	}
	return false
}

// noticeStep takes in a fall at once of all lines that is sure, before it grows into a leak.
func (s *State) noticeStep() {
	for k, onset := range s.Bank.Onset {
		if z, _, _ := s.Bank.common(k, aStep); z > stepZ && s.At-onset < recentHours {
			s.passes(-1, s.stepOf(-1, -1))
			return
		}
	}
}

// stepOf is the likeliest step of a line, or, -1, of all but one.
func (s *State) stepOf(line, but int) step {
	if line < 0 {
		return atOnce(s.all(but))
	}
	if one := s.apart(line); len(one.at) >= leastSeries {
		return atOnce([]series{one})
	}
	return step{}
}

// passes reports whether a change is a step of a line, or of all; where that is sure it
// lets the filter have it.
func (s *State) passes(line int, d step) bool {
	least := lineLead
	if line < 0 {
		least = allLead
	}
	if math.Abs(d.z) < stepZ || !(d.lead > least) {
		return false
	}
	if line < 0 && s.Taken.with(s.At, d.by).By > s.mayFall() {
		return false
	}
	if d.lead > sureLead {
		s.takeStep(line, d)
	}
	return true
}

// takeStep moves the filter by a step, so that what it left there is no leak later.
func (s *State) takeStep(line int, d step) {
	if line >= 0 {
		s.takeLine(line)
		return
	}
	s.Taken = s.Taken.with(s.At, d.by)
	for j, t := range s.Bank.stack(s.Bank.nearest(d.at), aStep) {
		s.Filter.Stack.Mean[j] += d.by * float64(t)
	}
	s.Bank.clear()
	for i := range s.Lines {
		s.Recent.forget(i, s.Setup.Lines)
	}
}

// takeLine takes a line to lie where it now stands: how it came there is no leak.
func (s *State) takeLine(line int) {
	l := &s.Lines[line]
	s.Filter.place(line, l.Stand, nearShare*l.Told.Var)
	s.Bank.place(line)
	s.Recent.forget(line, s.Setup.Lines)
}

// taken is how far the stack fell at once in all, ln C, of late: what was taken in counts
// for a day. A pump that stood hides no more than the gas loses in that time; more is lost
// gas, however it goes.
type taken struct{ At, By float64 }

// with is taken with a fall of by at hours; a rise takes nothing back.
func (t taken) with(hours, by float64) taken {
	return taken{hours, t.By*math.Exp((t.At-hours)/24) + max(by, 0)}
}

// mayFall is what the stack loses in a day, ln C.
func (s *State) mayFall() float64 { return 24 * max(s.Ref.at(s.At).Loss, usualLoss/2) }
