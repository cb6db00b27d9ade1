package decay

import (
	"encoding/json"
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// checkSane fails on any answer that is no number or out of order.
func checkSane(t *testing.T, s *State) {
	t.Helper()
	for _, h := range []float64{0, 1, 24, 120, 9000} {
		fs, low, ok := s.Forecasts(h, 150)
		if !ok {
			continue
		}
		for _, f := range append(fs, low) {
			require.True(t, allFinite([]float64{f.P05, f.P50, f.P95, f.ChanceMet}), "%+v", f)
			require.True(t, 0 <= f.P05 && f.P05 <= f.P50 && f.P50 <= f.P95 && 0 <= f.ChanceMet && f.ChanceMet <= 1, "%+v", f)
		}
		require.True(t, finite(s.Curve(0, h)))
		mean, sd := s.ExpectedLnChange(0, h, h+1)
		require.True(t, finite(mean) && sd >= 0)
	}
	if p, ok := s.Params(); ok {
		for _, v := range []Value{p.YieldPPM, p.ReleasePerDay, p.LossPerDay, p.LagHours, p.SorbPerDay, p.FreePerDay} {
			require.True(t, finite(v.Value) && finite(v.SE) && v.SE >= 0)
		}
	}
	data, err := json.Marshal(s)
	require.NoError(t, err, "a state holds no NaN or Inf")
	require.NoError(t, json.Unmarshal(data, new(State)))
}

func TestHostileReadings(t *testing.T) {
	if testing.Short() {
		t.Skip("many fits from nothing: run without -short")
	}
	nan, inf := math.NaN(), math.Inf(1)
	at := func(f func(h float64) float64) func(*State) {
		return func(s *State) {
			for h := 0.0; h < 40; h += 0.25 {
				s.Observe(h, 0, f(h))
			}
		}
	}
	for name, play := range map[string]func(*State){
		"empty":    func(*State) {},
		"one":      func(s *State) { s.Observe(5, 0, 100) },
		"constant": at(func(float64) float64 { return 500 }),
		"zeros":    at(func(float64) float64 { return 0 }),
		"negative": at(func(float64) float64 { return -5 }),
		"NaN":      at(func(float64) float64 { return nan }),
		"Inf":      at(func(float64) float64 { return inf }),
		"huge":     at(func(float64) float64 { return 9e5 }),
		"beyond":   at(func(float64) float64 { return 1e300 }),
		"tiny":     at(func(float64) float64 { return 1e-30 }),
		"growing":  at(math.Exp),
		"comb":     at(func(h float64) float64 { return 2000 * math.Mod(h*4, 2) }),
		"time":     func(s *State) { s.Observe(nan, 0, 5); s.Observe(-1, 0, 5); s.Observe(inf, 0, 5); s.Observe(1e9, 0, 5) },
		"line":     func(s *State) { s.Observe(1, -1, 5); s.Observe(1, 99, 5) },
		"far":      func(s *State) { at(func(float64) float64 { return 300 })(s); s.Observe(9500, 0, 100) },
		"doses": func(s *State) {
			at(func(float64) float64 { return 300 })(s)
			s.AddDose(nan, 5)
			s.AddDose(5, -1)
			s.AddDose(1, inf)
			s.AddDose(3, 1e9)
			s.LossChanged(nan, Value{nan, nan})
			s.LossChanged(9, Value{inf, -1})
			s.LossChanged(12, Value{1e-300, 1e300})
			s.LossChanged(2, Value{})
			s.LossChanged(1.5, Value{})
		},
	} {
		t.Run(name, func(t *testing.T) {
			for _, setup := range []Setup{stack(2), {Lines: make([]Line, 1)}, {DoseG: nan, GasSpaceM3: inf, TempC: -300, Lines: []Line{{Accuracy: nan, Range: -1, DetectionLimit: inf}}}} {
				s := New(setup)
				play(s)
				s.Refit()
				s.Refit()
				checkSane(t, s)
			}
		})
	}
	none := New(Setup{})
	none.Observe(1, 0, 5)
	none.Refit()
	_, _, ok := none.Forecasts(120, 150)
	require.False(t, ok)
	require.Equal(t, 1, none.Refused)
}

// FuzzState: whatever is observed, the answers are numbers in order and the
// state survives JSON.
func FuzzState(f *testing.F) {
	f.Add([]byte{1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12}, 520.0, 180.0)
	f.Add([]byte{0, 255, 0, 255, 17, 90, 200, 3, 3, 3, 3, 3}, 0.0, 0.0)
	f.Add([]byte("release and loss, release and loss"), 1e9, 1e-9)
	f.Fuzz(func(t *testing.T, data []byte, dose, space float64) {
		setup := stack(2)
		setup.DoseG, setup.GasSpaceM3 = dose, space
		s := New(setup)
		h := 0.0
		for i := 0; i+1 < len(data) && i < 200; i += 2 {
			h += float64(data[i]) / 32
			switch data[i] % 16 {
			case 12:
				s.Update(h)
			case 13:
				s.AddDose(h, float64(data[i+1]))
			case 14:
				s.LossChanged(h-float64(data[i+1])/16, Value{float64(data[i+1]) / 50, float64(data[i]) / 100})
				s.LossMended(h - float64(data[i+1])/32)
			case 15:
				s.Refit()
			default:
				s.Observe(h-float64(data[i]%3), int(data[i]%3)-int(data[i+1]%2), math.Expm1(float64(data[i+1])/24)-1)
			}
		}
		s.Refit()
		checkSane(t, s)
	})
}
