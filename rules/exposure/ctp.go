package exposure

import (
	"time"

	"undersheet/logbook"
)

// CTP sums a concentration-time product by the trapezoid rule on actual times.
// A value below detection counts as 0; a stretch between readings longer than the
// allowed gap is not bridged but counted as a gap, until late readings fill it.
// With Began set, the stretch before the first reading is a gap too, and the sum
// is kept hour by hour as well.
type CTP struct {
	PPMh   float64 // ppm·h
	Level  float64 // ppm; Above is of it
	Above  float64 // hours at or above Level, by the straight line between two readings
	Began  logbook.Time
	Last   Point
	Gaps   []Gap // unbridged stretches, oldest first
	Hourly Hours // from Began on
}

// notRead marks the beginning as a point that nobody read.
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
		c.PPMh += b.At.Hours(a.At) * (a.PPM + b.PPM) / 2
		c.Above += hoursAbove(a, b, c.Level)
		if c.Began != 0 {
			c.Hourly.spread(c.Began, a, b)
		}
		return
	}
	c.Gaps = append(c.Gaps, Gap{})
	copy(c.Gaps[i+1:], c.Gaps[i:])
	c.Gaps[i] = Gap{a, b}
	if len(c.Gaps) > maxGaps {
		c.Gaps = append(c.Gaps[:0], c.Gaps[1:]...)
	}
}

// GapHours returns the hours that no reading covers.
func (c *CTP) GapHours() float64 {
	h := 0.0
	for _, g := range c.Gaps {
		h += g.To.At.Hours(g.From.At)
	}
	return h
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
	if c.Began == 0 {
		return
	}
	if h := c.Hourly.at(c.Began, at); h != nil {
		h.Over = true
	}
}

// MarkAway notes that the line did not draw the stack's gas from one moment to
// another: none of these hours tells of it, however they were read.
func (c *CTP) MarkAway(from, to logbook.Time) {
	if c.Began == 0 {
		return
	}
	for t := max(from, c.Began); t <= to; t = t.Add(time.Hour) {
		if h := c.Hourly.at(c.Began, t); h != nil {
			h.Away = true
		}
	}
	if h := c.Hourly.at(c.Began, to); h != nil && from <= to {
		h.Away = true
	}
}
