package chart

import (
	"math"
	"strconv"

	"undersheet/logbook/words"
)

// axis maps values to places between from and to.
type axis struct {
	min, max float64 // values
	from, to float64 // user units
	log      bool
}

// at returns the place of v; outside values are put on the edge.
func (a axis) at(v float64) float64 {
	lo, hi := a.min, a.max
	if a.log {
		lo, hi, v = math.Log(lo), math.Log(hi), math.Log(math.Max(v, a.min))
	}
	f := (v - lo) / (hi - lo)
	return a.from + math.Min(math.Max(f, 0), 1)*(a.to-a.from)
}

// inside reports whether v lies on the axis.
func (a axis) inside(v float64) bool { return v >= a.min && v <= a.max }

// xAxis spans the data, or what the chart asks for; never an empty span.
func (c *Chart) xAxis(from, to float64) axis {
	a := axis{min: c.XMin, max: c.XMax, from: from, to: to}
	if a.min == 0 && a.max == 0 {
		a.min, a.max = math.Inf(1), math.Inf(-1)
		c.each(func(x, _ float64) { a.min, a.max = math.Min(a.min, x), math.Max(a.max, x) })
	}
	if !finite(a.min) || !finite(a.max) {
		a.min, a.max = 0, 24
	}
	if a.max-a.min < 1 {
		a.max = a.min + 1
	}
	return a
}

// yAxis starts at 0, at the floor of a logarithmic axis, or as far below 0 as it goes
// above, and ends above the highest value and level.
func (c *Chart) yAxis(from, to float64) axis {
	a := axis{max: c.YMax, from: from, to: to, log: c.Log}
	if a.max <= 0 {
		c.each(func(_, y float64) {
			if c.Centred {
				y = math.Abs(y)
			}
			a.max = math.Max(a.max, y)
		})
	}
	for _, l := range c.Levels {
		if finite(l.Y) {
			a.max = math.Max(a.max, l.Y*1.1)
		}
	}
	if a.log {
		a.min = c.Floor
		if a.min <= 0 {
			a.min = 1
		}
		a.max = math.Max(a.max*1.2, 10*a.min)
		return a
	}
	if !(a.max > 0) {
		a.max = 1
	}
	a.max *= 1.05
	if c.Centred {
		a.min = -a.max
	}
	return a
}

// each visits every finite value of series and bands that is in the asked span.
func (c *Chart) each(visit func(x, y float64)) {
	see := func(x, y float64) {
		asked := c.XMin != 0 || c.XMax != 0
		if finite(x) && finite(y) && (!asked || x >= c.XMin && x <= c.XMax) {
			visit(x, y)
		}
	}
	for _, s := range c.Series {
		for _, p := range s.Points {
			see(p.X, p.Y)
		}
	}
	for _, b := range c.Bands {
		for _, p := range b.Points {
			see(p.X, p.Lower)
			see(p.X, p.Upper)
		}
	}
}

// hourSteps are the steps between ticks of time, in hours.
var hourSteps = []float64{1, 2, 3, 6, 12, 24, 48, 72, 96, 120, 168, 240, 336, 720}

// hourTicks returns at most n ticks of an axis in hours.
func hourTicks(a axis, n int) []float64 {
	n = max(n, 2)
	step := hourSteps[len(hourSteps)-1]
	for _, s := range hourSteps {
		if (a.max-a.min)/s <= float64(n) {
			step = s
			break
		}
	}
	for (a.max-a.min)/step > float64(n) {
		step *= 2
	}
	return ticks(a, step)
}

// valueTicks returns ticks of a value axis: about n on a linear one; 1, 2, 5 of
// each decade on a short logarithmic one, decades alone on a long one.
func valueTicks(a axis, n int) []float64 {
	if a.log {
		return logTicks(a)
	}
	raw := (a.max - a.min) / float64(n)
	decade := math.Pow(10, math.Floor(math.Log10(raw)))
	for _, m := range []float64{1, 2, 5} {
		if m*decade >= raw {
			return ticks(a, m*decade)
		}
	}
	return ticks(a, 10*decade)
}

func logTicks(a axis) []float64 {
	steps := []float64{1, 2, 5}
	if a.max/a.min > 1100 {
		steps = []float64{1}
	}
	var out []float64
	for e := math.Floor(math.Log10(a.min)); e <= math.Ceil(math.Log10(a.max)); e++ {
		for _, m := range steps {
			if v := m * math.Pow(10, e); a.inside(v) {
				out = append(out, v)
			}
		}
	}
	return out
}

func ticks(a axis, step float64) []float64 {
	var out []float64
	for i := math.Ceil(a.min / step); i*step <= a.max*(1+1e-9); i++ {
		out = append(out, i*step)
	}
	return out
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

// short prints a tick in the chart's language, with at most 4 significant digits.
func (d *drawing) short(v float64) string { return words.Figure(d.c.Lang, short(v)) }

// short prints a tick with at most 4 significant digits.
func short(v float64) string {
	rounded, err := strconv.ParseFloat(strconv.FormatFloat(v, 'g', 4, 64), 64)
	if err != nil {
		return ""
	}
	if math.Abs(rounded) >= 1e7 || math.Abs(rounded) < 1e-4 {
		return strconv.FormatFloat(rounded, 'g', -1, 64)
	}
	return strconv.FormatFloat(rounded, 'f', -1, 64)
}
