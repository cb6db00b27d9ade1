package rules

import (
	"math"
	"time"

	"undersheet/logbook"
	"undersheet/rules/alarm"
	"undersheet/rules/treatment"
)

// A dose that nobody told of. Two days after the last dose on record its release is all
// but over and gas only goes; where every line shows more than at any time in the day
// before, gas came in, and people are asked whose it is.

// Figures of such a rise. Measured on hard stacks (cmd/bench, 80 of each kind): from 48 h
// on no stack rose by more than 0.06 by itself, whatever befell its lines; an added dose
// showed 9 to 12 h after it was laid.
const (
	untoldRise  = 0.08           // of ln C
	untoldAfter = 48 * time.Hour // since the last dose on record
)

// untoldDose asks whether phosphine was added that nobody told of, until a dose is on
// record or the gas has gone on as it should for a day.
func (s *State) untoldDose(k *Stack, t *treatment.Treatment) {
	g := k.Gas
	until := g.DosedAt.Add(untoldAfter)
	s.again(until)
	told := s.At < until
	if !g.Hourly.Known && !told {
		return
	}
	of := logbook.Alarm{Alarm: alarm.Untold, Store: k.Store, Stack: t.Stack, Value: logbook.Round(math.Expm1(max(g.Hourly.Rose, 0)))}
	s.alarm(condition{of: of, active: g.Hourly.Rose > untoldRise && !told, atOnce: told})
}
