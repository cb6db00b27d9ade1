package decay

import (
	"math"

	"gonum.org/v1/gonum/floats"
)

// knots are hours at which a curve is looked at instead of at every hour: what
// differs between two curves of one posterior is smooth, so that it may be
// interpolated. At the knots the log likelihood is a quadratic form of the
// difference d of ln C from the curve in hand:
//
//	Σ r² = Σ r₀² − 2·b·d + d·A·d,   the states' mean at the end = m₀ − M·d
type knots struct {
	hours []int
	start []float64 // ppm at the knots
	a     []float64 // A by rows
	b     []float64
	end   [states]float64
	move  [][states]float64 // M by knot
	over  []over
}

// bentAs is the age in hours of a fresh stack whose curve bends no less than one does
// after a change of its loss rate.
const bentAs = 12

// stride is the hours from one knot to the next, so many hours after the start.
func stride(age int) int {
	switch {
	case age >= 48:
		return 16
	case age >= 24:
		return 8
	case age >= 12:
		return 4
	case age >= 6:
		return 2
	}
	return 1
}

// knotHours are the knots of so many hours: every hour for 6 h, every 2 for half a day,
// every 4 for a day, every 8 for two days, then every 16. A change of the loss rate is a
// knot, and they are closer after it.
func knotHours(hours int, changes []change) []int {
	var out []int
	for h := 0; h < hours; {
		out = append(out, h)
		next := h + stride(h)
		for i := range changes {
			at := int(changes[i].Hours)
			if at > h {
				next = min(next, at)
			} else {
				next = min(next, h+stride(h-at+bentAs))
			}
		}
		h = next
	}
	if n := len(out); n > 0 && out[n-1] != hours-1 {
		out = append(out, hours-1)
	}
	return out
}

// tie makes the knots of the curve in hand with the misfit around it.
func (m *model) tie() *knots {
	k := &knots{hours: knotHours(len(m.curve), m.changes)}
	n, seen, hours := len(k.hours), m.seen(), len(m.curve)
	k.a, k.b = make([]float64, n*n), make([]float64, n)
	k.start, k.move = make([]float64, n), make([][states]float64, n)
	r0, tents, cols := make([]float64, seen), make([]float64, n*hours), make([]float64, n*seen)
	k.end = m.whiten(r0, func(_, h int, x *[states]float64) { k.look(m, h, x) })
	for j, at := range k.hours {
		k.start[j] = m.air[at]
		left, right := at, at
		if j > 0 {
			left = k.hours[j-1]
		}
		if j < n-1 {
			right = k.hours[j+1]
		}
		for h := left; h <= right; h++ {
			tents[j*hours+h] = hat(h, left, at, right)
		}
	}
	var each func(j, h int, x *[states]float64)
	if len(k.over) > 0 {
		each = func(j, h int, x *[states]float64) { k.lookBy(m, h, tents[j*hours+h], x) }
	}
	if n > 0 {
		m.whitenLines(k.move, tents, cols, 0, each)
	}
	for i := range n {
		ci := cols[i*seen : i*seen+seen]
		k.b[i] = floats.Dot(ci, r0)
		for j := range i + 1 {
			v := floats.Dot(ci, cols[j*seen:j*seen+seen])
			k.a[i*n+j], k.a[j*n+i] = v, v
		}
	}
	return k
}

// hat is 1 at the middle and falls to 0 at both sides.
func hat(h, left, at, right int) float64 {
	switch {
	case h == at:
		return 1
	case h > left && h < at:
		return float64(h-left) / float64(at-left)
	case h > at && h < right:
		return float64(right-h) / float64(right-at)
	}
	return 0
}

// logPosterior is that of parameters x, up to a constant; it fills diff, which is as
// long as there are knots, with the difference that they make at each.
func (m *model) logPosterior(k *knots, x, diff []float64) float64 {
	cost := 0.0
	for j, p := range m.prior {
		z := (x[j] - p.mean) / p.sd
		cost += z * z
	}
	either := 1.0 // sign of those for which it does not matter
	for _, j := range [...]int{inSorb, inRamp} {
		p := &m.prior[j]
		either *= 1 + math.Exp(-2*x[j]*p.mean/(p.sd*p.sd))
	}
	cost -= 2 * math.Log(either)
	m.from(k, x, diff)
	n := len(diff)
	for i, d := range diff {
		cost += d * (k.a[i*n+i]*d + 2*floats.Dot(k.a[i*n:i*n+i], diff[:i]) - 2*k.b[i]) // A is symmetric
	}
	return k.above(diff) - cost/2
}

// from fills diff for parameters x.
func (m *model) from(k *knots, x, diff []float64) {
	w := m.walk(x)
	for i, h := range k.hours {
		diff[i] = lnRatio(max(w.to(middle(h)).air, leastPPM), k.start[i])
	}
}

// states is the states' mean at the end for a difference at the knots.
func (k *knots) states(diff []float64) [states]float64 {
	out := k.end
	for i, d := range diff {
		for s, by := range k.move[i] {
			out[s] -= by * d
		}
	}
	return out
}
