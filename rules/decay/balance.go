package decay

import "math"

// balance is the mass balance of the gas under a sheet, with rates per day:
//
//	dS/dt = −r·S                       solid: phosphine not yet released
//	dC/dt = r·S − (k + s)·C + f·Q      air: the gas space
//	dQ/dt = s·C − f·Q                  held: on the commodity for a time
//
// all in ppm of the gas space. k takes leakage, permanent sorption and what the
// pump takes.
type balance struct {
	release, loss, sorb, free float64
	ramp                      float64 // per day, above release
}

// gas is where the phosphine is, in ppm of the gas space.
type gas struct{ solid, ramp, air, held float64 }

// transit carries gas over a fixed time: the exponential of the balance's matrix.
type transit struct {
	aa, ah, ha, hh float64
	even, ramp     source
}

// source is what a unit of solid has become: solid still, air, held.
type source struct{ solid, air, held float64 }

// over returns the transit over days ≥ 0. The 2×2 block of C and Q is
// e^(−μt)·(cosh ρt·I + sinh ρt/ρ·(M + μI)); the release drives it with
// r·(e^(Mt) − e^(−rt)·I)·(M + rI)⁻¹·(1, 0)ᵀ. Where r is an eigenvalue of M it is
// moved by 1e-4 of itself.
func (b balance) over(days float64) transit {
	k, s, f := b.loss, b.sorb, b.free
	mu, half := (k+s+f)/2, (f-k-s)/2
	rho := math.Sqrt(half*half + f*s)
	slow, fast := math.Exp(-(mu-rho)*days), math.Exp(-(mu+rho)*days)
	cosh, sinh := (slow+fast)/2, days*slow
	if rho*days > 1e-8 {
		sinh = (slow - fast) / 2 / rho
	}
	t := transit{aa: cosh + sinh*half, ah: sinh * f, ha: sinh * s, hh: cosh - sinh*half}
	t.even, t.ramp = b.emits(b.release, days, &t), b.emits(b.ramp, days, &t)
	return t
}

// emits is what a unit that is released at r per day becomes in days.
func (b balance) emits(r, days float64, t *transit) source {
	k, s, f := b.loss, b.sorb, b.free
	det := (r-k-s)*(r-f) - f*s
	if math.Abs(det) < 1e-4*r*r {
		r *= 1 + 1e-4
		det = (r-k-s)*(r-f) - f*s
		if math.Abs(det) < 1e-9*r*r {
			det = 1e-9 * r * r
		}
	}
	left := math.Exp(-r * days)
	u, v := r*(r-f)/det, -r*s/det // r·(M + rI)⁻¹·(1, 0)ᵀ
	return source{left, (t.aa-left)*u + t.ah*v, t.ha*u + (t.hh-left)*v}
}

// twice is the transit over twice the time.
func (t *transit) twice() transit {
	again := func(s source) source {
		return source{s.solid * s.solid, s.solid*s.air + t.aa*s.air + t.ah*s.held, s.solid*s.held + t.ha*s.air + t.hh*s.held}
	}
	return transit{aa: t.aa*t.aa + t.ah*t.ha, ah: t.ah * (t.aa + t.hh), ha: t.ha * (t.aa + t.hh), hh: t.hh*t.hh + t.ha*t.ah,
		even: again(t.even), ramp: again(t.ramp)}
}

func (t *transit) move(g *gas) {
	air := t.even.air*g.solid + t.ramp.air*g.ramp + t.aa*g.air + t.ah*g.held
	held := t.even.held*g.solid + t.ramp.held*g.ramp + t.ha*g.air + t.hh*g.held
	*g = gas{t.even.solid * g.solid, t.ramp.solid * g.ramp, air, held}
}

// charge is gas that begins to be released at a time in days.
type charge struct{ days, ppm float64 }

// turn is a loss rate, per day, from a time in days on.
type turn struct{ days, loss float64 }

// walker carries the gas of one set of parameters on through time.
type walker struct {
	balance
	charges [1 + maxDoses]charge // in order of time
	due     int                  // charges[due:count] are still to come
	count   int
	turns   [maxChanges + 1]turn // in order of time; one more until two are made one
	turned  int                  // turns[turned:turning] are still to come
	turning int
	gas
	at   float64 // days
	step float64 // days that the transit in hand is for
	hand transit
}

// charge adds gas that begins to be released at a time after all others.
func (w *walker) charge(days, ppm float64) {
	w.charges[w.count] = charge{days, ppm}
	w.count++
}

// turn changes the loss rate at a time after all others.
func (w *walker) turn(days, loss float64) {
	w.turns[w.turning] = turn{days, loss}
	w.turning++
}

// feed is the release into the gas space, ppm per day.
func (w *walker) feed() float64 { return w.release*w.solid + w.balance.ramp*w.gas.ramp }

// to carries the gas to days, which must not lie before where it is.
func (w *walker) to(days float64) gas {
	for w.due < w.count && w.charges[w.due].days <= days {
		next := w.charges[w.due]
		w.through(next.days)
		y, r, a := next.ppm, w.release, w.balance.ramp
		w.solid += y * a / (a - r)
		w.gas.ramp -= y * r / (a - r)
		w.due++
	}
	if w.turned < w.turning {
		w.through(days)
	} else {
		w.advance(days)
	}
	return w.gas
}

// through carries the gas to days over the turns of the loss rate until then.
func (w *walker) through(days float64) {
	for w.turned < w.turning && w.turns[w.turned].days <= days {
		next := w.turns[w.turned]
		w.advance(next.days)
		w.loss, w.step = next.loss, -1 // the transit in hand is that of the rate before
		w.turned++
	}
	w.advance(days)
}

func (w *walker) advance(days float64) {
	step := days - w.at
	if w.solid == 0 && w.air == 0 { // nothing there yet
		w.at = days
		return
	}
	if !(step > 0) {
		return
	}
	switch {
	case math.Abs(step-w.step) <= 1e-12:
	case math.Abs(step-2*w.step) <= 1e-12:
		w.step, w.hand = step, w.hand.twice()
	default:
		w.step, w.hand = step, w.over(step)
	}
	w.hand.move(&w.gas)
	w.at = days
}
