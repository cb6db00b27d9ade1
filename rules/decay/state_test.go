package decay

import (
	"encoding/json"
	"math"
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

// TestLateReadings: readings that come late land where they belong.
func TestLateReadings(t *testing.T) {
	d := simulate(9, 60, 2, 0)
	inOrder, late := New(d.setup), New(d.setup)
	var held []reading
	for _, r := range d.seen {
		inOrder.Observe(r.hours, r.line, r.ppm)
		if r.line == 1 && r.hours > 10 && r.hours < 40 {
			held = append(held, r)
			continue
		}
		late.Observe(r.hours, r.line, r.ppm)
	}
	for i := range held { // newest first
		r := held[len(held)-1-i]
		late.Observe(r.hours, r.line, r.ppm)
	}
	inOrder.Refit()
	late.Refit()
	a, _, _ := inOrder.Forecasts(120, 150)
	b, _, _ := late.Forecasts(120, 150)
	for l := range a {
		require.InEpsilon(t, a[l].P50, b[l].P50, 0.02)
		require.InEpsilon(t, a[l].P05, b[l].P05, 0.04)
	}
	require.Zero(t, late.Refused)
}

// TestCensored: readings below the detection limit and at the top of the range
// count for what they say.
func TestCensored(t *testing.T) {
	run := func(top, limit float64) Forecast {
		d := simulate(4, 60, 1, 0)
		d.setup.Lines[0].Range, d.setup.Lines[0].DetectionLimit = top, limit
		s := New(d.setup)
		for _, r := range d.seen {
			s.Observe(r.hours, r.line, min(r.ppm, top))
		}
		s.Refit()
		f, ok := s.Forecast(0, 80, 150)
		require.True(t, ok)
		return f
	}
	free := run(2000, 1)
	cut := run(free.P50*1.05, 1) // saturated for most of the time
	require.Less(t, cut.P05, free.P95)
	require.Greater(t, cut.P95, free.P05)
	top := run(100, 1) // always saturated: more than 100 ppm is all that is known
	require.Greater(t, top.P50, 100.0)
	gone := New(stack(1))
	for h := 0.0; h < 60; h += 0.5 {
		gone.Observe(h, 0, 0)
	}
	gone.Refit()
	f, ok := gone.Forecast(0, 80, 150)
	require.True(t, ok)
	require.Less(t, f.ChanceMet, 0.05, "%+v", f)
}

// TestSpikeAmongCensored: one low reading of a line that is otherwise over its range
// says nothing, though no other reading of that day has a value.
func TestSpikeAmongCensored(t *testing.T) {
	run := func(spike float64) Forecast {
		setup := stack(3)
		setup.DoseG *= 5000 / setup.ppmOf(setup.DoseG)
		s, c := New(setup), Curve{4500, 1.2, 0.25}
		for h := 0.0; h < 72; h += 1.0 / 6 {
			for l := range 3 {
				ppm := math.Min(math.Round(c.At((h-3)/24)), 2000)
				if l == 1 && h > 70.9 && h < 71.1 {
					ppm = spike
				}
				s.Observe(h, l, ppm)
			}
		}
		for range 3 {
			s.Refit()
		}
		checkSane(t, s)
		f, ok := s.Lowest(120, 150)
		require.True(t, ok)
		return f
	}
	clean, wild := run(2000), run(700)
	require.InEpsilon(t, clean.P50, wild.P50, 0.05)
	require.InEpsilon(t, clean.P05, wild.P05, 0.3)
	end := Curve{4500, 1.2, 0.25}.At(117.0 / 24)
	require.True(t, clean.P05 < end && end < clean.P95, "%.0f in %+v", end, clean)
}

// TestSpikes: a few wild readings change little.
func TestSpikes(t *testing.T) {
	d := simulate(6, 72, 3, 0)
	clean, wild := New(d.setup), New(d.setup)
	for i, r := range d.seen {
		clean.Observe(r.hours, r.line, r.ppm)
		if i%37 == 5 {
			r.ppm *= 3
		}
		wild.Observe(r.hours, r.line, r.ppm)
	}
	clean.Refit()
	wild.Refit()
	a, _ := clean.Forecast(1, 120, 150)
	b, _ := wild.Forecast(1, 120, 150)
	require.InEpsilon(t, a.P50, b.P50, 0.05)
	require.Positive(t, wild.Spikes)
}

func TestHandReading(t *testing.T) {
	d := simulate(12, 48, 1, 0)
	s := New(d.setup)
	for _, r := range d.seen {
		if math.Mod(r.hours, 12) < 0.01 {
			s.ObserveHand(r.hours, r.line, r.ppm, 0.1)
		}
	}
	s.ObserveHand(30, 0, 500, math.NaN())
	s.Refit()
	wide, ok := s.Forecast(0, 120, 150)
	require.True(t, ok)
	full := New(d.setup)
	feed(full, d.seen, 48, 12)
	narrow, _ := full.Forecast(0, 120, 150)
	require.Greater(t, wide.P95/wide.P05, narrow.P95/narrow.P05)
}

// TestPriors: warmer and moister grain and plates release faster; more dose in
// less space gives more.
func TestPriors(t *testing.T) {
	base := stack(1)
	warm, wet, plate, unknown := base, base, base, base
	warm.TempC, wet.MoisturePct, plate.Form, unknown.TempC = 34, 14, "magnesium plates", 0
	require.InDelta(t, 0.35, warm.releasePrior().mean-base.releasePrior().mean, 1e-12)
	require.Greater(t, wet.releasePrior().mean, base.releasePrior().mean)
	require.Greater(t, plate.releasePrior().mean, base.releasePrior().mean)
	require.Greater(t, unknown.releasePrior().sd, base.releasePrior().sd)
	// 1 g/m³ is 719.6 ppm at 25 °C: ideal gas, M = 33.99758 g/mol (NIOSH gives 1.39 mg/m³ per ppm)
	base.DoseG, base.TempC = base.GasSpaceM3, 25
	require.InDelta(t, math.Log(719.6), base.yieldPrior().mean, 1e-4)
	base.GasSpaceM3 = 0
	require.Greater(t, base.yieldPrior().sd, 1.0)
}

// TestCommodities: paddy takes up more than milled rice (its husk adsorbs: Pereira et
// al. 2024, Foods 13:3293; USDA trials of sacked rice, 1959–60), and rice without its
// husk less than wheat, millet and soya (17 against 27 ng/cm² in six days: Appl.
// Entomol. Zool. 1974, 9:127). So the same dose leaves less in paddy; what is not known
// leaves both open.
func TestCommodities(t *testing.T) {
	blind := func(text string) Forecast {
		setup := stack(1)
		setup.Commodity = text
		s := New(setup)
		s.Refit()
		f, ok := s.Lowest(120, 150)
		require.True(t, ok)
		return f
	}
	milled, wheat, paddy, unknown := blind("milled rice"), blind("wheat"), blind("riz paddy"), blind("")
	require.Less(t, paddy.P50, wheat.P50)
	require.Less(t, wheat.P50, milled.P50)
	require.Equal(t, wheat, unknown)
	require.Equal(t, unknown, blind("rice"), "in its husk or not")
	require.Less(t, milled.P50, 2*paddy.P50, "some, not all: the readings decide")
	require.Equal(t, milled, blind("Riz blanchi"))
	require.Greater(t, unknown.P95, paddy.P50)
	require.Less(t, unknown.P05, milled.P50)
}

// TestParams: on records that follow the model the figures are found, within
// what their standard errors promise.
func TestParams(t *testing.T) {
	s := New(stack(2))
	_, ok := s.Params()
	require.False(t, ok)
	c := Curve{s.Setup.ppmOf(520), 1.5, 0.15}
	for h := 0.0; h <= 110; h += 1.0 / 6 {
		for l := range 2 {
			s.Observe(h, l, c.At((h-3)/24))
		}
	}
	s.Refit()
	p, ok := s.Params()
	require.True(t, ok)
	for _, v := range []struct {
		got  Value
		want float64
	}{{p.YieldPPM, c.YieldPPM}, {p.ReleasePerDay, 1.5}, {p.LossPerDay, 0.15}} {
		require.InDelta(t, v.want, v.got.Value, 2.5*v.got.SE)
		require.Positive(t, v.got.SE)
	}
	require.InEpsilon(t, c.At((60-3)/24.0), s.Curve(0, 60), 0.01)
	require.Zero(t, s.Curve(0, -1))
	require.Zero(t, s.Curve(7, 60))
	mean, sd := s.ExpectedLnChange(0, 90, 100)
	require.InDelta(t, math.Log(c.At(97./24)/c.At(87./24)), mean, 0.01)
	require.Less(t, sd, 0.1)
	_, sd = s.ExpectedLnChange(0, 0, 100)
	require.True(t, math.IsInf(sd, 1))
}

// TestJoint: the chance that all lines meet the end level is at most that of any
// one of them, and falls with the level.
func TestJoint(t *testing.T) {
	d := simulate(15, 48, 4, 1)
	s := New(d.setup)
	feed(s, d.seen, 48, 12)
	last := 1.0
	for level := 0.0; level < 2000; level += 50 {
		fs, low, ok := s.Forecasts(120, level)
		require.True(t, ok)
		for l, f := range fs {
			require.LessOrEqual(t, low.ChanceMet, f.ChanceMet)
			require.LessOrEqual(t, low.P50, f.P50)
			one, _ := s.Forecast(l, 120, level)
			require.Equal(t, f, one)
		}
		require.LessOrEqual(t, low.ChanceMet, last)
		last = low.ChanceMet
	}
	_, ok := s.Forecast(9, 120, 150)
	require.False(t, ok)
}

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

// TestForecastFromPriors: a stack none of whose lines ever read still gets a
// forecast, from what is known of the treatment; readings narrow it.
func TestForecastFromPriors(t *testing.T) {
	s := New(stack(1))
	_, ok := s.Lowest(120, 150)
	require.False(t, ok, "not before a refit")
	s.Refit()
	blind, ok := s.Lowest(120, 150)
	require.True(t, ok)
	require.Greater(t, blind.P95/blind.P05, 5.0, "little is known: the interval is wide")
	full := s.Setup.ppmOf(520)
	require.Less(t, blind.P95, full)
	require.InDelta(t, full/4, blind.P50, full/5)
	d := simulate(21, 48, 1, 0)
	d.setup.TempC = s.Setup.TempC
	seeing := New(d.setup)
	feed(seeing, d.seen, 48, 12)
	f, _ := seeing.Lowest(120, 150)
	require.Less(t, f.P95/f.P05, blind.P95/blind.P05/1.5)
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
