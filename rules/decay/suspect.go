package decay

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/floats"
)

// A change of the loss rate that nobody told of is weighed at each refit against
// none, at some ages of the newest reading, by its share of the posterior. The likelier
// of the two is what the fit goes on with, the other keeps its share of the
// forecasts.
const (
	jumpMean      = 0.4      // of such a change, of the loss rate
	jumpSD        = 0.9      // of the same
	leastJump     = 0.35     // per day: a tear in a tight sheet may be many times its loss
	mostSettled   = 16       // such changes that are kept
	changesPerDay = 1.0 / 20 // of the loss rate of a stack, that are not told
	oldSuspect    = 36       // hours after which a suspected change is settled
	mostSwell     = 4        // times that gusts may grow with the loss rate
	leastAlt      = 0.02     // share below which the less likely case is let go
)

var suspectAges = [...]int{1, 2, 3, 4, 6, 8, 11, 15, 20, 28}

// suspect is a settled or open suspicion of the fit.
type suspect struct {
	Settled []int // hours at which the loss rate is taken to have changed
	Open    int   // such an hour that is still looked at anew; −1 = none
	Alt     int   // what is less likely: another hour, or −1 = no change
	Share   float64
}

// recall makes what the fit before suspected part of the model.
func (m *model) recall(f *fit) {
	m.suspect = suspect{Open: -1, Alt: -1}
	if m.grown = len(m.settled); f == nil {
		return
	}
	m.suspect.Settled = append([]int(nil), f.Suspect.Settled...)
	if open := f.Suspect.Open; open >= 0 && !m.toldNear(open) {
		if open < len(m.sights)-oldSuspect {
			m.suspect.Settled = append(m.suspect.Settled, open)
		} else {
			m.suspect.Open = open
		}
	}
	if more := len(m.suspect.Settled) - mostSettled; more > 0 {
		m.suspect.Settled = slices.Delete(m.suspect.Settled, 0, more)
	}
	for _, h := range m.suspect.Settled {
		if h < len(m.settled) {
			m.settled[h] = true
		}
	}
	m.swell = f.swell()
	for h := range m.settled {
		if m.settled[h] || h == m.suspect.Open {
			m.grown = h
		}
	}
}

// swell is the loss rate after all changes over what it was: what is torn feels the
// wind as the rest does.
func (f *fit) swell() float64 { return min(max(1+f.States[atJump], 1), mostSwell) }

// toldNear reports whether a change is known within some hours of an hour.
func (m *model) toldNear(hour int) bool {
	near := func(h int) bool { return hour-4 <= h && h <= hour+4 }
	return slices.ContainsFunc(m.suspect.Settled, near) || slices.ContainsFunc(m.changes, func(c change) bool { return near(int(c.Hours)) })
}

// suspectChange weighs the cases at parameters x and sets the model to the likelier.
func (m *model) suspectChange(x []float64) {
	m.lnCurve(x)
	last := len(m.sights) - 1
	marks := make([]mark, min(suspectAges[len(suspectAges)-1]+1, len(m.hops)))
	hours, prior, lls := []int{-1}, []float64{0}, []float64{m.likelihood(mark{c: m.open()}, -1, marks)}
	for i, age := range suspectAges {
		h := last - age
		if h < 12 || m.toldNear(h) {
			continue
		}
		width := 1
		if i > 0 {
			width = age - suspectAges[i-1]
		}
		hours, prior = append(hours, h), append(prior, math.Log(changesPerDay/24*float64(width)))
		lls = append(lls, m.likelihood(marks[len(marks)-1-age], h, nil))
	}
	most, sum, best := math.Inf(-1), 0.0, 0
	for i := range lls {
		lls[i] += prior[i]
		most = max(most, lls[i])
	}
	for i := range lls {
		lls[i] = math.Exp(lls[i] - most)
		sum += lls[i]
		if i > 1 && lls[i] > lls[best] || i == 1 {
			best = i
		}
	}
	changed := 1 - lls[0]/sum
	m.suspect.Open, m.suspect.Alt, m.suspect.Share = -1, -1, 0
	if best == 0 || !(sum > 0) {
		return
	}
	if changed > 0.5 {
		m.suspect.Open, m.suspect.Share = hours[best], 1-changed
	} else {
		m.suspect.Alt, m.suspect.Share = hours[best], changed
	}
	if m.suspect.Share < leastAlt {
		m.suspect.Alt, m.suspect.Share = m.suspect.Open, 0
	}
}

// likelihood is the log likelihood of the stack's path at the curve in hand, with a
// change of the loss rate at an hour; from and marks are those of trackOn.
func (m *model) likelihood(from mark, hour int, marks []mark) float64 {
	_, logDet := m.trackOn(from, hour, marks)
	out := make([]float64, m.seen())
	m.whiten(out, nil)
	return -(floats.Dot(out, out) + logDet) / 2
}
