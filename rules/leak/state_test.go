package leak

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"undersheet/rules/decay"
)

// again writes a state as JSON and reads it back.
func again(t testing.TB, s *State) *State {
	t.Helper()
	data, err := json.Marshal(s)
	require.NoError(t, err)
	out := new(State)
	require.NoError(t, json.Unmarshal(data, out))
	return out
}

// troubled is a record with a leak that is mended, a line that comes off and one
// that is blocked, a power cut and spikes.
func troubled(seed uint64, lines int) (*world, func(bin int, obs []Obs) []Obs) {
	p := usual(seed)
	p.lines, p.at, p.times, p.from, p.until, p.loss = lines, 0, 4, 40, 60, 0.2
	w := p.make()
	return w, func(bin int, obs []Obs) []Obs {
		h := hoursOf(bin)
		for i := range obs {
			switch o := &obs[i]; {
			case o.Line == 1 && h > 20 && h < 25:
				o.PPM = 3
			case o.Line == 2 && h > 70 && h < 80:
				o.PPM = 333
			case bin%131 == 7:
				o.PPM *= 0.3
			}
		}
		if h > 30 && h < 36 {
			return nil
		}
		return obs
	}
}

// TestRoundTrip: written as JSON and read back after any bin, the test goes on as
// if it had not been.
func TestRoundTrip(t *testing.T) {
	w, change := troubled(6, 4)
	one, two := New(Setup{Lines: 4}), New(Setup{Lines: 4})
	kinds := map[Kind]int{}
	for bin, obs := range w.seen {
		h := hoursOf(bin)
		w.fit.refit(math.Floor(h))
		obs = change(bin, append([]Obs(nil), obs...))
		if bin%3 == 0 || bin%97 < 4 {
			two = again(t, two)
		}
		if bin == 1200 {
			one.DoseAdded(h)
			two.DoseAdded(h)
		}
		a, b := one.Observe(h, obs, w.fit), two.Observe(h, obs, w.fit)
		require.Equal(t, a, b, "bin %d", bin)
		for _, e := range a {
			kinds[e.Kind]++
		}
	}
	require.Equal(t, one.Statistic(), two.Statistic())
	x, err := json.Marshal(one)
	require.NoError(t, err)
	y, err := json.Marshal(two)
	require.NoError(t, err)
	require.Equal(t, string(x), string(y))
	require.Positive(t, kinds[Leak])
	require.Equal(t, 2, kinds[LineOff])
	require.Equal(t, 2, kinds[Blocked])
}

// TestSize: at most 16 KiB for a stack with 6 lines, whatever happens.
func TestSize(t *testing.T) {
	for _, lines := range []int{1, 4, 6} {
		w, change := troubled(8, lines)
		s, most := New(Setup{Lines: lines}), 0
		w.run(s, func(bin int, obs []Obs) []Obs {
			if bin%50 == 0 {
				data, err := json.Marshal(s)
				require.NoError(t, err)
				most = max(most, len(data))
			}
			return change(bin, obs)
		})
		t.Logf("%d lines: %d bytes", lines, most)
		require.LessOrEqual(t, most, 16<<10)
	}
}

// wild is a fit that says anything.
type wild struct{ rnd *rand.Rand }

var nasty = []float64{0, 1, -1, 1e-300, -1e300, 1e300, math.NaN(), math.Inf(1), math.Inf(-1), 400, 2000, 0.03, -5}

func (w wild) any() float64 { return nasty[w.rnd.IntN(len(nasty))] }

func (w wild) ExpectedLnChange(int, float64, float64) (mean, sd float64) { return w.any(), w.any() }

func (w wild) MeanLnChange(line int, from, to float64) float64 {
	mean, _ := w.ExpectedLnChange(line, from, to)
	return mean
}

func (w wild) LossPerDay() (loss, sdLn float64) { return w.any(), w.any() }
func (w wild) GustPerDay() float64              { return w.any() }

// TestHostileInput: whatever comes, no number turns to NaN or infinity, and the
// state can be written.
func TestHostileInput(t *testing.T) {
	began := 0
	for seed := range uint64(20) {
		rnd := rand.New(rand.NewPCG(seed, 1))
		any := wild{rnd}
		s := New(Setup{Lines: int(seed)%6 - 1, FalseAlarmsPerStackDay: any.any()})
		h := 0.0
		for range 1500 {
			obs := make([]Obs, rnd.IntN(6))
			for i := range obs {
				obs[i] = Obs{Line: rnd.IntN(8) - 2, PPM: any.any(), SDLn: any.any(), Censored: rnd.IntN(9) == 0}
				if rnd.IntN(3) > 0 {
					obs[i].PPM, obs[i].SDLn = 300*math.Exp(rnd.NormFloat64()), 0.03
				}
			}
			at := h
			switch rnd.IntN(60) {
			case 0:
				if at = any.any(); at > 300 {
					at = h
				}
			case 1:
				s.DoseAdded(any.any())
			case 2:
				h += 20 * rnd.Float64()
			}
			var e Expecter
			switch n := rnd.IntN(4); {
			case seed%2 == 0 || n == 1: // every other stack has a fit that makes sense
				e = steady{-0.2 / 24, 0.01 / 24}
			case n == 0:
				e = any
			}
			for _, ev := range s.Observe(at, obs, e) {
				for _, x := range []float64{ev.Onset, ev.OnsetLow, ev.OnsetHigh, ev.LossBefore, ev.LossAfter, ev.LossSD} {
					require.True(t, finite(x), "%+v", ev)
				}
				require.Less(t, ev.Line, s.Setup.Lines)
				began++
			}
			st := s.Statistic()
			require.True(t, finite(st.Value) && finite(st.Common) && st.Threshold > 0)
			h = max(h, s.At) + binHours
		}
		require.Positive(t, s.Refused)
		again(t, s)
	}
	require.Greater(t, began, 10, "the input is so wild that nothing was judged")
}

