package efficacy

import (
	"math"
	"slices"
	"time"

	"undersheet/logbook"
	"undersheet/rules/dose"
	"undersheet/rules/exposure"
	"undersheet/rules/treatment"
)

// Exposure is what the lines of one stack held from t = 0 to the start of airing, or
// until now. It shares nothing with the treatment that it was made of.
type Exposure struct {
	Lines     []Line
	Hours     float64 // so far, or in all
	Over      bool    // airing has started
	Early     bool    // before the shortest exposure had passed
	Planned   float64 // hours
	EndPPM    float64 // end level
	FullPPM   float64 // what the dose would give in the gas space without loss; 0 = not known
	TempC     float64 // the lower of the grain's temperatures as entered and as measured
	Inspected string  // result of the last inspection of the grain: one of logbook.Insects…; empty = none on record
}

// Line is one sampling line.
type Line struct {
	Name  string
	PPMh  float64             // CTP
	Above float64             // hours at or above the end level
	End   treatment.Judgement // at the start of airing
	Hours exposure.Hours
}

// Of gathers a treatment that has its t = 0; tempC is the grain's newest temperature.
func Of(t *treatment.Treatment, now logbook.Time, fullPPM, tempC float64) *Exposure {
	e := &Exposure{Over: t.AiringFirst != 0, Early: t.Early(), Inspected: t.Inspected, Planned: t.Lived(t.PlannedEnd).Hours(), EndPPM: t.EndPPM(), FullPPM: fullPPM,
		TempC: math.Min(tempC, t.Given.GrainTempC)}
	end := now
	if e.Over {
		end = t.AiringFirst
	}
	e.Hours = t.Lived(end).Hours()
	for i := range t.Lines {
		l := &t.Lines[i]
		e.Lines = append(e.Lines, Line{Name: l.Name, PPMh: l.CTP.PPMh, Above: l.CTP.Above, End: l.Airing, Hours: lived(t, l.CTP.Hourly)})
	}
	return e
}

// Lowest returns the line with the least CTP; false without lines.
func (e *Exposure) Lowest() (Line, bool) {
	if len(e.Lines) == 0 {
		return Line{}, false
	}
	return slices.MinFunc(e.Lines, func(a, b Line) int {
		switch {
		case a.PPMh < b.PPMh:
			return -1
		case a.PPMh > b.PPMh:
			return 1
		}
		return 0
	}), true
}

// lived returns the hours that were lived through, so that the nth is the nth of the exposure: none
// that a clock which was set ahead skipped.
func lived(t *treatment.Treatment, hours exposure.Hours) exposure.Hours {
	if len(t.Skips) == 0 {
		return slices.Clone(hours)
	}
	var in exposure.Hours
	for h := range hours {
		from := t.Started.Add(time.Duration(h) * time.Hour)
		if t.Lived(from.Add(time.Hour))/time.Hour > t.Lived(from)/time.Hour {
			in = append(in, hours[h])
		}
	}
	return in
}

// GhM3 returns a CTP in g·h/m³ for gas at the grain's temperature.
func (e *Exposure) GhM3(ppmH float64) float64 {
	return ppmH * dose.MgPerPPM(e.TempC, dose.StandardKPa) / 1000
}

// period is the exposure period in hours: what it was, or what is planned.
func (e *Exposure) period() float64 {
	if e.Over {
		return e.Hours
	}
	return math.Max(e.Planned, e.Hours)
}

// whole is how many hours have passed in full.
func (e *Exposure) whole() int { return int(e.Hours) }

// mean returns the mean of hour i in ppm; false where too little of it was read.
func (l *Line) mean(i int) (ppm float64, ok bool) {
	if i >= len(l.Hours) {
		return 0, false
	}
	return l.Hours[i].Mean()
}

// over reports whether hour i held at least its mean.
func (l *Line) over(i int) bool { return i < len(l.Hours) && l.Hours[i].Over }
