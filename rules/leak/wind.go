package leak

import "math"

// Gusts are stronger on one stack than on another, and a fit of one day often takes a
// leaky sheet for a tight one. How strong they are is learned from each stack: what
// the filter was wrong by over some hours is on average as large as it says, where
// gusts have the size that it takes them to have.

// wind is how much stronger gusts are than the fit says.
type wind struct {
	Scale  float64 // of their size, as far as is known
	Used   float64 // what it was some hours ago, so that a leak is not taken for a gust
	Known  []felt  `json:",omitempty"` // since then, oldest first
	From   float64 // hours at which the running block began
	Sum, N float64 // of its standardised innovations
}

// felt is a scale and the hours at which it came to be known.
type felt struct{ At, Scale float64 }

const (
	blowHours  = 2.0 // of a block: about as long as a gust lasts
	blowDelay  = 6.0 // hours until what was learned is used
	blowGain   = 0.2 // of ln scale, for a block twice as restless as expected
	blowMost   = 6.0 // square that a block counts with: a leak is no gust
	firstScale = 1.5 // careful at first
	leastScale = 0.2
	mostScale  = 5.0
)

func newWind() wind { return wind{Scale: firstScale, Used: firstScale} }

// at is the scale that is used at hours.
func (w *wind) at(hours float64) float64 {
	for len(w.Known) > 0 && w.Known[0].At <= hours-blowDelay {
		w.Used, w.Known = w.Known[0].Scale, w.Known[1:]
	}
	return w.Used
}

// feel takes a standardised innovation of the stack.
func (s *State) feel(z float64) {
	if s.Raised != nil || !s.live() {
		return
	}
	w := &s.Wind
	if s.At-w.From >= blowHours {
		if w.N > 0 {
			square := min(w.Sum*w.Sum/w.N, blowMost)
			w.Scale = min(max(w.Scale*math.Exp(blowGain*(square-1)), leastScale), mostScale)
			w.Known = append(w.Known, felt{s.At, w.Scale})
		}
		w.From, w.Sum, w.N = s.At, 0, 0
	}
	w.Sum, w.N = w.Sum+z, w.N+1
}

// gusts is their standard deviation per hour by what the fit found, a day and half a day
// ago, and by the loss rate: a young fit may find none where there are. loss is that
// rate as high as it may be.
func (r *reference) gusts(hours, loss float64) float64 {
	found := r.blows(hours)
	if found == 0 {
		return gustShare*loss + leastGust
	}
	usual := gustShare * r.at(hours).Loss
	return math.Sqrt(gustFound*found*found+(1-gustFound)*usual*min(usual, mostUnseen*found)) + leastGust
}

// blows is how hard gusts blow by what the fit found, a day and half a day ago; 0 = not
// known.
func (r *reference) blows(hours float64) float64 {
	return max(r.at(hours).Gust, r.at(hours+youngLead).Gust)
}

// A stack out of the wind, by the bench: from two days on the fit finds gusts of less than
// 0.02 of the loss rate on most clean stacks, and of more than 0.05 on each of 12 hard ones.
// On 250 hard stacks 6 leaks were false, as many as without.
const (
	calmShare    = 0.06 // of the loss rate: gusts of less are next to none
	leastExposed = 0.05 // what of the weather is felt at the least
	mostUnseen   = 2.0  // times the gusts that the fit found: more than these are not there unseen
)

// exposed is how much of the weather that most stacks feel one feels, up to 1: less where
// the fit found next to no gusts and, by the scale of the wind, the stack shows none.
func (r *reference) exposed(hours, wind float64) float64 {
	found := r.blows(hours)
	if found == 0 {
		return 1
	}
	return min(max(wind*found/(calmShare*r.at(hours).Loss), leastExposed), 1)
}
