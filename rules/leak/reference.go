package leak

import "math"

// reference holds, for each hour, what was expected of it before it came.
type reference struct {
	First  int     // the hour that the lists begin with
	Slope  singles // change of ln C per hour, by hour and line
	SD     singles // of the slope, per hour; no more than leadHours + 1
	Loss   singles // loss rate per hour
	Windy  singles // loss rate per hour by which weather is sized: root mean square, so higher where the loss is not well known
	Gust   singles // standard deviation of gusts per hour, as the fit found it
	Frozen float64 // until this hour nothing new is taken in
}

// ahead is what is expected of one hour.
type ahead struct {
	Slope singles // change of ln C per hour, by line; nil = nothing was predicted
	SD    float64 // of the slope, per hour
	Loss  float64 // loss rate per hour
	Windy float64 // and the root of its mean square, as far as it is known
	Gust  float64 // standard deviation of gusts per hour; 0 = not known
}

const (
	leadHours  = 24 // predictions are this old when they are used
	youngLead  = 12 // less than leadHours: the loss rate and gusts that were thought later, to size weather by
	spanHours  = 12.0
	afterHeal  = 24   // hours after a leak has cleared until the fit is believed again
	mostLossSD = 1.0  // of ln of the loss rate
	vagueSD    = 0.1  // per hour: where nothing was predicted
	mixedHours = 10.0 // e-folding time of how unevenly lines follow after dosing
	usualLoss  = 0.2 / 24
	forEver    = 1e6
)

func (r *reference) fits(lines int) bool {
	n := r.hours()
	return n <= leadHours+1 && len(r.Loss) == n && len(r.Windy) == n && len(r.Gust) == n && len(r.Slope) == n*lines
}

// hours is how many were predicted.
func (r *reference) hours() int { return len(r.SD) }

// forget drops the first n hours, or all.
func (r *reference) forget(n int) {
	if n = min(n, r.hours()); n <= 0 {
		return
	}
	lines := len(r.Slope) / r.hours()
	r.Slope = r.Slope[:copy(r.Slope, r.Slope[n*lines:])]
	r.SD = r.SD[:copy(r.SD, r.SD[n:])]
	r.Loss = r.Loss[:copy(r.Loss, r.Loss[n:])]
	r.Windy = r.Windy[:copy(r.Windy, r.Windy[n:])]
	r.Gust = r.Gust[:copy(r.Gust, r.Gust[n:])]
	r.First += n
}

// foresee has the fit predict those hours up to leadHours ahead that were not predicted yet.
// Unless hold is set, all of them are predicted anew each hour, since a fit of the first hours
// says little of the days that follow.
func (r *reference) foresee(hours float64, lines int, e Expecter, hold bool) {
	hour := int(math.Floor(hours))
	if e == nil || hours < r.Frozen {
		return
	}
	if !hold && hour != r.First {
		r.forget(r.hours())
	}
	r.forget(hour - r.First)
	if r.hours() == 0 {
		r.First = hour
	}
	for r.hours() <= leadHours {
		a, ok := predict(hours, float64(r.First+r.hours()), lines, e)
		if !ok {
			return
		}
		r.Slope, r.SD = append(r.Slope, a.Slope...), append(r.SD, float32(a.SD))
		r.Loss, r.Windy, r.Gust = append(r.Loss, float32(a.Loss)), append(r.Windy, float32(a.Windy)), append(r.Gust, float32(a.Gust))
	}
}

