package report

import (
	"math"

	"undersheet/logbook"
	"undersheet/rules"
	"undersheet/rules/decay"
)

// Loss is how fast the gas went, with the standard errors of its fit.
type Loss struct {
	PerDay     float64 `json:"loss_per_day"`
	PerDaySE   float64 `json:"loss_se_per_day"`
	HalfLife   float64 `json:"half_life_h"` // ln 2 / loss
	HalfLifeSE float64 `json:"half_life_se_h"`
	Release    float64 `json:"release_per_day"`
	ReleaseSE  float64 `json:"release_se_per_day"`
	Until      float64 `json:"until_h"`                // hours after t = 0 up to which readings were taken
	Means      int     `json:"hourly_means,omitempty"` // that a line's fit is of
}

// Codes of why a line's loss cannot be told.
const (
	lossNotRead = "not-read" // too few hours were read
	lossNotTold = "not-told" // the readings do not tell release from loss, or a rate from nothing
	vagueLoss   = 0.5        // a standard error above half of the loss tells no half-life
	leastHours  = 24         // hourly means that a line's fit needs
)

// halfLife fills in ln 2 / loss and its standard error by the delta method:
// SE(t½) = t½ · SE(k)/k.
func (l *Loss) halfLife() {
	l.HalfLife = 24 * math.Ln2 / l.PerDay
	l.HalfLifeSE = l.HalfLife * l.PerDaySE / l.PerDay
}

// losses fills in how fast gas went: of the stack by the fit of all its readings, of
// each line by plain least squares of the release-loss curve on its hourly means, from
// t = 0 to the first leak, added dose or airing, whichever came first.
func (r *Report) losses() {
	r.Loss = lossOf(r.Stack.Fit)
	until := r.end()
	for _, k := range r.Leaks {
		until = min(until, k.Onset)
	}
	for _, x := range r.Aired.Extra {
		until = min(until, x.At)
	}
	if r.Loss != nil {
		r.Loss.Until = r.end().Hours(r.Stack.Started)
	}
	for i := range r.Lines {
		r.Lines[i].fit(r.Stack.Started, until)
	}
}

// mean is the mean of an hour of exposure on a line, counted from t = 0.
type mean struct {
	hours float64 // mean time of its readings
	ppm   float64
	n     int
}

// addMean takes a reading, in order of time, into its hour.
func (l *Line) addMean(hours, ppm float64) {
	if k := len(l.means); k == 0 || math.Floor(l.means[k-1].hours) < math.Floor(hours) {
		l.means = append(l.means, mean{hours: hours})
	}
	m := &l.means[len(l.means)-1]
	m.n++
	m.hours += (hours - m.hours) / float64(m.n)
	m.ppm += (ppm - m.ppm) / float64(m.n)
}

// lossOf takes the loss from a stack's fit; nil without one.
func lossOf(f *rules.FitView) *Loss {
	if f == nil || !(f.LossPerDay > 0) {
		return nil
	}
	l := &Loss{PerDay: f.LossPerDay, PerDaySE: f.LossSE, Release: f.ReleasePerDay, ReleaseSE: f.ReleSE}
	l.halfLife()
	return l
}

// fit fits the line's own readings.
func (l *Line) fit(started, until logbook.Time) {
	var hours, ppm []float64
	last := until.Hours(started)
	for _, m := range l.means {
		if m.hours <= last {
			hours, ppm = append(hours, m.hours), append(ppm, m.ppm)
		}
	}
	if len(hours) < leastHours {
		l.LossWhy = lossNotRead
		return
	}
	f, err := decay.Flat(hours, ppm)
	if err != nil || !(f.Loss > 0) || !(f.LossSE <= vagueLoss*f.Loss) {
		l.LossWhy = lossNotTold
		return
	}
	l.Loss = &Loss{PerDay: f.Loss, PerDaySE: f.LossSE, Release: f.Release, ReleaseSE: f.ReleaseSE, Until: until.Hours(started), Means: len(hours)}
	l.Loss.halfLife()
}
