package decay

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
)

// letIn is a stack into which gas was let from cylinders within half an hour, read at three
// lines every 10 minutes until an hour, and what is there at the end: of the mass balance of
// one mixed space, at every line after an hour's mixing, that loses a share a day.
func letIn(seed uint64, form string, until float64) (s *State, end float64) {
	rnd := rand.New(rand.NewPCG(seed, 7803))
	setup := Setup{DoseG: 200, GasSpaceM3: 180, TempC: 27, Commodity: "milled rice", Form: form}
	for range 3 {
		setup.Lines = append(setup.Lines, Line{Accuracy: 0.05, Resolution: 1, DetectionLimit: 1, Range: 2000})
	}
	full := setup.ppmOf(200) * math.Exp(0.15*rnd.NormFloat64())
	loss := 0.1 + 0.3*rnd.Float64()
	at := func(hours float64, line int) float64 {
		mixed := 1 - math.Exp(-max(hours-0.3*float64(line+1), 0))
		return full * mixed * math.Exp(-loss*hours/24)
	}
	s = New(setup)
	for n := 0; float64(n)/6 < until; n++ {
		h := float64(n) / 6
		for l := range 3 {
			s.Observe(h, l, math.Round(at(h, l)*math.Exp(0.02*rnd.NormFloat64())))
		}
		if n%6 == 0 {
			s.Update(h)
		}
	}
	s.Update(until)
	return s, at(endHours, 0)
}

// Gas from cylinders is all there at once, so the first half day tells how tight the sheet is
// where that is known; taken for tablets, it might yet come.
func TestGasFromCylinders(t *testing.T) {
	var cylinders, tablets score
	for seed := range uint64(24) {
		for form, sum := range map[string]*score{"gas": &cylinders, "tablets": &tablets} {
			s, end := letIn(seed, form, 16)
			f, ok := s.Lowest(endHours, 150)
			require.True(t, ok)
			sum.add(f, end)
		}
	}
	t.Logf("error of ln C at the end from 16 h: %.2f, %.0f %% within; taken for tablets %.2f, %.0f %%", cylinders.rmse(), 100*cylinders.cover(), tablets.rmse(), 100*tablets.cover())
	require.Less(t, cylinders.rmse(), tablets.rmse())
	require.GreaterOrEqual(t, cylinders.cover(), 0.8)
}
