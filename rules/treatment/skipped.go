package treatment

import (
	"time"

	"undersheet/logbook"
)

// Skipped is a stretch of time that nobody lived through: the clock was set ahead over it.
type Skipped struct{ From, Until logbook.Time }

// Skip notes that the clock was set ahead in the exposure: what it skipped is none of it, and an
// added dose gave off no gas in it. If the end level was judged by the clock alone, before the
// shortest exposure had passed, it is not judged yet; Skip then returns true.
func (t *Treatment) Skip(all ...Skipped) (undone bool) {
	for _, x := range all {
		undone = t.skip(x) || undone
	}
	return undone
}

func (t *Treatment) skip(x Skipped) (undone bool) {
	if t.Phase != logbook.PhaseExposure || t.Started == 0 || t.Started > x.From || x.Until <= x.From {
		return false
	}
	short := t.ShortestEnd() > x.From
	t.Skips = append(t.Skips, x)
	for _, end := range []*logbook.Time{&t.PlannedEnd, &t.ReleaseUntil} {
		if *end > x.From {
			*end = end.Add(x.Until.Sub(x.From))
		}
	}
	for i := range t.Lines {
		if l := &t.Lines[i]; short {
			undone = undone || l.Shortest.At != 0
			l.Shortest = Judgement{}
		}
	}
	return undone
}

// EndOf returns when so much of the exposure has been lived through.
func (t *Treatment) EndOf(lived time.Duration) logbook.Time {
	at := t.Started.Add(lived)
	for _, x := range t.Skips {
		if at > x.From {
			at = at.Add(x.Until.Sub(x.From))
		}
	}
	return at
}

// Lived returns how much of the exposure has been lived through at a moment.
func (t *Treatment) Lived(at logbook.Time) time.Duration {
	lived := at.Sub(t.Started)
	for _, x := range t.Skips {
		lived -= max(0, min(at, x.Until).Sub(x.From))
	}
	return max(0, lived)
}
