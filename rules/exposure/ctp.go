package exposure

import (
	"time"

	"undersheet/logbook"
)

// CTP sums a concentration-time product by the trapezoid rule on the times of the readings. A
// value below detection counts as 0. Where readings lie further apart than the allowed gap
// nothing is added; the time between them is kept as a gap until late readings fill it.
//
// With Began set, readings before it are left out, the time from Began to the first reading is
// a gap, too, and the sum is also kept hour by hour. Hours in which the line did not draw the
// stack's gas do not count.
type CTP struct {
	PPMh   float64 // ppm·h
	Level  float64 // ppm; Above is of it
	Above  float64 // hours at or above Level, by the straight line between two readings
	Read   float64 // hours that PPMh is of
	Began  logbook.Time
	Last   Point
	Gaps   []Gap // unbridged stretches, oldest first
	Hourly Hours // from Began on
}

// notRead stands for the ppm at Began where nothing was read at that very time.
const notRead = -1.0

// Gap is a stretch between two readings that is too long to bridge.
type Gap struct {
	From, To Point
}

// maxGaps bounds the memory of gaps; the oldest are forgotten (and stay gaps).
const maxGaps = 48

// Add takes a reading at any time; gap is the longest stretch that is bridged.
// A late reading splits the gap it falls into, and adds nothing elsewhere.
func (c *CTP) Add(at logbook.Time, ppm float64, gap time.Duration) {
	p := Point{at, ppm}
	switch {
	case at < c.Began:
	case c.Last.At == 0:
		if c.Last = p; c.Began != 0 && at > c.Began {
			c.join(0, Point{c.Began, notRead}, p, gap)
		}
	case at > c.Last.At:
		c.join(len(c.Gaps), c.Last, p, gap)
		c.Last = p
	default:
		for i, g := range c.Gaps {
			if (at > g.From.At || at == g.From.At && g.From.PPM == notRead) && at < g.To.At {
				c.Gaps = append(c.Gaps[:i], c.Gaps[i+1:]...)
				c.join(i, p, g.To, gap)
				if at > g.From.At {
					c.join(i, g.From, p, gap)
				}
				return
			}
		}
	}
}

// join bridges from a to b, or keeps the gap at place i of the list.
func (c *CTP) join(i int, a, b Point, gap time.Duration) {
	if a.PPM != notRead && b.At.Sub(a.At) <= gap {
		c.bridge(a, b)
		return
	}
	c.Gaps = append(c.Gaps, Gap{})
	copy(c.Gaps[i+1:], c.Gaps[i:])
	c.Gaps[i] = Gap{a, b}
	if len(c.Gaps) > maxGaps {
		c.Gaps = append(c.Gaps[:0], c.Gaps[1:]...)
	}
}

// bridge counts the straight line from a to b, hour by hour where hours are kept.
func (c *CTP) bridge(a, b Point) {
	slope := (b.PPM - a.PPM) / b.At.Hours(a.At)
	for from := a; from.At < b.At; {
		to, hour := b, c.Hourly.at(c.Began, from.At)
		if hour != nil {
			if end := c.Began.Add((from.At.Sub(c.Began)/time.Hour + 1) * time.Hour); end < b.At {
				to = Point{end, a.PPM + slope*end.Hours(a.At)}
			}
		}
		part := to.At.Hours(from.At)
		ppmH, above := part*(from.PPM+to.PPM)/2, hoursAbove(from, to, c.Level)
		if hour != nil {
			hour.PPMh, hour.Above, hour.Read = hour.PPMh+ppmH, hour.Above+above, hour.Read+part
		}
		if hour == nil || !hour.Away {
			c.PPMh, c.Above, c.Read = c.PPMh+ppmH, c.Above+above, c.Read+part
		}
		from = to
	}
}

// Unread returns the hours from Began to a moment that no reading of the stack's gas covers: gaps,
// hours in which the line drew something else, and what came after the last reading. Before
// Began, and without it, it is 0; so is less than a few thousandths of a second, which sums leave.
func (c *CTP) Unread(until logbook.Time) float64 {
	if c.Began == 0 || until <= c.Began {
		return 0
	}
	if h := until.Hours(c.Began) - c.Read; h > 1e-6 {
		return h
	}
	return 0
}

// hoursAbove returns for how long the straight line from a to b is at or above level.
func hoursAbove(a, b Point, level float64) float64 {
	low, high := min(a.PPM, b.PPM), max(a.PPM, b.PPM)
	switch h := b.At.Hours(a.At); {
	case low >= level:
		return h
	case high < level:
		return 0
	default:
		return h * (high - level) / (high - low)
	}
}

// MarkOver notes that a reading was at the top of its instrument's range: what its
// hour holds is at least that much.
func (c *CTP) MarkOver(at logbook.Time) {
	if h := c.Hourly.at(c.Began, at); h != nil {
		h.Over = true
	}
}

// MarkAway notes that the line did not draw the stack's gas from one time to another. Whatever
// was read in these hours does not count, and what it had added to the sum is taken back.
func (c *CTP) MarkAway(from, to logbook.Time) {
	if from > to {
		return
	}
	for t := max(from, c.Began); t < to; t = t.Add(time.Hour) {
		c.away(t)
	}
	c.away(to)
}

// away marks one hour.
func (c *CTP) away(at logbook.Time) {
	h := c.Hourly.at(c.Began, at)
	if h == nil || h.Away {
		return
	}
	h.Away = true
	c.PPMh, c.Above, c.Read = max(c.PPMh-h.PPMh, 0), max(c.Above-h.Above, 0), max(c.Read-h.Read, 0)
}
