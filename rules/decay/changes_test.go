package decay

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// leaking is a stack of two lines without noise whose loss rate rises at hours, by
// rises per day: the release-loss curve (Bateman 1910) after its release, times
// e^(−rise·t) for each (mass balance, first-order loss).
type leaking struct {
	c       Curve
	changes []float64 // hours
	rises   []float64 // per day; negative: it falls again
}

const leakingLag = 2.5 // hours

func (k *leaking) at(h float64) float64 {
	ln := 0.0
	for i, from := range k.changes {
		ln -= k.rises[i] * max(h-from, 0) / 24
	}
	return k.c.At((h-leakingLag)/24) * math.Exp(ln)
}

// feed lets a fit read from an hour until another, with an Update at each.
func (k *leaking) feed(s *State, from, until float64) {
	for h := from; h < until; h += 0.25 {
		for l := range s.Setup.Lines {
			s.Observe(h, l, k.at(h))
		}
		if h == math.Floor(h) && h > 2 {
			s.Update(h)
		}
	}
}

// fast is a curve whose release is all but over after two days.
func fast() Curve { return Curve{New(stack(2)).Setup.ppmOf(520), 2.5, 0.2} }

// TestToldRise: what is told of a leak's size is in the forecast at once; readings then
// put it right, be the leak twice as large or none.
func TestToldRise(t *testing.T) {
	for _, truth := range []float64{1, 0.5, 0} {
		k := leaking{c: fast(), changes: []float64{60}, rises: []float64{truth}}
		s := New(stack(2))
		k.feed(s, 0, 60)
		was, ok := s.Lowest(120, 150)
		require.True(t, ok)
		s.LossChanged(60, Value{0.5, 0.1})
		told, _ := s.Lowest(120, 150)
		require.InEpsilon(t, was.P50*math.Exp(-0.5*60/24), told.P50, 0.25, "but for gas that the commodity may give back")
		require.Greater(t, told.P95, was.P50*math.Exp(-0.25*60/24), "it may be half as large")
		require.Less(t, told.P05, was.P50*math.Exp(-1.0*60/24), "or twice as large")
		soon, _ := s.Lowest(60, 150)
		require.InEpsilon(t, k.at(60), soon.P50, 0.02, "what is there is there")
		k.feed(s, 60, 84)
		learnt, _ := s.Lowest(120, 150)
		t.Logf("rise %v: %.0f when told, %.0f (%.0f–%.0f) a day later, in truth %.0f", truth, told.P50, learnt.P50, learnt.P05, learnt.P95, k.at(120))
		require.InEpsilon(t, k.at(120), learnt.P50, 0.2)
	}
}

// TestLossIsNeverNegative: a leak that is told while the gas rises cannot be one that
// lets gas in: no forecast lies above what the stack would hold without it.
func TestLossIsNeverNegative(t *testing.T) {
	k := leaking{c: fast(), changes: []float64{60}, rises: []float64{-0.19}}
	s := New(stack(2))
	k.feed(s, 0, 60)
	s.LossChanged(60, Value{0.3, 0.1})
	k.feed(s, 60, 70)
	low, _ := s.Lowest(120, 150)
	require.Less(t, low.P50, k.at(120)*1.05)
}

// TestManyChanges: of more changes than are told apart none is lost: the loss rate in
// the end is what all have left.
func TestManyChanges(t *testing.T) {
	k := leaking{c: fast()}
	s := New(stack(2))
	k.feed(s, 0, 50)
	hours := 50.0
	for i, rise := range []float64{0.3, 0.4, -0.7, 0.5, -0.5, 0.2, 0.3} {
		k.changes, k.rises = append(k.changes, hours), append(k.rises, rise)
		if i == 0 {
			require.Empty(t, s.Changes)
		}
		if rise > 0 {
			s.LossChanged(hours, Value{rise, 0.1})
		} else {
			s.LossMended(hours)
		}
		require.LessOrEqual(t, len(s.Changes), maxChanges)
		checkSane(t, s)
		k.feed(s, hours, hours+10)
		hours += 10
	}
	require.Len(t, s.Changes, maxChanges)
	low, _ := s.Lowest(hours+24, 150)
	t.Logf("%.1f (%.1f–%.1f), in truth %.1f", low.P50, low.P05, low.P95, k.at(hours+24))
	require.InEpsilon(t, k.at(hours+24), low.P50, 0.15)
	require.True(t, low.P05 < k.at(hours+24) && k.at(hours+24) < low.P95)
	back := again(t, s)
	k.feed(s, hours, hours+3)
	k.feed(back, hours, hours+3)
	require.Equal(t, s, back)
}

// TestMarks: the filter that goes on from a mark ends where one that began anew does, so
// that a suspected change is weighed alike from either.
func TestMarks(t *testing.T) {
	d := simulate(4, 72, 3, 1)
	s := New(d.setup)
	feed(s, d.seen, 72, 10)
	m := newModel(s, maxHours)
	m.size = s.Fit.Size
	m.place(s.Fit.X)
	m.pool(false)
	for _, age := range suspectAges {
		hour := len(m.sights) - 1 - age
		c, logDet := m.track(hour)
		marks := make([]mark, age+1)
		m.trackOn(mark{c: m.open()}, -1, marks)
		marked, sum := m.trackOn(marks[0], hour, nil)
		require.Equal(t, c, marked, "a change %d h ago", age)
		require.InDelta(t, logDet, sum, 1e-9)
	}
}
