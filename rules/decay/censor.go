package decay

import (
	"gonum.org/v1/gonum/stat/distuv"
)

// beyond returns the value and variance that stand, at now, for a reading that is
// only known to lie below a limit (sign 1) or above it (sign −1), with noise sd:
// those of the Newton step on the normal log likelihood of that event (tobit
// regression).
func beyond(now, limit, sign, sd float64) (aim, variance float64) {
	a := sign * (limit - now) / sd
	hazard, weight := -a, 1.0
	if a > -8 {
		hazard = distuv.UnitNormal.Prob(a) / distuv.UnitNormal.CDF(a)
		weight = max(hazard*(hazard+a), 1e-9)
	}
	return now - sign*sd*hazard/weight, sd * sd / weight
}
