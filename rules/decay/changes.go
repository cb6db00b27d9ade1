package decay

import (
	"cmp"
	"math"
	"slices"
)

// Figures of a change of the loss rate that is told. What a leak adds is known by its
// logarithm: no tear lets gas in.
const (
	usualRise   = 0.25 // per day: what a leak adds whose size is not told, from memory
	usualRiseSD = 1.2  // of its ln
	toldRiseSD  = 0.7  // of ln rise, beside its standard error, for the leak test measures it before the gas at every line has followed
	leastRise   = 0.01 // per day
	mostRise    = 20.0
	mendKeeps   = 0.04     // of what leaks had added, after they were mended
	mendSD      = 1.6      // of ln of that: now and then a leak is not mended
	hourSD      = 3.0 / 24 // days: how far off the hour that is told may be, with the delay of mixing
	settles     = 4        // hours around it in which that matters
	maxChanges  = 4        // that are told apart
	learns      = 8.0      // hours after a change began until the fit is sure of the new rate
)

// change is one of the loss rate that was told: a leak that began, or the mending of
// those that had.
type change struct {
	Hours float64
	Mends bool    `json:",omitempty"`
	Ln    float64 // of what a leak adds, per day, or of the share that a mending leaves: prior mean
	SD    float64 // and its standard deviation
	Blur  float64 `json:",omitempty"` // variance of ln C that earlier changes brought which were made one with this
}

// days is when the change takes effect, in the middle of its hour.
func (c *change) days() float64 { return math.Floor(c.Hours)*hourDays + hourDays/2 }

// after is what leaks add after the change to what they added before, where x is its
// parameter.
func (c *change) after(before, x float64) float64 {
	if c.Mends {
		return before * exp(x)
	}
	return before + exp(x)
}

// LossChanged tells that a leak began at hours after t = 0 and what it adds to the loss
// rate, per day; a rise that is 0 is not known. The size that is told may be far off,
// and the leak may be none: the fit learns it from the readings. Without being told, it
// takes about half a day to believe in a new rate. The next Refit holds the change
// against readings. One told within the hour of another is the same change.
func (s *State) LossChanged(hours float64, rise Value) {
	c := change{Hours: hours, Ln: math.Log(usualRise), SD: usualRiseSD}
	if rise.Value > 0 && finite(rise.Value) {
		c.Ln, c.SD = math.Log(min(max(rise.Value, leastRise), mostRise)), toldRiseSD
		if rise.SE > 0 {
			c.SD = math.Hypot(toldRiseSD, min(rise.SE/rise.Value, 1))
		}
	}
	s.change(c)
}

// LossMended tells that the leaks that were told were closed at hours after t = 0, in
// the way of LossChanged. The fit takes most of what they had added to go back, and
// learns from the readings whether it did.
func (s *State) LossMended(hours float64) {
	s.change(change{Hours: hours, Mends: true, Ln: math.Log(mendKeeps), SD: mendSD})
}

// change keeps a change of the loss rate, unless it is known.
func (s *State) change(c change) {
	if !(c.Hours >= 0 && c.Hours <= maxHours) {
		return
	}
	at, _ := slices.BinarySearchFunc(s.Changes, c, func(a, b change) int { return cmp.Compare(a.Hours, b.Hours) })
	near := func(i int) bool { return i >= 0 && i < len(s.Changes) && math.Abs(s.Changes[i].Hours-c.Hours) < 1 }
	if near(at-1) || near(at) || c.Mends && at == 0 { // nothing was torn yet
		return
	}
	old := s.told()
	s.Changes, s.Late = slices.Insert(slices.Clone(s.Changes), at, c), true
	s.admit(old, inAdded+len(s.Added)+at, normal{c.Ln, c.SD}, seedA)
	if len(s.Changes) > maxChanges {
		s.mergeOldest()
	}
}

// mergeOldest makes the two oldest changes one, with the loss rate after both. What the first one
// did before the second came counts as misfit from then on.
func (s *State) mergeOldest() {
	old, at := s.told(), inAdded+len(s.Added)
	a, b := s.Changes[0], s.Changes[1]
	first := a.after(0, a.Ln)
	ln := func(x, y float64) float64 { return math.Log(b.after(a.after(0, x), y)) }
	apart := first * (b.days() - a.days())
	one := change{Hours: b.Hours, Ln: ln(a.Ln, b.Ln), SD: max(a.SD, b.SD), Blur: a.Blur + b.Blur + apart*apart}
	s.Changes = slices.Replace(slices.Clone(s.Changes), 0, 2, one)
	s.recast(old, func(x []float64, _ int) ([]float64, float64) {
		x[at+1] = ln(x[at], x[at+1])
		return slices.Delete(x, at, at+1), 0
	})
	if s.Fit != nil {
		s.Fit.narrow(at)
	}
}

// unsettle makes the hours around each change count for less, at parameters x: the change may not
// have come in the very hour that was told, and the gas at the lines follows later than that of
// the stack.
func (m *model) unsettle(x []float64) {
	clear(m.unsure)
	added, first := 0.0, inAdded+len(m.doses)
	for i, c := range m.changes {
		was := added
		added = c.after(was, x[first+i])
		late := (added - was) * hourSD
		for h := max(int(c.Hours)-settles/2, 0); h < min(int(c.Hours)+settles, len(m.unsure)); h++ {
			m.unsure[h] += (late*late + c.Blur) / (settles * 3 / 2)
		}
	}
}

// unsettled reports whether hours from one until another lie around a change.
func (s *State) unsettled(from, till int) bool {
	return slices.ContainsFunc(s.Changes, func(c change) bool { return int(c.Hours) < till && from < int(c.Hours)+settles })
}

// Learning reports whether, at hours after t = 0, the fit is still learning a loss rate that it was
// told had changed. While it does, a forecast that is better than the one before proves nothing.
func (s *State) Learning(hours float64) bool {
	return slices.ContainsFunc(s.Changes, func(c change) bool { return !c.Mends && c.Hours <= hours && hours < c.Hours+learns })
}
