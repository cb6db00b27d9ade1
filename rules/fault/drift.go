package fault

import (
	"math"
	"slices"

	"undersheet/rules/leak"
)

// windows are how long a drift is looked for, hours.
var windows = [...]int{18, 24, 30}

const (
	// driftLimit is the least drift that is told, ln C per day over 24 h; over other
	// spans it goes with their length to the power −1.5, as the error of a slope does.
	// Of 60 hard stacks of the bench without a trouble no line passed it, and two
	// thirds of the wander of plain lines is below half of it.
	driftLimit  = 0.10
	steadyShare = 0.6  // of the slope: what its parts have at least
	stillLn     = 0.05 // per day: a line whose own level changes by less stands still, as a blocked one does
	apartLn     = 0.03 // sd of an instrument's gain whose accuracy is 5 %: 0.05/√3 (JCGM 100:2008, 4.3.7)
	moveLn      = 0.08 // per day: a line that moves so fast does not stand still; 3 standard errors of the slope over 18 h of a line whose readings scatter by 4 %
	paceMost    = 1.5  // what the pace of a steady fall may grow by
	leastPoints = 0.6  // of the slots of a window
	backLn      = 0.04 // a line that stands this near to where it was, and for so many slots, is back
	backSlots   = 4
	firstSlots  = 8 // that tell where a line stood before
	newestSlots = 6
)

// drifting looks, every hour, for the line whose ratio to the others goes up or down
// most steadily. One that goes up drifts, and is taken out of the leak test; of one
// that goes down a leak is suspected.
func (s *State) drifting(test *leak.State) []leak.Event {
	if s.Slot%2 != 0 || s.Lines < 3 {
		return nil
	}
	if test.Leaking() {
		return nil // what others lose makes a line look high
	}
	most, found, peers := 0.0, leak.Event{Line: -1}, make([]bool, s.Lines)
	var means [len(windows)][]float32
	for i, hours := range windows {
		means[i] = s.means(hours)
	}
	for line := range peers {
		peers[line] = !doubted(test, line)
	}
	for line := range peers {
		if !peers[line] && test.Cause(line) != leak.Blocked {
			continue
		}
		for i, hours := range windows {
			w, ok := s.window(line, hours, means[i], peers)
			if over := math.Abs(w.slope) / w.limit; ok && over > max(most, 1) && w.drifts() && (peers[line] || w.moves(test.OutSince(line))) {
				most = over
				found = leak.Event{Kind: leak.Drifting, Line: line, Onset: w.from, OnsetLow: w.from - slotHours, OnsetHigh: w.from + float64(hours)/2, Rate: w.slope}
			}
		}
	}
	switch {
	case found.Line < 0:
		return nil
	case found.Rate < 0:
		return test.Suspect(found.Line)
	}
	s.drifts(found, s.before(found.Line, s.hours(firstSlots), test), test)
	return append(test.Distrust(found.Line), found)
}

// drifts notes that the instrument of a line drifts, which stood at gap before.
func (s *State) drifts(e leak.Event, gap float64, test *leak.State) {
	d := Drift{Line: e.Line, Onset: e.Onset, Gap: gap}
	d.Now, _ = s.ratio(len(s.Past)-1, e.Line, test)
	s.Drift = append(s.Drift, d)
}

// span is how the ratio of a line went over a window.
type span struct {
	from        float64 // hours
	slope       float64 // per day
	early, late float64 // slopes of its halves
	earlier     float64 // of all but its newest hours: what comes at once, as from a swap, is no drift
	own         float64 // slope of the line itself in the late half
	ownBefore   float64 // in the early half
	ownAll      float64 // and in all
	gap         float64 // ln of the line over the others, mean
	limit       float64 // for its length
}

// steady reports whether its parts go as the whole does.
func (w *span) steady() bool {
	least := steadyShare * w.slope * w.slope
	return w.early*w.slope > least && w.late*w.slope > least && w.earlier*w.slope > least
}

// drifts reports whether the ratio goes away from the others as a straight line, and not
// because they fall while the line stands still.
func (w *span) drifts() bool {
	return w.steady() && w.leaves() && !(w.slope > 0 && math.Abs(w.own) < stillLn)
}

// leaves reports whether the line goes away from the others. One that comes back to them
// may read a place that got less of the gas than they did, or more: the lines of a stack
// stand apart as long as gas is released, and mixing brings them together as that ends.
// One that rises must stand above the others by more than its gain may make it: else its
// place may still be short of gas.
func (w *span) leaves() bool { return w.slope < 0 && w.gap < 0 || w.slope > 0 && w.gap > apartLn }

