package gas

import "math"

// Figures of a rise against the day before.
const (
	dayHours    = 24 // that are remembered
	riseLag     = 6  // hours over which gas comes: how high it stood in them is no comparison
	leastBefore = 6  // hours before those of which a line must be known
	leastLines  = 2  // that must be known: the instrument of one alone may have been set anew
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
	case hour-u.Hour > dayHours: // nothing for so long
		*u = Hourly{Hour: hour, Sums: make([]float64, len(u.Sums)), Reads: make([]int, len(u.Reads))}
	}
	for ; u.Hour < hour; u.Hour++ {
		means := make([]float32, len(u.Sums))
		for i, sum := range u.Sums {
			means[i] = float32(sum / float64(max(u.Reads[i], 1)))
		}
		clear(u.Sums)
		clear(u.Reads)
		if len(u.Means) > dayHours {
			u.Means = append(u.Means[:0], u.Means[1:]...)
		}
		u.Means = append(u.Means, means)
	}
}

// Look finds how far the lines rose by an hour that has passed.
func (u *Hourly) Look(hour int) {
	u.close(hour)
	last, known := len(u.Means)-1, 0
	if u.Rose, u.Known = 0, false; last < riseLag {
		return
	}
	least := math.Inf(1)
	for line, now := range u.Means[last] {
		most, hours := float32(0), 0
		for _, means := range u.Means[:last-riseLag+1] {
			if means[line] > 0 {
				most, hours = max(most, means[line]), hours+1
			}
		}
		if now > 0 && hours >= leastBefore {
			least, known = min(least, math.Log(float64(now/most))), known+1
		}
	}
	if u.Known = known >= leastLines; u.Known {
		u.Rose = least
	}
}
