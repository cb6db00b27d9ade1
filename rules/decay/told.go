package decay

import "math"

// told is what changes the course of the gas as people and the leak test tell it.
type told struct {
	sampling float64   // per day
	doses    []float64 // days at which doses were added
	changes  []change  // of the loss rate, in order of time
}

func (s *State) told() told {
	t := told{sampling: s.Setup.SamplingLossPerDay, changes: s.Changes}
	for _, d := range s.Added {
		t.doses = append(t.doses, d.Hours/24)
	}
	return t
}

// walk is the gas at parameters x, before any has come.
func (t *told) walk(x []float64) walker {
	w := walker{balance: balance{exp(x[inRelease]), exp(x[inLoss]) + t.sampling, math.Abs(x[inSorb]), exp(x[inFree]), 0}}
	w.balance.ramp = w.release + 1/max(math.Abs(x[inRamp]), 1e-5)
	y, lag := exp(x[inYield]), min(exp(x[inLag]), mostLagDays)
	w.charge(lag, y)
	for i, d := range t.doses {
		w.charge(d+lag, y*exp(x[inAdded+i]))
	}
	added, first := 0.0, inAdded+len(t.doses)
	for i := range t.changes {
		added = t.changes[i].after(added, x[first+i])
		w.turn(t.changes[i].days(), w.loss+added)
	}
	return w
}
