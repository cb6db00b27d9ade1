package report

import (
	"math"
	"slices"
	"time"

	"undersheet/logbook"
	"undersheet/rules/treatment"
)

// Forecast is what was expected of the lowest line at the planned end, as it was
// recorded on one day, beside what came.
type Forecast struct {
	At     logbook.Time `json:"made_at"`
	For    logbook.Time `json:"for"`
	P05    float64      `json:"p05_ppm"` // with 90 % between these
	P50    float64      `json:"p50_ppm"`
	P95    float64      `json:"p95_ppm"`
	Chance float64      `json:"chance_met"` // that every line is at or above the end level then
	Came   *float64     `json:"came_ppm"`   // lowest line then, median of its last hour; null: not read, or airing had started
	Within *bool        `json:"within"`     // Came lies between P05 and P95; null: as Came, nothing was foretold any more, or Added
	Added  bool         `json:"dose_added"` // phosphine was added after it was made: it told of the gas without that
}

func forecastOf(f *logbook.Forecast) Forecast {
	return Forecast{At: f.Time, For: f.For, P05: float64(f.PPM.P05), P50: float64(f.PPM.P50), P95: float64(f.PPM.P95), Chance: float64(f.ChanceMet)}
}

// ahead reports whether it was made before what it speaks of.
func (f *Forecast) ahead() bool { return f.At < f.For }

// came sets what came beside each forecast.
func (r *Report) came() {
	for i := range r.Forecasts {
		f := &r.Forecasts[i]
		f.Added = slices.ContainsFunc(r.Aired.Extra, func(x treatment.Dose) bool { return x.At > f.At && x.At <= f.For })
		if f.For > r.end() {
			continue
		}
		if low, ok := r.lowestAt(f.For); ok {
			f.Came = &low
			if within := f.P05 <= low && low <= f.P95; f.ahead() && !f.Added {
				f.Within = &within
			}
		}
	}
}

// lowestAt is the lowest line at a moment, by the median of its last hour; false when a
// line was not read then.
func (r *Report) lowestAt(at logbook.Time) (ppm float64, ok bool) {
	low := math.Inf(1)
	for i := range r.Lines {
		var hour []float64
		for _, s := range r.Lines[i].exposed {
			if s.At <= at && at.Sub(s.At) < time.Hour {
				hour = append(hour, s.PPM)
			}
		}
		if len(hour) == 0 {
			return 0, false
		}
		slices.Sort(hour)
		n := len(hour)
		low = min(low, (hour[(n-1)/2]+hour[n/2])/2)
	}
	return low, len(r.Lines) > 0
}
