package decay

import (
	"cmp"
	"math"
	"slices"
)

// Figures of a change of the loss rate that is told, in units of the loss rate.
const (
	jumpMean  = 0.4 // of a leak that began
	jumpSD    = 0.9
	leastJump = 0.35     // per day: a tear in a tight sheet may be many times its loss
	mendKeeps = 0.1      // of what a leak had added, after it was mended
	mendSD    = 0.6      // of the same: now and then it is not
	hourSD    = 3.0 / 24 // days: of the hour that is told, and of what mixing keeps from the lines
	settles   = 4        // hours over which that tells
	maxBreak  = 16       // changes that are kept
	learns    = 8.0      // hours after a change began until the fit is sure of the new rate
)

// change is one of the loss rate that was told. Where a leak was mended, Stood is what
// it had added to the loss rate (root of its mean square): most of that goes back.
type change struct {
	Hours float64
	Stood float64 `json:",omitempty"` // 0 = a leak began
}

// LossChanged tells that the loss rate changed at hours after t = 0: a leak began. The
// fit then lets go of the rate it had; without it, it takes about half a day to believe
// in a new one. The next Refit uses it. One told within the hour of another is the same
// change.
func (s *State) LossChanged(hours float64) { s.change(change{Hours: hours}) }

// LossMended tells that a leak that was told was closed at hours after t = 0, in the
// way of LossChanged. The fit takes most of what the leak had added to go back, and
// learns from the readings whether it did.
func (s *State) LossMended(hours float64) {
	c := change{Hours: hours}
	if f := s.Fit; f != nil {
		c.Stood = math.Sqrt(f.States[atJump]*f.States[atJump] + f.StateCov[atJump*(atJump+1)/2+atJump])
	}
	s.change(c)
}

// change keeps a change of the loss rate, unless it is known.
func (s *State) change(c change) {
	if !(c.Hours >= 0 && c.Hours <= maxHours) || len(s.Changes) >= maxBreak {
		return
	}
	at, _ := slices.BinarySearchFunc(s.Changes, c, func(a, b change) int { return cmp.Compare(a.Hours, b.Hours) })
	near := func(i int) bool { return i >= 0 && i < len(s.Changes) && math.Abs(s.Changes[i].Hours-c.Hours) < 1 }
	if !near(at-1) && !near(at) {
		s.Changes, s.Late = slices.Insert(s.Changes, at, c), true
	}
}

// unsettle notes how little the hours around a change tell of it: it did not come in
// the very hour that is told, and the gas at the lines follows after that of the stack.
func (m *model) unsettle(changes []change, f *fit) {
	m.unsure = make([]float64, len(m.sights))
	for i, c := range changes {
		jump := c.Stood
		switch {
		case jump > 0:
		case i+1 < len(changes) && changes[i+1].Stood > 0:
			jump = changes[i+1].Stood
		case f != nil:
			jump = max(f.States[atJump], jumpMean)
		}
		for h := max(int(c.Hours)-settles/2, 0); h < min(int(c.Hours)+settles, len(m.unsure)); h++ {
			m.unsure[h] += jump * jump * hourSD * hourSD / (settles * 3 / 2)
		}
	}
}

// unsettled reports whether hours from one until another lie around a change.
func (s *State) unsettled(from, till int) bool {
	return slices.ContainsFunc(s.Changes, func(c change) bool { return int(c.Hours) < till && from < int(c.Hours)+settles })
}

// Learning reports whether hours after t = 0 the fit is still to learn a loss rate that
// it was told had changed: until then a forecast that is better than the one before
// proves nothing.
func (s *State) Learning(hours float64) bool {
	return slices.ContainsFunc(s.Changes, func(c change) bool { return c.Stood == 0 && c.Hours <= hours && hours < c.Hours+learns })
}

// turn is what an hour does to the jump of the loss rate: keep·jump + mean ± sd.
type turn struct {
	opens          bool
	keep, mean, sd float64
}

// began is the turn of an hour at which a leak may have begun.
func (m *model) began() turn {
	return turn{opens: true, keep: 1, mean: jumpMean, sd: max(jumpSD, leastJump/max(m.rate, 1e-3))}
}

// turnOf is the turn of hour h, at which the loss rate may have changed without being
// told where that is jump.
func (m *model) turnOf(h, jump int) turn {
	switch {
	case m.stood[h] > 0:
		return turn{opens: true, keep: mendKeeps, sd: mendSD * m.stood[h]}
	case m.told[h] || h == jump:
		return m.began()
	}
	return turn{keep: 1}
}

// widen takes a turn into a covariance.
func (t *turn) widen(c *matrix) {
	if !t.opens {
		return
	}
	for i := range states {
		c[atJump*states+i] *= t.keep
		c[i*states+atJump] *= t.keep
	}
	c[atJump*states+atJump] += t.sd * t.sd
}
