package leak

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"undersheet/rules/decay"
)

// overPromise expects, while the first readings are in, that the gas goes on
// rising as steeply as it began; later it knows the curve.
type overPromise struct {
	now   float64
	curve func(hours float64) float64
}

// ExpectedLnChange implements Expecter.
func (o *overPromise) ExpectedLnChange(_ int, from, to float64) (mean, sd float64) {
	if o.now < 4 {
		return 1.5 * (to - from), 0.2
	}
	return math.Log(o.curve(to) / o.curve(from)), 0.02 * math.Sqrt(to-from)
}

func (o *overPromise) MeanLnChange(line int, from, to float64) float64 {
	mean, _ := o.ExpectedLnChange(line, from, to)
	return mean
}

func (o *overPromise) LossPerDay() (loss, sdLn float64) { return 0.35, 0.2 }
func (o *overPromise) GustPerDay() float64              { return 0 }
func (o *overPromise) Rises() (float64, []decay.Rise)   { return 0, nil }

// Gas that rises less than a fit of the first hours promised is no leak, neither
// then nor when the test goes live. The curve is the one-compartment identity with
// release 1.3 and loss 0.35 per day.
func TestLessThanPromisedIsNoLeak(t *testing.T) {
	o := &overPromise{curve: func(h float64) float64 {
		d := h / 24
		return 1500 * 1.3 / 0.95 * (math.Exp(-0.35*d) - math.Exp(-1.3*d))
	}}
	s := New(Setup{Lines: 2})
	for m := 10; m < 72*60; m += 10 {
		o.now = float64(m) / 60
		var obs []Obs
		for i := range 2 {
			ppm := o.curve(o.now) * (1 + 0.02*math.Sin(float64(m)*12.7+3*float64(i)))
			obs = append(obs, Obs{Line: i, PPM: math.Round(ppm), SDLn: 0.03})
		}
		require.Empty(t, s.Observe(o.now, obs, o), "hour %.1f", o.now)
	}
	require.True(t, s.Statistic().Live)
}
