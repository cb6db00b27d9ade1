package efficacy

import (
	"math"

	"undersheet/logbook"
)

// CriteriaSource is where the criteria come from. Their authors are from memory; the
// wording is that of the abstract: "(a) the grain be found free of insects by
// inspection after treatment, (b) the average maximum concentration of phosphine be
// >50% of that expected theoretically, (c) the concentration at the end of the
// exposure period be greater than the minimum effective against insects and (d) that
// the ratio of minimum to maximum concentration exceed 0.25 after not more than 25% of
// the exposure period", in the order of increasing stringency.
const CriteriaSource = "Banks & Annis, On Criteria for Success of Phosphine Fumigations Based on Observation of Gas Distribution Patterns (abstract)"

// Figures of the criteria.
const (
	TheoryShare  = 0.50 // (b): of what the dose would give without loss
	EvenRatio    = 0.25 // (d): lowest line / highest line
	EvenFraction = 0.25 // (d): of the exposure period
)

// Criteria holds the exposure against the four published criteria for success, (a) to
// (d). Where the wording leaves a choice the stricter reading is taken: "average
// maximum" is the mean over the lines of each one's highest hour, and every line must
// have been read; the end level is what is effective, and every line must be above it;
// a ratio that falls back later does not meet (d). Concentrations are means of hours
// of which at least half was read. While the exposure runs, met is so far.
func (e *Exposure) Criteria() []logbook.Criterion {
	return []logbook.Criterion{e.inspected(), e.maximum(), e.end(), e.even()}
}

// inspected is criterion (a).
func (e *Exposure) inspected() logbook.Criterion {
	c := logbook.Criterion{Code: logbook.CriterionInspected, State: logbook.NotDecidable, Why: logbook.WhyNoInspection}
	switch e.Inspected {
	case logbook.InsectsNone:
		c.State, c.Why = logbook.ShownMet, ""
	case logbook.InsectsLive:
		c.State, c.Why = logbook.ShownNotMet, ""
	}
	return c
}

// maximum is criterion (b): Value is the mean of the lines' highest hours, Limit half
// of what the dose would give.
func (e *Exposure) maximum() logbook.Criterion {
	c := logbook.Criterion{Code: logbook.CriterionMaximum, State: logbook.NotDecidable, Limit: logbook.Number(TheoryShare * e.FullPPM)}
	sum, over := 0.0, false
	for i := range e.Lines {
		highest := math.Inf(-1)
		for h := range e.Lines[i].Hours {
			if ppm, ok := e.Lines[i].mean(h); ok {
				highest = math.Max(highest, ppm)
				over = over || e.Lines[i].over(h)
			}
		}
		sum += highest
	}
	average := sum / float64(len(e.Lines))
	read := len(e.Lines) > 0 && !math.IsInf(average, 0)
	if read {
		c.Value = logbook.Number(average)
	}
	switch {
	case !(e.FullPPM > 0):
		c.Why = logbook.WhyDoseNotKnown
	case !read:
		c.Why = logbook.WhyNotRead
	case average > TheoryShare*e.FullPPM:
		c.State = logbook.ShownMet
	case !e.Over:
		c.Why = logbook.WhyNotOver
	case over:
		c.Why = logbook.WhyOverRange
	default:
		c.State = logbook.ShownNotMet
	}
	return c
}

// end is criterion (c): Value is the lowest line when airing started, Limit the end
// level.
func (e *Exposure) end() logbook.Criterion {
	c := logbook.Criterion{Code: logbook.CriterionEnd, State: logbook.NotDecidable, Limit: logbook.Number(e.EndPPM)}
	low, shown := math.Inf(1), len(e.Lines) > 0
	for i := range e.Lines {
		if j := e.Lines[i].End; j.At != 0 && j.Shown != logbook.NotShown {
			low = math.Min(low, j.PPM)
		} else {
			shown = false
		}
	}
	if !math.IsInf(low, 0) {
		c.Value = logbook.Number(low)
	}
	switch {
	case !e.Over:
		c.Why = logbook.WhyNotOver
	case e.Early:
		c.State, c.Why = logbook.ShownNotMet, logbook.WhyEarly
	case low <= e.EndPPM:
		c.State = logbook.ShownNotMet
	case !shown:
		c.Why = logbook.WhyNotRead
	default:
		c.State = logbook.ShownMet
	}
	return c
}

// even is criterion (d): Value is the lowest ratio from a quarter of the period on,
// Limit 0.25, Hours since when the ratio has been above it, Within that quarter.
func (e *Exposure) even() logbook.Criterion {
	c := logbook.Criterion{Code: logbook.CriterionEven, State: logbook.NotDecidable, Limit: EvenRatio}
	quarter := EvenFraction * e.period()
	c.Within = logbook.Number(quarter)
	judged := max(int(quarter)-1, 0) // the last hour that is whole when the quarter has passed
	lowest, since, uneven := math.Inf(1), -1, -1
	for h := range e.whole() {
		ratio, all, known := e.ratio(h)
		switch {
		case !known:
			continue
		case ratio <= EvenRatio:
			since, uneven = -1, h
		case all && since < 0:
			since = h
		}
		if h >= judged {
			lowest = math.Min(lowest, ratio)
		}
	}
	if !math.IsInf(lowest, 0) {
		c.Value = logbook.Number(lowest)
	}
	if since >= 0 {
		c.Hours = logbook.Number(since + 1)
	}
	switch {
	case len(e.Lines) < 2:
		c.Why = logbook.WhyOneLine
	case e.Hours < quarter:
		c.Why = logbook.WhyNotOver
	case uneven >= judged:
		c.State = logbook.ShownNotMet
	case since >= 0 && since <= judged:
		c.State = logbook.ShownMet
	default:
		c.Why = logbook.WhyNotRead
	}
	return c
}

// ratio returns lowest / highest line in hour h: of those that were read, which is at
// least that of all; all = every line was read, none over its range, so that it is the
// ratio itself. Without gas on any line it is 0. known = two lines were read.
func (e *Exposure) ratio(h int) (ratio float64, all, known bool) {
	low, high, n := math.Inf(1), 0.0, 0
	all = true
	for i := range e.Lines {
		ppm, ok := e.Lines[i].mean(h)
		if !ok {
			all = false
			continue
		}
		n++
		all = all && !e.Lines[i].over(h)
		low, high = math.Min(low, ppm), math.Max(high, ppm)
	}
	if high > 0 {
		ratio = math.Max(low, 0) / high
	}
	return ratio, all && n > 0, n > 1
}