// moves reports whether a line that has been called blocked since an hour moves as a blocked
// line never does: it goes up; or it has gone down at a steady pace all the time, while the
// others fell away from it no slower than before. Gas that stands in a blocked tube stays where
// it is while the others fall; where some seeps in, it falls ever faster until it follows them.
func (w *span) moves(since float64) bool {
	if w.own > stillLn {
		return w.ownAll > moveLn
	}
	return w.from >= since && max(w.own, w.ownBefore) < -stillLn && w.ownAll < -moveLn && w.late > w.early && w.own > paceMost*w.ownBefore
}

// window fits a straight line to the ratio of a line over the last hours. Each line is
// held against its own mean, and then against the median of the others that are not in
// doubt, its peers: another one that drifts does not move it. There are no means where
// the window is longer than what can be compared.
func (s *State) window(line, hours int, means []float32, peers []bool) (w span, ok bool) {
	if means == nil {
		return span{}, false
	}
	n := int(float64(hours) / slotHours)
	first := len(s.Past) - n
	var all, early, late, earlier, own, ownBefore, ownAll points
	others := make([]float32, 0, s.Lines)
	for k := range n {
		others = others[:0]
		for j, m := range s.Past[first+k] {
			if j != line && m != 0 && peers[j] {
				others = append(others, m-means[j])
			}
		}
		if len(others) < 2 || s.Past[first+k][line] == 0 {
			continue
		}
		ln := float64(s.Past[first+k][line]-means[line]) - median(others)
		day := float64(k) * slotHours / 24
		all.add(day, ln)
		ownAll.add(day, float64(s.Past[first+k][line]))
		if k < n-newestSlots {
			earlier.add(day, ln)
		}
		if k < n/2 {
			early.add(day, ln)
			ownBefore.add(day, float64(s.Past[first+k][line]))
		} else {
			late.add(day, ln)
			own.add(day, float64(s.Past[first+k][line]))
		}
	}
	if least := leastPoints * float64(n); all.n < least || min(early.n, late.n) < least/2 {
		return span{}, false
	}
	others = others[:0]
	for j, m := range means {
		if j != line && m != 0 && peers[j] {
			others = append(others, m)
		}
	}
	w = span{from: s.hours(first), gap: float64(means[line]) - median(others), slope: all.slope(), early: early.slope(), late: late.slope(), earlier: earlier.slope(), own: own.slope(), ownBefore: ownBefore.slope(), ownAll: ownAll.slope(), limit: driftLimit * math.Pow(24/float64(hours), 1.5)}
	return w, true
}

// means is the mean of each line over the last hours; nil where they reach back to
// before the lines can be compared.
func (s *State) means(hours int) []float32 {
	first := len(s.Past) - int(float64(hours)/slotHours)
	if first < 0 || s.hours(first) < s.From {
		return nil
	}
	means := make([]float32, s.Lines)
	for j := range means {
		n := 0
		for _, row := range s.Past[first:] {
			if row[j] != 0 {
				n++
			}
		}
		for _, row := range s.Past[first:] {
			if row[j] != 0 {
				means[j] += row[j] / float32(n)
			}
		}
	}
	return means
}

// points sums up what a straight line needs.
type points struct{ n, x, y, xx, xy float64 }

func (p *points) add(x, y float64) {
	p.n, p.x, p.y, p.xx, p.xy = p.n+1, p.x+x, p.y+y, p.xx+x*x, p.xy+x*y
}

// slope is that of least squares; there are always two points or more.
func (p *points) slope() float64 { return (p.xy - p.x*p.y/p.n) / (p.xx - p.x*p.x/p.n) }

// back looks whether a line that drifted is again where it was, as after its
// instrument was set right, and lets the leak test have it.
func (s *State) back(test *leak.State) (events []leak.Event) {
	at := len(s.Past) - 1
	s.Drift = slices.DeleteFunc(s.Drift, func(d Drift) bool { return !test.Out(d.Line) })
	for k := range s.Drift {
		d := &s.Drift[k]
		ln, others := s.ratio(at, d.Line, test)
		if others == 0 {
			continue
		}
		if d.Now += (ln - d.Now) / backSlots; math.Abs(d.Now-d.Gap) > backLn {
			d.Back = 0
			continue
		}
		if d.Back++; d.Back == backSlots {
			s.forget(d.Line, len(s.Past)-backSlots)
			test.Anew(d.Line)
			events = append(events, leak.Event{Kind: leak.Drifting, Line: d.Line, Onset: d.Onset, OnsetLow: d.Onset, OnsetHigh: d.Onset, Cleared: true})
		}
	}
	s.Drift = slices.DeleteFunc(s.Drift, func(d Drift) bool { return d.Back == backSlots })
	return events
}
