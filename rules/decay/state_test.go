package decay

import (
	"encoding/json"
	"testing"

	"github.com/stretchr/testify/require"
)

// stack is a setup with lines of a usual instrument.
func stack(lines int) Setup {
	s := Setup{DoseG: 520, GasSpaceM3: 180, TempC: 29, MoisturePct: 12.5, Form: "tablets"}
	for range lines {
		s.Lines = append(s.Lines, Line{Accuracy: 0.05, Resolution: 1, DetectionLimit: 1, Range: 2000})
	}
	return s
}

// TestRoundTrip: a state that is written and read back at any moment goes on to
// the same bits.
func TestRoundTrip(t *testing.T) {
	d := simulate(5, 72, 3, 1)
	whole, cut := New(d.setup), New(d.setup)
	rest := d.seen
	for _, at := range []float64{0.5, 7, 13, 30, 31, 50, 72} {
		next := feed(whole, rest, at, 3)
		feed(cut, rest, at, 3)
		rest = next
		if at == 30 {
			whole.AddDose(30, 100)
			cut.AddDose(30, 100)
			whole.LossChanged(28, Value{0.3, 0.1})
			cut.LossChanged(28, Value{0.3, 0.1})
		}
		if at == 50 {
			whole.LossMended(49)
			cut.LossMended(49)
		}
		data, err := json.Marshal(cut)
		require.NoError(t, err)
		back := new(State)
		require.NoError(t, json.Unmarshal(data, back))
		require.Equal(t, cut, back)
		cut = back
	}
	a, la, oka := whole.Forecasts(120, 150)
	b, lb, okb := cut.Forecasts(120, 150)
	require.True(t, oka && okb)
	require.Equal(t, a, b)
	require.Equal(t, la, lb)
}

func TestUnmarshalRefuses(t *testing.T) {
	s := New(stack(2))
	d := simulate(1, 30, 2, 0)
	feed(s, d.seen, 30, 10)
	for _, spoil := range []func(*State){
		func(s *State) { s.Bins = s.Bins[:1] },
		func(s *State) { s.Coarse = 0 },
		func(s *State) { s.Fit.X = s.Fit.X[1:] },
		func(s *State) { s.Added = append(s.Added, Dose{1, 1}) },
		func(s *State) { s.Changes = []change{{Hours: -30}} },
		func(s *State) { s.Changes = make([]change, maxChanges+1) },
		func(s *State) { s.Fit.Suspect.Settled = []int{-1} },
		func(s *State) { s.Fit.Refits = -3 },
	} {
		data, err := json.Marshal(s)
		require.NoError(t, err)
		var bad State
		require.NoError(t, json.Unmarshal(data, &bad))
		spoil(&bad)
		data, err = json.Marshal(&bad)
		require.NoError(t, err)
		into := *New(stack(3))
		require.Error(t, json.Unmarshal(data, &into))
		require.Equal(t, *New(stack(3)), into)
	}
	require.Error(t, new(State).UnmarshalJSON([]byte(`{"Setup":`)))
}

// TestSmall: at most 64 KiB for 6 lines over 8 days of readings in every 5 min
// bin; and no more over 60 days, or with more lines.
func TestSmall(t *testing.T) {
	for _, c := range []struct {
		lines int
		days  float64
	}{{6, 8}, {6, 40}, {20, 10}} {
		s := New(stack(c.lines))
		for h := 0.0; h < 24*c.days; h += tickHours {
			for l := range c.lines {
				s.Observe(h+0.01*float64(l), l, 777.123456+h)
			}
		}
		s.Refit()
		data, err := json.Marshal(s)
		require.NoError(t, err)
		t.Logf("%d lines, %v days: %d bytes, %d bins a line of %v ticks", c.lines, c.days, len(data), len(s.Bins[0]), s.Coarse)
		require.LessOrEqual(t, len(data), 64<<10, "%+v", c)
	}
}
