package decay

import (
	"math"
	"math/rand/v2"
)

// promiseDraws is how many courses of the gas a promise is made of.
const promiseDraws = 500

// Promise is what the figures of a treatment make expect of the lowest line at hours
// after t = 0 (rising), before anything was read and under a sheet that loses
// lossPerDay: the priors of yield, release, lag and sorption and how far lines
// differ, drawn from a fixed seed. It knows of no weather and no leak.
func Promise(setup Setup, lossPerDay float64, hours []float64, endLevel float64) []Forecast {
	s := New(setup)
	priors, told := s.priors(), s.told()
	rnd := rand.New(rand.NewPCG(seedA, seedB))
	x, low := make([]float64, len(priors)), make([][]float64, len(hours))
	for range promiseDraws {
		for j, p := range priors {
			x[j] = p.mean + p.sd*rnd.NormFloat64()
		}
		x[inLoss] = math.Log(max(lossPerDay, 1e-6))
		least := math.Inf(1)
		for range max(len(s.Setup.Lines), 1) {
			least = min(least, lineFactorSD*rnd.NormFloat64())
		}
		w := told.walk(x)
		for i, h := range hours {
			low[i] = append(low[i], w.to(h/24).air*math.Exp(least))
		}
	}
	out := make([]Forecast, len(hours))
	for i := range low {
		out[i] = summary(low[i], endLevel)
	}
	return out
}
