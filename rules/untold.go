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
	untoldDay   = 24             // hours that are remembered
	untoldLag   = 6              // hours over which gas comes: how high it stood in them is no comparison
	untoldLeast = 6              // hours before those of which a line must be known
	untoldLines = 2              // that must be known: the instrument of one alone may have been set anew
)

// Hourly is what the lines of a stack showed hour by hour.
type Hourly struct {
	Hour  int         // running
	Sums  []float64   // of what was read in it, one per line, ppm
	Reads []int       // how often, one per line
	Means [][]float32 // of the hours before it, newest last, one per line, ppm; 0 = not known
	Rose  float64     // by how much the line that rose least stands above the day before, ln C
	Known bool        // it is known
}

// take takes a reading of a line at h hours after t = 0.
func (u *Hourly) take(lines, line int, h, ppm float64) {
	hour := int(math.Floor(h))
	if u.Sums == nil {
		u.Sums, u.Reads = make([]float64, lines), make([]int, lines)
	}
	if u.close(hour); hour == u.Hour {
		u.Sums[line] += max(ppm, 0)
		u.Reads[line]++
	}
}

// close ends the hours before one.
func (u *Hourly) close(hour int) {
	switch {
	case u.Sums == nil: // nothing was read yet
		u.Hour = max(u.Hour, hour)
	case hour-u.Hour > untoldDay: // nothing for so long
		*u = Hourly{Hour: hour, Sums: make([]float64, len(u.Sums)), Reads: make([]int, len(u.Reads))}
	}
	for ; u.Hour < hour; u.Hour++ {
		means := make([]float32, len(u.Sums))
		for i, sum := range u.Sums {
			means[i] = float32(sum / float64(max(u.Reads[i], 1)))
		}
		clear(u.Sums)
		clear(u.Reads)
		if len(u.Means) > untoldDay {
			u.Means = append(u.Means[:0], u.Means[1:]...)
		}
		u.Means = append(u.Means, means)
	}
}

// look finds how far the lines rose by an hour that has passed.
func (u *Hourly) look(hour int) {
	u.close(hour)
	last, known := len(u.Means)-1, 0
	if u.Rose, u.Known = 0, false; last < untoldLag {
		return
	}
	least := math.Inf(1)
	for line, now := range u.Means[last] {
		most, hours := float32(0), 0
		for _, means := range u.Means[:last-untoldLag+1] {
			if means[line] > 0 {
				most, hours = max(most, means[line]), hours+1
			}
		}
		if now > 0 && hours >= untoldLeast {
			least, known = min(least, math.Log(float64(now/most))), known+1
		}
	}
	if u.Known = known >= untoldLines; u.Known {
		u.Rose = least
	}
}

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
