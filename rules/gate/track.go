package gate

import (
	"slices"
	"time"

	"undersheet/logbook"
	"undersheet/rules/reading"
)

// Upper is a reading as the gate takes it: the most that it may have been.
type Upper struct {
	At   logbook.Time
	PPM  float64
	Live bool // fresh and in its turn; others count only against the gate
}

// Track is what is remembered of one air point: its newest reading, the
// stretches in which it was live, and the readings of the last half hour.
type Track struct {
	Newest    Upper      // newest reading in its turn; At = 0: none yet
	NewestPPM float64    // its value itself
	Fault     string     // code of what is wrong with it; empty = nothing
	Live      []Interval // oldest first
	Recent    []Upper    // of the last half hour and one before it, oldest first
	Broken    bool       // the running stretch ended: the next reading begins a new one
}

const (
	keepLive   = 24 * time.Hour // airing counts at most this far back
	keepSpans  = 64
	mergeUnder = 10 * time.Second // readings closer than this are remembered as one, at their highest
)

// faults names the reason for a reading's state.
var faults = map[string]string{
	reading.OverRange: OverRange, reading.Stuck: PointStuck, reading.Fault: PointFault, reading.BelowZero: BelowZero,
}

// Add takes a judged reading; gap is the longest stretch between readings across
// which the point was live.
func (t *Track) Add(j reading.Judged, gap time.Duration) {
	if j.At > t.Newest.At && j.State != reading.Late && j.State != reading.SecondValue && j.Counts || faults[j.State] != "" && j.At >= t.Newest.At {
		t.Newest, t.NewestPPM, t.Fault = Upper{j.At, j.Upper, j.Live}, j.Value, faults[j.State]
	}
	switch {
	case j.Live:
		t.extend(j.At, gap)
		t.recent(Upper{j.At, j.Upper, true})
	case j.Against:
		t.recent(Upper{j.At, j.Upper, false})
	}
	if faults[j.State] != "" && !j.Live {
		t.Broken = true
	}
}

// Worse takes a reading that came after the newest in its turn, whatever it is dated: one that reads
// more takes the place of that.
func (t *Track) Worse(ppm, upper float64) {
	if t.Newest.At == 0 || !(upper > t.Newest.PPM) {
		return
	}
	t.Newest.PPM, t.NewestPPM = upper, ppm
	t.recent(Upper{t.Newest.At, upper, false})
}

// heard is when the point was last live; 0 = never. Readings that a broker had stored, or that
// came late, show how the air was, but not that the point is being read now.
func (t *Track) heard() logbook.Time {
	if n := len(t.Live); n > 0 {
		return t.Live[n-1].To
	}
	return 0
}

// shown is since when nothing was read at the point: when it was last live or, while it never was,
// the time of its newest reading; 0 = there is none.
func (t *Track) shown() logbook.Time {
	if at := t.heard(); at != 0 {
		return at
	}
	return t.Newest.At
}

// extend lengthens the running live stretch, or begins a new one.
func (t *Track) extend(at logbook.Time, gap time.Duration) {
	if n := len(t.Live); n > 0 && !t.Broken && at.Sub(t.Live[n-1].To) <= gap {
		t.Live[n-1].To = at
	} else {
		t.Live = append(t.Live, Interval{at, at})
	}
	t.Broken = false
	drop := 0
	for drop < len(t.Live)-1 && (t.Live[drop].To < at.Add(-keepLive) || len(t.Live)-drop > keepSpans) {
		drop++
	}
	t.Live = slices.Delete(t.Live, 0, drop)
}

// recent puts a reading at its place in time among the recent ones. A reading older than all of
// them is left out, since it says nothing of the last half hour.
func (t *Track) recent(u Upper) {
	n := len(t.Recent)
	if n > 0 && u.At < t.Recent[0].At {
		return
	}
	if last := n - 1; n > 1 && u.Live && t.Recent[last].Live && u.At >= t.Recent[last].At && u.At.Sub(t.Recent[last-1].At) < mergeUnder {
		t.Recent[last].At, t.Recent[last].PPM = u.At, max(u.PPM, t.Recent[last].PPM)
		return
	}
	i := n
	for i > 0 && t.Recent[i-1].At > u.At {
		i--
	}
	t.Recent = append(t.Recent, Upper{})
	copy(t.Recent[i+1:], t.Recent[i:])
	t.Recent[i] = u
	from := t.Recent[len(t.Recent)-1].At.Add(-BelowFor)
	drop := 0
	for drop < len(t.Recent)-1 && t.Recent[drop+1].At <= from {
		drop++
	}
	t.Recent = slices.Delete(t.Recent, 0, drop)
}

// BelowFor returns how long every reading up to the newest live one was below
// the limit while the point was live.
func (t *Track) BelowFor(limit float64) time.Duration {
	if len(t.Live) == 0 {
		return 0
	}
	live, from := t.Live[len(t.Live)-1], logbook.Time(0)
	for i := len(t.Recent) - 1; i >= 0 && t.Recent[i].PPM < limit && t.Recent[i].At >= live.From; i-- {
		if t.Recent[i].Live {
			from = t.Recent[i].At
		}
	}
	if from == 0 {
		return 0
	}
	return live.To.Sub(from)
}
