package gas

import (
	"math"
	"slices"
	"time"

	"undersheet/logbook"
	"undersheet/rules/decay"
	"undersheet/rules/leak"
	"undersheet/rules/treatment"
)

// Bounds of what is kept of the leak test for pictures.
const (
	trailHours = 0.5      // between two marks
	trailMost  = 16 * 48  // marks kept: 16 days, 2 KiB of JSON
	trailStep  = 1.0 / 16 // of the statistic z
	mostFound  = 8        // leaks kept
)

// Trail is where the leak test of an exposure stood, each half hour from t = 0.
// Marks are bytes: 0 = the test was not live, else 1 + z/trailStep.
type Trail struct {
	From  int    // half hour of the first mark
	All   []byte // z of all lines together
	Apart []byte // z of the line that stands out most from the others
}

// Mark is where the test stood at an hour after t = 0: its statistic z for all
// lines together and for the line that stands out most. While it was not live, both
// are 0.
type Mark struct {
	Hours, All, Apart float64
	Live              bool
}

// Found is a leak that the test found.
type Found struct {
	Line    string       // likely place; empty = all lines
	Raised  logbook.Time // when it was sure
	Cleared logbook.Time // 0 = it still stands
	Onset   logbook.Time
	Grounds logbook.Grounds
}

// next is the first half hour without a mark.
func (r *Trail) next() int { return r.From + len(r.All) }

// mark notes where the test stands at an hour, the first time in each half hour.
func (r *Trail) mark(hours float64, test *leak.State) {
	at := int(hours / trailHours)
	if at < r.next() {
		return
	}
	st := test.Statistic()
	if !st.Live {
		r.put(at, 0, 0)
		return
	}
	apart := 0.0
	for _, z := range st.Lines {
		apart = max(apart, z)
	}
	r.put(at, packed(st.Common), packed(apart))
}

// peak notes the statistic z at which a leak was told: the test begins anew there,
// and the mark of the half hour would not show it.
func (r *Trail) peak(hours, z float64, together bool) {
	at := int(hours / trailHours)
	if at >= r.next() {
		r.put(at, 0, 0)
	}
	if i := at - r.From; i >= 0 {
		one := &r.Apart[i]
		if together {
			one = &r.All[i]
		}
		*one = max(*one, packed(z))
	}
}

// put appends the mark of a half hour, gaps before it and all, and lets the oldest go.
func (r *Trail) put(at int, all, apart byte) {
	if at-r.next() >= trailMost {
		*r = Trail{From: at}
	}
	for r.next() < at {
		r.All, r.Apart = append(r.All, 0), append(r.Apart, 0)
	}
	r.All, r.Apart = append(r.All, all), append(r.Apart, apart)
	if over := len(r.All) - trailMost; over > 0 {
		r.From += over
		r.All, r.Apart = r.All[over:], r.Apart[over:]
	}
}

func packed(z float64) byte {
	return byte(min(1+math.Round(max(z, 0)/trailStep), math.MaxUint8))
}

func unpacked(b byte) float64 { return float64(max(b, 1)-1) * trailStep }

// Marks lists the trail for pictures.
func (r *Trail) Marks() []Mark {
	var out []Mark
	for i := range r.All {
		out = append(out, Mark{Hours: float64(r.From+i) * trailHours, All: unpacked(r.All[i]), Apart: unpacked(r.Apart[i]), Live: r.All[i] > 0 || r.Apart[i] > 0})
	}
	return out
}

// found notes a leak that was raised, or that the leaks of its line are over. There may be two
// of the whole stack, the later of which took the place of the first.
func (g *State) found(f Found, cleared bool) {
	if !cleared {
		if g.Leaks = append(g.Leaks, f); len(g.Leaks) > mostFound {
			g.Leaks = g.Leaks[1:]
		}
		return
	}
	for i := range g.Leaks {
		if l := &g.Leaks[i]; l.Line == f.Line && l.Cleared == 0 {
			l.Cleared = f.Cleared
		}
	}
}

// Leaking reports whether a leak stands that was told.
func (g *State) Leaking() bool {
	return slices.ContainsFunc(g.Leaks, func(l Found) bool { return l.Cleared == 0 })
}

// LeakTold notes a leak of a line, or with an empty name of all, that began or ended now, tells
// the fit of it, and returns what it rests on.
func (g *State) LeakTold(t *treatment.Treatment, e leak.Event, line string, now logbook.Time) *logbook.Grounds {
	hour := func(h float64) logbook.Time { return t.Started.Add(treatment.Hours(h).Round(time.Second)) }
	grounds := logbook.Grounds{From: hour(e.OnsetLow), To: hour(e.OnsetHigh), Statistic: logbook.Number(e.Z),
		Threshold: logbook.Number(g.Leak.Statistic().Threshold)}
	if e.Limit > 0 {
		grounds.Statistic, grounds.Threshold = logbook.Number(e.LossAfter), logbook.Number(e.Limit)
	}
	f := Found{Line: line, Onset: hour(e.Onset), Grounds: grounds}
	if e.Cleared {
		f.Cleared = now
	} else {
		f.Raised = now
		if e.Z > 0 {
			g.Trail.peak(now.Hours(t.Started), e.Z, e.Line < 0)
		}
	}
	g.found(f, e.Cleared)
	switch changed, mended := g.Leak.LossOf(&e); {
	case changed:
		g.Fit.LossChanged(e.Onset, decay.Value{Value: e.LossAfter - e.LossBefore, SE: e.LossSD})
	case mended:
		g.Fit.LossMended(g.mended(e.Onset, now.Hours(t.Started)))
	}
	return &grounds
}
