package decay

// knots are hours at which a curve is looked at instead of at every hour: what
// differs between two curves of one posterior is smooth, so that it may be
// interpolated. At the knots the log likelihood is a quadratic form of the
// difference d of ln C from the curve in hand:
//
//	Σ r² = Σ r₀² − 2·b·d + d·A·d,   the states' mean at the end = m₀ − M·d
type knots struct {
	hours []int
	start []float64 // ln C at the knots
	a     []float64 // A by rows
	b     []float64
	end   [states]float64
	move  []float64 // M by knot and state
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

// tie makes the knots of the curve in hand, m.curve, with the misfit around it.
func (m *model) tie() *knots {
	k := &knots{hours: knotHours(len(m.curve), m.changes)}
	n, seen := len(k.hours), m.seen()
	r0, cols := make([]float64, seen), make([]float64, n*seen)
	k.end = m.whiten(m.residual, r0, 1, func(h int, x *[states]float64) { k.look(m, h, x) })
	for j, at := range k.hours {
		k.start = append(k.start, m.curve[at])
		left, right := at, at
		if j > 0 {
			left = k.hours[j-1]
		}
		if j < n-1 {
			right = k.hours[j+1]
		}
		tent := func(h int) float64 { return hat(h, left, at, right) }
		next := 0
		end := m.whiten(tent, cols[j*seen:j*seen+seen], 0, func(h int, x *[states]float64) {
			if next < len(k.over) && k.over[next].hour == h {
				o := &k.over[next]
				o.by = append(o.by, tent(h)-m.hops[h].sees(x))
				next++
			}
		})
		k.move = append(k.move, end[:]...)
	}
	k.a, k.b = make([]float64, n*n), make([]float64, n)
	for i := range n {
		ci := cols[i*seen : i*seen+seen]
		for t, v := range ci {
			k.b[i] += v * r0[t]
		}
		for j := range i + 1 {
			sum := 0.0
			for t, v := range cols[j*seen : j*seen+seen] {
				sum += v * ci[t]
			}
			k.a[i*n+j], k.a[j*n+i] = sum, sum
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
	m.from(k, x, diff)
	n := len(diff)
	for i, d := range diff {
		sum := k.a[i*n+i]*d/2 - k.b[i]
		for j, v := range k.a[i*n : i*n+i] { // A is symmetric
			sum += v * diff[j]
		}
		cost += 2 * d * sum
	}
	return k.above(diff) - cost/2
}

// from fills diff for parameters x.
func (m *model) from(k *knots, x, diff []float64) {
	w := m.walk(x)
	for i, h := range k.hours {
		diff[i] = lnAbove(w.to(float64(h)*hourDays+hourDays/2).air) - k.start[i]
	}
}

// states is the states' mean at the end for a difference at the knots.
func (k *knots) states(diff []float64) [states]float64 {
	out := k.end
	for i, d := range diff {
		for s := range out {
			out[s] -= k.move[i*states+s] * d
		}
	}
	return out
}
