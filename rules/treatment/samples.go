package treatment

import (
	"slices"
	"time"

	"undersheet/logbook"
)

// keepSamples bounds the memory of a line; samplesFor is how far back it goes, so
// that an airing entered a little late is still judged on its own last hour.
// Readings closer than samplesEvery to the one before are passed over.
const (
	keepSamples  = 720
	samplesFor   = 3 * time.Hour
	samplesEvery = samplesFor / keepSamples
)

// Read takes a reading of a line, ppm. Readings may come in any order of time; gap is the
// longest time between two of them over which the concentration-time product is reckoned.
func (t *Treatment) Read(line int, at logbook.Time, ppm float64, gap time.Duration) {
	l := &t.Lines[line]
	if t.Started != 0 && at >= t.Started && (t.AiringFirst == 0 || at <= t.AiringFirst) {
		l.CTP.Add(at, ppm, gap)
	}
	if l.away(at) {
		return
	}
	n := len(l.Samples)
	i := n
	for i > 0 && l.Samples[i-1].At > at {
		i--
	}
	if i > 0 && at < l.Samples[i-1].At.Add(samplesEvery) {
		return
	}
	l.Samples = append(l.Samples, Sample{})
	copy(l.Samples[i+1:], l.Samples[i:])
	l.Samples[i] = Sample{at, ppm}
	from, drop := l.Samples[n].At.Add(-samplesFor), 0
	for drop < n && (l.Samples[drop].At < from || n+1-drop > keepSamples) {
		drop++
	}
	l.Samples = append(l.Samples[:0], l.Samples[drop:]...)
}

// median returns the median of the samples in the last hour up to at.
func median(samples []Sample, at logbook.Time) (float64, bool) {
	var vs []float64
	for _, s := range samples {
		if s.At <= at && at.Sub(s.At) < LastHour {
			vs = append(vs, s.PPM)
		}
	}
	if len(vs) == 0 {
		return 0, false
	}
	slices.Sort(vs)
	if m := len(vs) / 2; len(vs)%2 == 1 {
		return vs[m], true
	} else {
		return (vs[m-1] + vs[m]) / 2, true
	}
}

// Away notes that a line did not draw the stack's gas from one time to another, so that what it
// read then does not count. If the line was judged by such readings when the shortest exposure
// had passed, it is judged again; Away then returns logbook.MomentShortest, else "".
func (t *Treatment) Away(line int, from, to logbook.Time) string {
	l := &t.Lines[line]
	l.AwayFrom, l.AwayTo = from, to
	l.CTP.MarkAway(from, to)
	l.Samples = slices.DeleteFunc(l.Samples, func(s Sample) bool { return l.away(s.At) })
	if j := &l.Shortest; t.Phase == logbook.PhaseExposure && j.At != 0 && !j.ByHand && from <= j.At && j.At.Sub(to) < LastHour {
		was := *j
		if t.judgeLine(l, j.At, j); *j != was {
			return logbook.MomentShortest
		}
	}
	return ""
}

// away reports whether a moment lies in the newest stretch away.
func (l *Line) away(at logbook.Time) bool { return at >= l.AwayFrom && at <= l.AwayTo }