// predict asks the fit at hours for the hour that begins at from.
func predict(hours, from float64, lines int, e Expecter) (ahead, bool) {
	a, n := ahead{Slope: make(singles, lines)}, float64(lines)
	for i := range lines {
		slope := e.MeanLnChange(i, from, from+1)
		sd := slopeSD(i, hours, from+0.5, e)
		if !finite(slope) || !(sd >= 0 && sd < 10) {
			return ahead{}, false
		}
		a.Slope[i] = float32(min(max(slope, -5), 5))
		a.SD += sd / n
	}
	loss, sdLn := e.LossPerDay()
	if !(loss > 0) || !finite(loss) {
		loss, sdLn = -24*a.mean(), 0
	}
	a.Loss = min(max(loss/24, 0), 5)
	sdLn = min(max(sdLn, 0), mostLossSD)
	a.Windy = min(a.Loss*math.Exp(sdLn*sdLn), 5)
	if g := e.GustPerDay() / 24; g > 0 && finite(g) {
		a.Gust = min(g, 5)
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
	n := r.hours()
	return n > 0 && (int(math.Floor(hours)) < r.First+n || hours < r.Frozen)
}

// at is what is expected of the hour in which hours lies. Without a prediction it
// is nothing, very vaguely.
func (r *reference) at(hours float64) ahead {
	if !r.known(hours) {
		return ahead{SD: vagueSD, Loss: usualLoss, Windy: usualLoss}
	}
	i := min(max(int(math.Floor(hours))-r.First, 0), r.hours()-1)
	lines := len(r.Slope) / r.hours()
	return ahead{r.Slope[i*lines : i*lines+lines], float64(r.SD[i]), float64(r.Loss[i]), float64(r.Windy[i]), float64(r.Gust[i])}
}

// change is the expected change of ln C of a line over a short time.
func (r *reference) change(line int, from, to float64) float64 {
	sum := 0.0
	for from < to {
		next := min(math.Floor(from)+1, to)
		if a := r.at(from); len(a.Slope) > 0 {
			sum += float64(a.Slope[line]) * (next - from)
		}
		from = next
	}
	return sum
}

// doubt throws away what was predicted since an onset, because readings since then that did not
// show the gas have misled the fit. The fit is asked again once it has taken them back.
func (r *reference) doubt(onset, hours float64) {
	if hours < r.Frozen {
		return // held already
	}
	r.freeze(onset)
	r.Frozen = math.Floor(hours) + 2 // the fit is made anew at the next whole hour
}

// freeze throws away what was predicted after the onset of a leak; the last slope
// from before it goes on.
func (r *reference) freeze(onset float64) {
	keep := int(math.Floor(onset)) + leadHours - r.First
	if n := r.hours(); n > 0 {
		lines := len(r.Slope) / n
		n = min(max(keep, 1), n)
		r.Slope, r.SD, r.Loss, r.Windy, r.Gust = r.Slope[:n*lines], r.SD[:n], r.Loss[:n], r.Windy[:n], r.Gust[:n]
	}
	r.Frozen = forEver
}

// thaw lets the fit be believed again some time after hours, when it has had time
// to forget the leak.
func (r *reference) thaw(hours float64) { r.Frozen = hours + afterHeal }

// Sizes of the rates, as shares of the loss rate and per hour: from memory of sheeted
// stacks, those of gusts and mixing so that innovations of plain hard stacks of the
// bench are white from 3 to 24 hours.
const (
	gustShare  = 0.2
	gustFound  = 0.4 // what the fit found of gusts counts for, beside that
	dayShare   = 0.1
	slopeShare = 0.1 // at the least
	mixShare   = 0.007
	leastGust  = 0.0002
	leastSlope = 0.0004
	leastMix   = 0.00005
	youngMix   = 0.015 // fades with mixedHours
)

// sizes of the rates at hours, age hours after dosing, where gusts are so much stronger
// than the fit found.
func (r *reference) sizes(hours, age, wind float64) sizes {
	a, feels := r.at(hours), r.exposed(hours, wind)
	loss := max(a.Windy, r.at(hours+youngLead).Windy, -a.mean())
	return sizes{
		gust:  wind * r.gusts(hours, loss),
		slope: min(max(a.SD, feels*(slopeShare*loss+leastSlope)), vagueSD),
		day:   dayShare * loss,
		mix:   mixShare*loss + leastMix + youngMix*math.Exp(-max(age, 0)/mixedHours),
		// Release, lag and loss err in turn, each on the time scale of the curve then. Where
		// no weather is among it the curve is smooth.
		slopeHours: min(max(age/2, 6), slopeHours) / feels,
		young:      gustAge * feels,
	}
}

// mean is the slope that is expected of the stack, per hour; 0 where none is.
func (a *ahead) mean() float64 {
	if len(a.Slope) == 0 {
		return 0
	}
	sum := 0.0
	for _, x := range a.Slope {
		sum += float64(x)
	}
	return sum / float64(len(a.Slope))
}