// steady expects a constant slope.
type steady struct{ slope, sd float64 }

func (e steady) ExpectedLnChange(_ int, from, to float64) (mean, sd float64) {
	return e.slope * (to - from), e.sd * (to - from)
}

func (e steady) MeanLnChange(line int, from, to float64) float64 {
	mean, _ := e.ExpectedLnChange(line, from, to)
	return mean
}

func (e steady) LossPerDay() (loss, sdLn float64) { return 0, 0 }
func (e steady) GustPerDay() float64              { return 0 }

// TestReadRefuses: what does not belong together is refused and changes nothing.
func TestReadRefuses(t *testing.T) {
	s := New(Setup{Lines: 3})
	for i := range 300 {
		s.Observe(float64(i)*binHours, []Obs{{Line: 0, PPM: 300}, {Line: 1, PPM: 310}, {Line: 2, PPM: 290}}, steady{-0.01, 0.001})
	}
	data, err := json.Marshal(s)
	require.NoError(t, err)
	for old, with := range map[string]string{
		`"Lines":3`:    `"Lines":2`,
		`"Mean":"`:     `"Mean":"AAAA`,
		`"Cov":"`:      `"Cov":"AAAAAAAA8H8`,
		`"Traces":"`:   `"Traces":"AAA`,
		`"Onset":[`:    `"Onset":[1,`,
		`"Refused":0}`: `"Refused":0`,
		`"Start":0`:    `"Start":"zero"`,
	} {
		text := strings.Replace(string(data), old, with, 1)
		require.NotEqual(t, string(data), text, "the fixture no longer holds %s", old)
		out := State{At: 42}
		require.Error(t, json.Unmarshal([]byte(text), &out), "%s", with)
		require.Equal(t, State{At: 42}, out)
	}
}

// TestQuietAndRefused: times out of order, unknown lines and doubles are counted
// and change nothing; Reset forgets.
func TestQuietAndRefused(t *testing.T) {
	s := New(Setup{Lines: 2})
	require.InDelta(t, 1.0/500, s.Setup.FalseAlarmsPerStackDay, 1e-12)
	s.Observe(1, []Obs{{Line: 0, PPM: 100}}, nil)
	require.Equal(t, 0, s.Refused)
	s.Observe(1, []Obs{{Line: 0, PPM: 100}}, nil)
	s.Observe(0.5, []Obs{{Line: 0, PPM: 100}}, nil)
	require.Equal(t, 2, s.Refused)
	s.Observe(2, []Obs{{Line: 0, PPM: 100}, {Line: 0, PPM: 5}, {Line: 7, PPM: 1}, {Line: 1, PPM: math.NaN()}}, nil)
	require.Equal(t, 5, s.Refused)
	require.False(t, s.Statistic().Live)
	s.Reset(3)
	require.Equal(t, -1.0, s.At)
	require.Equal(t, 3.0, s.Start)
}

// TestNotLiveWithoutAFit: with nothing to expect the slopes are not judged.
func TestNotLiveWithoutAFit(t *testing.T) {
	w := usual(3).make()
	s := New(Setup{Lines: 4})
	for bin, obs := range w.seen {
		require.Empty(t, s.Observe(hoursOf(bin), obs, nil))
		require.False(t, s.Statistic().Live)
	}
}

func BenchmarkObserve(b *testing.B) {
	for _, lines := range []int{4, 6} {
		b.Run(string(rune('0'+lines))+" lines", func(b *testing.B) {
			w, _ := troubled(6, lines)
			s := New(Setup{Lines: lines})
			w.run(s, func(_ int, obs []Obs) []Obs { return obs })
			obs := w.seen[len(w.seen)-2]
			if len(obs) == 0 {
				obs = w.seen[len(w.seen)-1]
			}
			w.fit.refit(120)
			h := s.At
			b.ReportAllocs()
			for b.Loop() {
				if h += binHours; h > maxHours {
					b.Fatal("the benchmark ran out of hours")
				}
				s.Observe(h, obs, w.fit)
			}
		})
	}
}

func (steady) Rises() (float64, []decay.Rise) { return 0, nil }

func (wild) Rises() (float64, []decay.Rise) { return 0, nil }
