package leak

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"undersheet/rules/decay"
)

// recalls expects a constant slope, and says from an hour on what the whole record tells.
type recalls struct {
	steady
	at    float64
	rises []decay.Rise
}

func (r *recalls) Rises() (float64, []decay.Rise) { return r.at, r.rises }

// recalled is what a quiet stack of three lines is told to do from 70 h on where the whole
// record says that the loss rate rose.
func recalled(rises ...decay.Rise) (events []Event) {
	const slope = -0.2 / 24
	s, fit := New(Setup{Lines: 3}), &recalls{steady: steady{slope, 0.001}}
	for i := range 80 * 12 {
		h := (float64(i) + 0.5) * binHours
		if h > 70 {
			fit.at, fit.rises = 70, rises
		}
		var obs []Obs
		for l := range 3 {
			obs = append(obs, Obs{Line: l, PPM: 600 * math.Exp(slope*h+0.01*math.Sin(7*float64(i*(l+2)))), SDLn: 0.03})
		}
		events = append(events, s.Observe(h, obs, fit)...)
	}
	return events
}

// What the whole record tells surely is a leak of the stack, of the size and since the hour that
// it tells; not where it is unsure, or young, or began with the end of release.
func TestWholeRecord(t *testing.T) {
	events := recalled(decay.Rise{Hours: 62.5, Mean: 0.2, SD: 0.045}, decay.Rise{Hours: 60.5, Mean: 0.3, SD: 0.05}, decay.Rise{Hours: 40.5, Mean: 0.05, SD: 0.04})
	require.Len(t, events, 1)
	e := events[0]
	require.Equal(t, Leak, e.Kind)
	require.Equal(t, -1, e.Line)
	require.InDelta(t, 60.5, e.Onset, 0)
	require.InDelta(t, 60, e.OnsetLow, 0)
	require.InDelta(t, 61, e.OnsetHigh, 0, "twenty and thirty-six are further apart than the interval's 7.7")
	require.InDelta(t, 0.3, e.LossAfter-e.LossBefore, 0.01)
	for name, r := range map[string]decay.Rise{
		"unsure":         {Hours: 60.5, Mean: 0.3, SD: 0.07},
		"young":          {Hours: 69.5, Mean: 3, SD: 0.1},
		"end of release": {Hours: 33.5, Mean: 0.5, SD: 0.05},
		"a fall":         {Hours: 60.5, Mean: -0.5, SD: 0.05},
	} {
		require.Empty(t, recalled(r), name)
	}
}

// Where lines are read once an hour a skirt that lifts is told within half a day: a stack that
// goes on falling did not come back to where it stood.
func TestReadOnceAnHour(t *testing.T) {
	const n = 40
	found := findingTimes(n, func(seed uint64) plan {
		p := calm(seed)
		p.every, p.loss, p.errs, p.told, p.from, p.times = 12, 0.15, 1, false, 65+float64(seed%12), 5
		return p
	})
	t.Logf("half found within %.1f h, nine in ten within %.1f h", found[n/2], found[9*n/10])
	require.LessOrEqual(t, found[n/2], 8.0)
	require.LessOrEqual(t, found[9*n/10], 16.0)
}

// A fit of a day before took the loss rate for higher than it is, so the stack rose against what
// was expected. When it leaks, it only stops rising: by the whole record, of which the newest
// fit speaks, that is a leak, and not a stack that came back. One whose pump stood rose as well,
// but for the hours of that alone, and comes back.
func TestRoseBeforeItLeaked(t *testing.T) {
	stack := func(now float64, rows ...float32) (*State, found) {
		s := New(Setup{Lines: 2})
		s.At, s.Bank.Onset = 60, []float64{54}
		for i := range s.Lines {
			s.Lines[i].Known, s.Lines[i].Stand = true, now
		}
		for _, ln := range rows {
			s.Stood.Ln = append(s.Stood.Ln, ln, ln)
		}
		return s, found{line: -1, rate: 0.003, whole: &decay.Rise{Hours: 54, Mean: 0.072, SD: 0.01}}
	}
	const perHour = 0.003
	var rose []float32
	for h := range 24 {
		rose = append(rose, float32(perHour*float64(min(h, 18))))
	}
	s, f := stack(perHour*18, rose...)
	require.False(t, s.cameBack(f))
	f.whole = nil
	require.True(t, s.cameBack(f), "by the fit of a day before alone")
	stood := make([]float32, 24)
	for h := 14; h < 18; h++ {
		stood[h] = 0.008 * float32(h-13)
	}
	s, f = stack(0, stood...)
	f.rate = 0.032 / 6
	require.True(t, s.cameBack(f), "a pump that ran again")
}
