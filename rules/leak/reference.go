package leak

import "math"

// reference is what was expected of each hour when it was still ahead.
type reference struct {
	First  int     // hour of Hours[0]
	Hours  []ahead // no more than leadHours + 1
	Frozen float64 // until this hour nothing new is taken in
}

// ahead is what is expected of one hour.
type ahead struct {
	Slope doubles // change of ln C per hour, by line
	SD    float64 // of the slope, per hour
	Loss  float64 // loss rate per hour: the fall of ln C when all is released
}

const (
	leadHours = 24 // predictions are this old when they are used
	spanHours = 12.0
	afterHeal = 24  // hours after a leak has cleared until the fit is believed again
	farHours  = 240 // by then the release is over: the fall is the loss
	vagueSD   = 0.1 // per hour: where nothing was predicted
	usualLoss = 0.2 / 24
	forEver   = 1e6
)

func (r *reference) fits(lines int) bool {
	for _, a := range r.Hours {
		if len(a.Slope) != lines {
			return false
		}
	}
	return len(r.Hours) <= leadHours+1
}

// foresee lets the fit predict the hours up to leadHours ahead that were not
// predicted yet.
func (r *reference) foresee(hours float64, lines int, e Expecter) {
	hour := int(math.Floor(hours))
	if e == nil || hours < r.Frozen {
		return
	}
	if n := hour - r.First; len(r.Hours) > 0 && n > 0 {
		r.Hours = r.Hours[:copy(r.Hours, r.Hours[min(n, len(r.Hours)):])]
		r.First = hour
	}
	for len(r.Hours) <= leadHours {
		if len(r.Hours) == 0 {
			r.First = hour
		}
		a, ok := predict(hours, float64(r.First+len(r.Hours)), lines, e)
		if !ok {
			return
		}
		r.Hours = append(r.Hours, a)
	}
}

// predict asks the fit at hours for the hour that begins at from.
func predict(hours, from float64, lines int, e Expecter) (ahead, bool) {
	a, n := ahead{Slope: make(doubles, lines)}, float64(lines)
	for i := range lines {
		slope, _ := e.ExpectedLnChange(i, from, from+1)
		sd := slopeSD(i, hours, from+0.5, e)
		far, _ := e.ExpectedLnChange(i, farHours+from, farHours+from+24)
		if !finite(slope) || !(sd >= 0 && sd < 10) {
			return ahead{}, false
		}
		if !finite(far) || far == 0 {
			far = 24 * slope
		}
		a.Slope[i] = min(max(slope, -5), 5)
		a.SD += sd / n
		a.Loss += max(-far/24, 0) / n
	}
	return a, true
}

// slopeSD is the standard deviation, per hour, of the slope that the fit gives
// around mid. The variance of a change has a part that grows with the square of
// the time, the error of the slope, and one that does not, the swings to and fro
// that the fit allows for; the difference between a half day and a whole day tells
// the first.
func slopeSD(line int, hours, mid float64, e Expecter) float64 {
	var v [2]float64
	for i, span := range []float64{spanHours, 2 * spanHours} {
		from := max(mid-span/2, hours)
		_, sd := e.ExpectedLnChange(line, from, from+span)
		v[i] = sd * sd
	}
	return math.Sqrt(max(v[1]-v[0], 0) / (3 * spanHours * spanHours))
}

// known reports whether an hour was predicted, or a slope from before a leak
// stands for it.
func (r *reference) known(hours float64) bool {
	n := len(r.Hours)
	return n > 0 && (int(math.Floor(hours)) < r.First+n || hours < r.Frozen)
}

// at is what is expected of the hour in which hours lies. Without a prediction it
// is nothing, very vaguely.
func (r *reference) at(hours float64) ahead {
	if !r.known(hours) {
		return ahead{SD: vagueSD, Loss: usualLoss}
	}
	i := int(math.Floor(hours)) - r.First
	return r.Hours[min(max(i, 0), len(r.Hours)-1)]
}

// change is the expected change of ln C of a line over a short time.
func (r *reference) change(line int, from, to float64) float64 {
	sum := 0.0
	for from < to {
		next := min(math.Floor(from)+1, to)
		if a := r.at(from); len(a.Slope) > 0 {
			sum += a.Slope[line] * (next - from)
		}
		from = next
	}
	return sum
}

// freeze throws away what was predicted after the onset of a leak; the last slope
// from before it goes on.
func (r *reference) freeze(onset float64) {
	keep := int(math.Floor(onset)) + leadHours - r.First
	if n := len(r.Hours); n > 0 {
		r.Hours = r.Hours[:min(max(keep, 1), n)]
	}
	r.Frozen = forEver
}

// thaw lets the fit be believed again some time after hours, when it has had time
// to forget the leak.
func (r *reference) thaw(hours float64) { r.Frozen = hours + afterHeal }

// sizes of the rates at hours, age hours after dosing. The shares of the loss rate
// are from memory of sheeted stacks; how fast lines mix, too.
func (r *reference) sizes(hours, age float64) sizes {
	a := r.at(hours)
	return sizes{
		gust:  0.25*a.Loss + 0.0002,
		slope: min(max(1.1*a.SD, 0.1*a.Loss+0.0004), vagueSD),
		mix:   0.04*a.Loss + 0.0002 + 0.05*math.Exp(-max(age, 0)/7),
		// Release, lag and loss err in turn, each on the time scale of the curve then.
		slopeHours: min(max(age/2, 6), slopeHours),
	}
}
