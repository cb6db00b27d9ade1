package decay

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/floats"
)

// Rise is what the readings say of a rise of the loss rate of the whole stack that nobody
// told of and that began at an hour and goes on, held against a stack that goes on as
// before: the rise that fits best, 1/day, and its standard deviation. What is not known
// of the curve, of gusts and of slower weather is in the standard deviation; the mean over
// it is the signed root of twice the log likelihood ratio (the score test, Rao 1948,
// Proc. Camb. Phil. Soc. 44:50, which at a linear change of normal readings is the ratio).
type Rise struct {
	Hours    float64 // since t = 0: when it began
	Mean, SD float64 // per day
}

// riseAges are the ages in hours of the rises that are looked at.
var riseAges = [...]int{1, 2, 3, 4, 5, 6, 7, 8, 10, 12, 14, 17, 20, 24, 29}

// Figures of rises.
const (
	earliestRise = 8   // hours after t = 0: the curve has hardly begun before
	mostNewest   = 2.5 // standard deviations that the newest hour counts with, until the next bears it out: one hour of noise called two leaks on 300 quiet hard stacks of the bench
	sizesBefore  = 6   // hours: the sizes of the misfit are those known so long ago, so that a leak is taken for no gust; of 0, 6, 12 and 24 it found most on 40 hard stacks at as many false leaks
)

// sized is the sizes of the misfit that a refit found, and its hour.
type sized struct {
	Hour int
	Size size
}

// Rises returns what the newest fit says of untold rises of the loss rate, the newest
// onset first, and the time of its newest reading, hours after t = 0; nothing before
// there is a fit.
func (s *State) Rises() (at float64, rises []Rise) {
	if s.Fit == nil {
		return 0, nil
	}
	return s.Fit.RisesAt, s.Fit.Rises
}

// sound reports whether rises that were read have a size.
func sound(rises []Rise) bool {
	return !slices.ContainsFunc(rises, func(r Rise) bool { return !(r.SD > 0) })
}

// keepSizes notes the sizes that a refit found beside those of the refits before, as far
// back as they are asked for.
func (f *fit) keepSizes(before *fit, hour int) {
	if before != nil {
		f.Sizes = before.Sizes
	}
	for len(f.Sizes) > 1 && f.Sizes[1].Hour <= hour-sizesBefore {
		f.Sizes = f.Sizes[1:]
	}
	f.Sizes = append(f.Sizes[:len(f.Sizes):len(f.Sizes)], sized{hour, f.Size})
}

// weighRises notes what all that was read says of rises. It leaves the model at other sizes.
func (f *fit) weighRises(m *model) {
	m.exact = slices.ContainsFunc(m.sights, overAll)
	f.Rises, f.RisesAt = m.rises(f.X, f.Sizes[0].Size), float64(len(m.sights))
}

// rises weighs untold rises at the mode x against none, with the sizes of the hours
// before. It leaves the model without a suspicion that is open.
func (m *model) rises(x []float64, before size) (out []Rise) {
	m.size, m.suspect.Open = before, -1
	m.place(x)
	m.pool(false)
	m.track(-1)
	n, p := m.seen(), len(x)
	if n == 0 {
		return nil
	}
	r, jac := make([]float64, n+p), make([]float64, (n+p)*p)
	m.residuals(x, r, jac)
	r[n-1] = min(max(r[n-1], -mostNewest), mostNewest)
	normal, left := make([]float64, p*p), make([]float64, p)
	normalEquations(r, jac, normal, left)
	root, ok := lower(normal, p)
	if !ok {
		return nil
	}
	divide(root, left, left)
	made := make([]float64, p) // of what the parameters could make up for
	for _, age := range riseAges {
		from := len(m.hops) - 1 - age
		if from < earliestRise {
			break
		}
		trace := m.traceFrom(from)
		first := n - len(trace)
		for j := range made {
			made[j] = floats.Dot(jac[j*(n+p)+first:j*(n+p)+n], trace)
		}
		divide(root, made, made)
		num, den := floats.Dot(trace, r[first:n])-floats.Dot(made, left), floats.Dot(trace, trace)-floats.Dot(made, made)
		if num, den = num/den, 1/math.Sqrt(den); finite(num) && finite(den) {
			out = append(out, Rise{Hours: float64(from) + 0.5, Mean: num, SD: den})
		}
	}
	return out
}

// traceFrom is what a rise of the loss rate by 1 per day from the middle of an hour on does
// to what was seen since, whitened.
func (m *model) traceFrom(hour int) (out []float64) {
	var x [states]float64
	fell := 0.0
	for h := hour + 1; h < len(m.hops); h++ {
		p := &m.hops[h]
		p.carry(&x)
		fell = fell*p.stay - p.drive/m.rate[h]
		if p.seen {
			out = append(out, p.learn(&x, fell))
		}
	}
	return out
}
