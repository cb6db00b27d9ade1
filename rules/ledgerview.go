package rules

import (
	"slices"

	"undersheet/logbook"
)

// CheckView is the newest zero, bump test or calibration of a channel.
type CheckView struct {
	What string
	Check
}

// checkViews shows the checks of a channel, and the code of what it owes before it
// counts for a gate.
func (c *Channel) checkViews() []CheckView {
	var out []CheckView
	for _, what := range []string{logbook.CheckZero, logbook.CheckBump, logbook.CheckCalibration} {
		if k, ok := c.Checks[what]; ok {
			out = append(out, CheckView{what, k})
		}
	}
	return slices.Clip(out)
}
