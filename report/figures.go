package report

import (
	"cmp"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"undersheet/logbook"
	"undersheet/rules"
	"undersheet/rules/dose"
	"undersheet/rules/exposure"
	"undersheet/rules/reading"
)

// byTime puts samples in the order in which they were taken, late ones too.
func byTime(ss []sample) {
	slices.SortStableFunc(ss, func(a, b sample) int { return cmp.Compare(a.At, b.At) })
}

// figures sums up a line: hours from t = 0 on, days and product to end; both leave out
// the hours in which the line did not draw the stack's gas.
func (l *Line) figures(started, end logbook.Time, tempC, endPPM float64, hours exposure.Hours) {
	byTime(l.samples)
	var all []sample // of the exposure
	for _, s := range l.samples {
		if s.At < started {
			continue
		}
		l.Hours = addHour(l.Hours, s.Reading)
		if s.At > end {
			continue
		}
		all = append(all, s)
		if !hours.Away(started, s.At) {
			l.exposed = append(l.exposed, s)
			l.addDay(started, s)
			l.addMean(s.At.Hours(started), s.PPM)
		}
	}
	sum := exposure.CTP{Began: started, Level: endPPM}
	away := awayFrom(hours, started, end)
	for _, g := range away {
		sum.MarkAway(g.From, g.To-1)
	}
	for _, s := range all {
		sum.Add(s.At, s.PPM, s.gap)
	}
	l.AboveHours = sum.Above
	l.CTP = CTP{PPMh: sum.PPMh, GhM3: rules.CTPGhM3(sum, tempC), GapHours: sum.Unread(end), Gaps: merged(append(away, notRead(all, started, end)...))}
}

// awayFrom lists the hours in which a line did not draw the stack's gas.
func awayFrom(hours exposure.Hours, started, end logbook.Time) []Gap {
	var out []Gap
	for i, h := range hours {
		from := started.Add(time.Duration(i) * time.Hour)
		if h.Away && from < end {
			out = append(out, Gap{from, min(from.Add(time.Hour), end)})
		}
	}
	return out
}

// notRead lists the stretches between samples, in order of time, that are too long to be
// bridged, and so what comes before the first sample and after the last.
func notRead(ss []sample, started, end logbook.Time) []Gap {
	var out []Gap
	last, bridged := started, reading.LeastBridge
	for _, s := range ss {
		if bridged = s.gap; s.At.Sub(last) > bridged {
			out = append(out, Gap{last, s.At})
		}
		last = s.At
	}
	if end.Sub(last) > bridged {
		out = append(out, Gap{last, end})
	}
	return out
}

// merged joins stretches that touch, in order of time.
func merged(gaps []Gap) []Gap {
	slices.SortFunc(gaps, func(a, b Gap) int { return cmp.Compare(a.From, b.From) })
	var out []Gap
	for _, g := range gaps {
		if n := len(out); n > 0 && g.From <= out[n-1].To {
			out[n-1].To = max(out[n-1].To, g.To)
			continue
		}
		out = append(out, g)
	}
	return out
}

// addDay takes a sample, in order of time, into its day.
func (l *Line) addDay(started logbook.Time, s sample) {
	n := max(int(math.Ceil(s.At.Hours(started)/24)), 1)
	if k := len(l.Days); k == 0 || l.Days[k-1].Number < n {
		l.Days = append(l.Days, Day{Number: n, Lowest: s.PPM, Highest: s.PPM})
	}
	d := &l.Days[len(l.Days)-1]
	d.Lowest, d.Highest = min(d.Lowest, s.PPM), max(d.Highest, s.PPM)
	d.Over = d.Over || s.over
	d.Readings++
	d.Mean += (s.PPM - d.Mean) / float64(d.Readings)
}

// addHour takes a reading, in order of time, into its hour.
func addHour(hs []Hour, r Reading) []Hour {
	start := logbook.At(r.At.Std().Truncate(time.Hour))
	if n := len(hs); n == 0 || hs[n-1].At < start {
		hs = append(hs, Hour{At: start, Lowest: r.PPM, Highest: r.PPM})
	}
	h := &hs[len(hs)-1]
	h.Lowest, h.Highest = min(h.Lowest, r.PPM), max(h.Highest, r.PPM)
	h.Readings++
	h.Mean += (r.PPM - h.Mean) / float64(h.Readings)
	return hs
}

// distribution sets the lowest line's mean against the highest's, day by day.
func distribution(lines []Line) []Distribution {
	byDay := map[int]*Distribution{}
	for _, l := range lines {
		for _, d := range l.Days {
			x := byDay[d.Number]
			if x == nil {
				x = &Distribution{Number: d.Number, Lowest: d.Mean, Highest: d.Mean}
				byDay[d.Number] = x
			}
			x.Lowest, x.Highest = min(x.Lowest, d.Mean), max(x.Highest, d.Mean)
		}
	}
	out := make([]Distribution, 0, len(byDay))
	for _, d := range byDay {
		if d.Highest > 0 {
			d.Ratio = d.Lowest / d.Highest
		}
		out = append(out, *d)
	}
	slices.SortFunc(out, func(a, b Distribution) int { return cmp.Compare(a.Number, b.Number) })
	return out
}

// beside is how far a fixed reading may be from a hand reading's time.
const beside = time.Hour

// pairs sets every hand reading that took effect beside the fixed instrument's.
func (r *Report) pairs(stack, store string) []HandPair {
	var out []HandPair
	for _, a := range r.Acts {
		h, ok := a.entry.(*logbook.HandReading)
		if !ok || a.Refused != "" {
			continue
		}
		ppm, err := dose.PPM(h.Value, h.Unit, dose.StandardC, dose.StandardKPa)
		if err != nil {
			continue // Validate let no such unit in
		}
		p := HandPair{At: a.At, By: a.By, Method: h.Method, Serial: h.Instrument, PPM: ppm}
		if h.DetectionLimit != nil {
			if limit, err := dose.PPM(*h.DetectionLimit, h.Unit, dose.StandardC, dose.StandardKPa); err == nil {
				p.DetectedPPM = &limit
			}
		}
		switch {
		case h.Where == logbook.WhereBags:
			p.Place, p.Bags = stack, true
		case h.Line != "":
			p.Place = stack + ", " + h.Line
			for _, l := range r.Lines {
				if strings.EqualFold(l.Name, h.Line) {
					p.Fixed, p.Instrument = nearest(l.samples, a.At), true
				}
			}
		default:
			p.Place = store + ", " + h.Point
			for _, x := range r.Air {
				if strings.EqualFold(x.Name, strings.TrimSpace(h.Point)) {
					p.Fixed, p.Instrument = nearest(x.samples, a.At), true
				}
			}
		}
		out = append(out, p)
	}
	return out
}

// nearest returns the sample, in order of time, nearest to at.
func nearest(ss []sample, at logbook.Time) *Reading {
	var best *Reading
	for i := range ss {
		if d := apart(ss[i].At, at); d <= beside && (best == nil || d < apart(best.At, at)) {
			best = &ss[i].Reading
		}
	}
	return best
}

// apart returns how far two moments are from each other.
func apart(a, b logbook.Time) time.Duration { return max(a.Sub(b), b.Sub(a)) }

// key returns the letter of a line or air point in a chart: A to Z, then A2 to Z2.
func key(i int) string {
	k := string(rune('A' + i%26))
	if i >= 26 {
		k += strconv.Itoa(1 + i/26)
	}
	return k
}
