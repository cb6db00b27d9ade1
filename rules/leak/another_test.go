package leak

import (
	"encoding/json"
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// tears lets lines 1 and 3 fall beside the others from hours on, as beside tears of an open
// sheet: by 1.2 per day, fading over 4 h as gas from around makes up for it, while the
// stack loses 0.3 per day more for each.
func tears(first, second float64) func(*world) func(int, []Obs) []Obs {
	loss := func(h float64, line, at int, from float64) float64 {
		t := max(h-from, 0)
		return 0.3/24*t + bit(line == at)*1.2/24*faded(t, 4)
	}
	return from(min(first, second), func(h float64, o Obs) float64 {
		return -loss(h, o.Line, 1, first) - loss(h, o.Line, 3, second)
	})
}

// A leak that stands hides no leak at another line, and both are over together.
func TestAnotherLeak(t *testing.T) {
	both := 0
	each(t, 12, func(p *plan) { p.loss, p.hours = 0.3, 110 }, tears(50, 70), func(seed int, events []timed, s *State) {
		at := map[int]bool{}
		for _, e := range events {
			if e.Kind == Leak && !e.Cleared {
				require.False(t, at[e.Line], "stack %d: told twice at one line: %v", seed, e)
				at[e.Line] = true
			}
		}
		if at[1] && at[3] {
			e := s.Raised.newest()
			both += int(bit(math.Abs(e.Onset-70) < 4))
			require.Greater(t, e.LossBefore, s.Raised.Event.LossBefore, "the first leak stands")
			text, err := json.Marshal(s)
			require.NoError(t, err)
			var read State
			require.NoError(t, json.Unmarshal(text, &read))
			require.Equal(t, s.Raised.all(), read.Raised.all())
			stood := len(s.Raised.all())
			over := s.clear()
			require.Len(t, over, stood)
			require.True(t, over[0].Cleared && over[1].Cleared)
		}
	})
	require.GreaterOrEqual(t, both, 9)
}

// Gas that flows to a torn place makes its neighbours fall, too: that is no other leak.
func TestNeighboursOfATear(t *testing.T) {
	each(t, 12, func(p *plan) { p.loss, p.hours = 0.3, 110 }, from(50, func(h float64, o Obs) float64 {
		near := map[int]float64{1: 1.2, 2: 0.3, 0: 0.3}[o.Line]
		return -0.3/24*(h-50) - near/24*faded(max(h-50-bit(o.Line != 1), 0), 4)
	}), func(seed int, events []timed, _ *State) {
		require.LessOrEqual(t, leaksIn(events), 1, "stack %d: %v", seed, short(events))
	})
}

// A leak that one line alone showed and that was no leak is withdrawn; the other stands.
func TestWithdrawOneOfTwo(t *testing.T) {
	s := New(Setup{Lines: 4})
	s.Raised = &raised{Event: Event{Kind: Leak, Line: 1, Alone: true, LossBefore: 0.2, LossAfter: 0.5}, Rate: 0.5 / 24, Now: 0.4 / 24, Changed: true,
		Later: []Event{{Kind: Leak, Line: 3, LossBefore: 0.5, LossAfter: 0.7}}}
	over := s.Distrust(1)
	require.Len(t, over, 1)
	require.True(t, over[0].Cleared && over[0].Line == 1)
	require.Equal(t, 3, s.Raised.Event.Line)
	require.Empty(t, s.Raised.Later)
	require.InDelta(t, 0.2/24, s.Raised.Rate, 1e-12)
	require.InDelta(t, 0.1/24, s.Raised.Now, 1e-12)
	require.InDelta(t, 0.2, s.Raised.Event.LossBefore, 1e-12)
	require.InDelta(t, 0.4, s.Raised.Event.LossAfter, 1e-12)
	require.False(t, s.Raised.Changed)
	require.True(t, s.Leaking())
}

// A line whose end is half out of the sheet draws air beside gas, now more, now less. It is
// off until it reads the gas again.
func TestPartlyOff(t *testing.T) {
	each(t, 12, nil, func(*world) func(int, []Obs) []Obs {
		return between(2, 60, 80, func(bin int, o Obs) Obs {
			o.PPM = math.Round(o.PPM * 0.4 * math.Exp(0.25*math.Sin(float64(bin))))
			return o
		})
	}, func(seed int, events []timed, s *State) {
		require.Equal(t, []string{"line-off c", "line-off cleared c"}, short(events), "stack %d", seed)
		require.InDelta(t, 60, events[0].Onset, 0.5, "stack %d", seed)
		require.InDelta(t, 80, events[1].at, 1, "stack %d", seed)
	})
}

// A sheet torn wide open beside a line lets it fall by a third within half an hour, but not
// from one reading to the next: that line is not off.
func TestTornWideBesideALine(t *testing.T) {
	each(t, 12, func(p *plan) { p.loss, p.every = 0.3, 2 }, from(60, func(h float64, o Obs) float64 {
		return -1.0/24*(h-60) - bit(o.Line == 2)*18/24*faded(h-60, 0.8)
	}), func(seed int, events []timed, _ *State) {
		require.NotEmpty(t, events, "stack %d", seed)
		require.Equal(t, Leak, events[0].Kind, "stack %d: %v", seed, events)
		require.NotContains(t, short(events), "line-off c", "stack %d", seed)
	})
}
