package season

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"

	"undersheet/logbook"
)

// Proportion is how many of so many.
type Proportion struct {
	Of int `json:"of"`
	N  int `json:"all"`
}

// Share is the proportion itself; 0 of none is 0.
func (p Proportion) Share() float64 {
	if p.N == 0 {
		return 0
	}
	return float64(p.Of) / float64(p.N)
}

// Confidence is that of intervals for proportions.
const Confidence = 0.95

// Interval returns the exact bounds between which the true proportion lies, so that
// at least 95 of 100 such intervals hold it, whatever it is: C. J. Clopper and
// E. S. Pearson, Biometrika 26 (1934) 404–413. The lower bound is the quantile α/2 of the
// Beta distribution with (x, n−x+1), the upper one the quantile 1−α/2 of that with
// (x+1, n−x). Of none it is 0 to 1.
func (p Proportion) Interval() (low, high float64) {
	low, high = 0, 1
	x, n := float64(p.Of), float64(p.N)
	if p.N == 0 {
		return low, high
	}
	const tail = (1 - Confidence) / 2
	if p.Of > 0 {
		low = distuv.Beta{Alpha: x, Beta: n - x + 1}.Quantile(tail)
	}
	if p.Of < p.N {
		high = distuv.Beta{Alpha: x + 1, Beta: n - x}.Quantile(1 - tail)
	}
	return low, high
}

// Held is how many treatments held, of those that have a verdict.
func (s *Season) Held() Proportion {
	var p Proportion
	for i := range s.Treatments {
		switch s.Treatments[i].Verdict {
		case logbook.VerdictHeld:
			p.Of++
			p.N++
		case logbook.VerdictFailed, logbook.VerdictAbandoned:
			p.N++
		}
	}
	return p
}

// Sheet is how fast gas was lost under the sheet of one stack.
type Sheet struct {
	Store      string       `json:"store"`
	Stack      string       `json:"stack"`
	Treatments int          `json:"treatments_fitted"` // whose loss was fitted
	Mean       float64      `json:"mean_loss_per_day,omitzero"`
	Worst      float64      `json:"highest_loss_per_day,omitzero"`
	WorstAt    logbook.Time `json:"highest_loss_begun,omitzero"` // t = 0 of that treatment
	Leaks      int          `json:"leaks"`                       // that were told
}

// Sheets are the stacks that were treated, with their loss, by store and stack.
func (s *Season) Sheets() []Sheet {
	var all []Sheet
	at := func(store, stack string) *Sheet {
		i := slices.IndexFunc(all, func(x Sheet) bool { return x.Store == store && x.Stack == stack })
		if i < 0 {
			i, all = len(all), append(all, Sheet{Store: store, Stack: stack})
		}
		return &all[i]
	}
	for i := range s.Treatments {
		t := &s.Treatments[i]
		x := at(t.Store, t.Stack)
		if t.LossPerDay <= 0 {
			continue
		}
		x.Treatments++
		x.Mean += (t.LossPerDay - x.Mean) / float64(x.Treatments)
		if t.LossPerDay > x.Worst {
			x.Worst, x.WorstAt = t.LossPerDay, t.Begun
		}
	}
	for _, p := range s.Leaks {
		at(p.Store, p.Stack).Leaks += len(p.Times)
	}
	slices.SortFunc(all, func(a, b Sheet) int { return cmp.Or(cmp.Compare(a.Store, b.Store), cmp.Compare(a.Stack, b.Stack)) })
	return all
}

// Compared is a forecast of the lowest line at the end, and what came.
type Compared struct {
	Lead int               `json:"days_before_end"` // that it was made, rounded
	PPM  logbook.Quantiles `json:"ppm"`
	Came float64           `json:"came_ppm"`
}

// floorPPM is under what concentrations are taken as this much for the error of ln C:
// an end that missed by far counts as missed, not as missed by how far.
const floorPPM = 20

// Error is ln of what was forecast over what came.
func (c Compared) Error() float64 {
	return math.Log(max(float64(c.PPM.P50), floorPPM) / max(c.Came, floorPPM))
}

// Inside reports whether what came lies in the interval that was to hold it with 90 %.
func (c Compared) Inside() bool { return c.Came >= float64(c.PPM.P05) && c.Came <= float64(c.PPM.P95) }

// MostLead is from how many days before the end on forecasts are put together.
const MostLead = 5

// Lead is how forecasts made so many days before the end fared.
type Lead struct {
	Days   int        `json:"days_before_end"` // MostLead: so many or more
	RMS    float64    `json:"rms_ln_c"`
	Bias   float64    `json:"mean_error_ln_c"`
	Inside Proportion `json:"inside_90_percent"`
}

// Forecasts are the forecasts by how long before the end they were made, and how many
// could not be held against anything. A treatment counts once in each row, by its last
// forecast there: its forecasts err together.
func (s *Season) Forecasts() (leads []Lead, unmatched int) {
	var by [MostLead + 1][]Compared
	for i := range s.Treatments {
		unmatched += s.Treatments[i].Unmatched
		var last [MostLead + 1]*Compared
		for k := range s.Treatments[i].Compared {
			c := &s.Treatments[i].Compared[k]
			last[min(max(c.Lead, 0), MostLead)] = c
		}
		for days, c := range last {
			if c != nil {
				by[days] = append(by[days], *c)
			}
		}
	}
	for days, cs := range by {
		if len(cs) == 0 {
			continue
		}
		l := Lead{Days: days, Inside: Proportion{N: len(cs)}}
		square := 0.0
		for _, c := range cs {
			l.Bias += c.Error() / float64(len(cs))
			square += c.Error() * c.Error() / float64(len(cs))
			if c.Inside() {
				l.Inside.Of++
			}
		}
		l.RMS = math.Sqrt(square)
		leads = append(leads, l)
	}
	return leads, unmatched
}
