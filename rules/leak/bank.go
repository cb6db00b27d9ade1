package leak

import "math"

// bank carries, for each candidate onset and each place (0 the stack, i+1 line i),
// the trace that a loss rate risen by 1 per hour leaves in the filter's error, and
// the sums of the likelihood ratio.
type bank struct {
	Lines  int `json:"-"`
	Onset  []float64
	Level  []float64 // ln ppm of the stack at the onset
	Num    doubles   // by onset and place: Σ trace·innovation/variance
	Den    doubles   // Σ trace²/variance
	Traces singles   // by onset, place and state
}

// grid of onsets.
const (
	onsetStep = 0.5 // hours between young onsets
	youngest  = 0.6 // hours: before that noise alone decides
	oldest    = 36.0
	capacity  = 12
)

func newBank(lines int) bank { return bank{Lines: lines} }

func (b *bank) clear() { *b = newBank(b.Lines) }

func (b *bank) places() int { return b.Lines + 1 }

func (b *bank) fits(lines int) bool {
	n := len(b.Onset)
	return n <= capacity && len(b.Level) == n && len(b.Num) == n*(lines+1) && len(b.Den) == n*(lines+1) && len(b.Traces) == n*(lines+1)*dim(lines)
}

// room is the number of onsets: fewer where there are many lines.
func (b *bank) room() int {
	if b.Lines > 8 {
		return capacity / 2
	}
	return capacity
}

// trace is that of a place for the k-th onset.
func (b *bank) trace(k, place int) []float32 {
	d := dim(b.Lines)
	at := (k*b.places() + place) * d
	return b.Traces[at : at+d]
}

// predict carries the traces over a step of dt hours.
func (b *bank) predict(ms []move, dt float64) {
	for k := range b.Onset {
		for p := range b.places() {
			t := b.trace(k, p)
			for _, m := range ms {
				t[m.level] += float32(m.gain) * t[m.rate]
				t[m.rate] *= float32(m.keep)
			}
			forced := atLevel
			if p > 0 {
				forced = lineLevel(p - 1)
			}
			t[forced] -= float32(dt)
		}
	}
}

// update takes an innovation of line i with its variance and the filter's gain.
func (b *bank) update(i int, innovation, total float64, gain []float64) {
	v := lineLevel(i)
	for k := range b.Onset {
		for p := range b.places() {
			t := b.trace(k, p)
			f := t[atLevel] + t[v]
			if f == 0 {
				continue
			}
			for j := range t {
				t[j] -= float32(gain[j]) * f
			}
			at := k*b.places() + p
			b.Num[at] += float64(f) * innovation / total
			b.Den[at] += float64(f) * float64(f) / total
		}
	}
}

// place follows filter.place: the level of line i was taken from a reading, so it
// carries the error of the stack's level with the other sign.
func (b *bank) place(i int) {
	for k := range b.Onset {
		for p := range b.places() {
			t := b.trace(k, p)
			t[lineLevel(i)] = -t[atLevel]
		}
	}
}

// open adds a candidate onset at hours when the newest is old enough, and lets go
// of those that are too old or too close to their neighbours for their age.
func (b *bank) open(hours, level float64) {
	n := len(b.Onset)
	if n > 0 && hours-b.Onset[n-1] < onsetStep-1e-9 {
		return
	}
	if n > 0 && hours-b.Onset[0] > oldest {
		b.drop(0)
	}
	if len(b.Onset) >= b.room() {
		b.drop(b.dense(hours))
	}
	b.Onset, b.Level = append(b.Onset, hours), append(b.Level, level)
	b.Num, b.Den = append(b.Num, make(doubles, b.places())...), append(b.Den, make(doubles, b.places())...)
	b.Traces = append(b.Traces, make(singles, b.places()*dim(b.Lines))...)
}

// dense is the inner onset whose neighbours are closest for its age.
func (b *bank) dense(hours float64) int {
	at, least := 1, math.Inf(1)
	for i := 1; i < len(b.Onset)-1; i++ {
		if gap := (b.Onset[i+1] - b.Onset[i-1]) / (hours - b.Onset[i]); gap < least {
			at, least = i, gap
		}
	}
	return at
}

func (b *bank) drop(k int) {
	p, d := b.places(), dim(b.Lines)
	b.Onset, b.Level = append(b.Onset[:k], b.Onset[k+1:]...), append(b.Level[:k], b.Level[k+1:]...)
	b.Num, b.Den = append(b.Num[:k*p], b.Num[k*p+p:]...), append(b.Den[:k*p], b.Den[k*p+p:]...)
	b.Traces = append(b.Traces[:k*p*d], b.Traces[(k+1)*p*d:]...)
}

// found is a change of rate that explains the readings best.
type found struct {
	place, onset int
	z            float64 // √ of twice the log likelihood ratio
	rate, sd     float64 // rise of the loss rate per hour: negative for a fall
}

// best is the most likely onset of a rise (sign 1) or fall (-1) of the loss rate
// at a place by now, hours; z is 0 when there is none.
func (b *bank) best(place int, sign, now float64) found {
	out := found{place: place, onset: -1}
	for k, onset := range b.Onset {
		if now-onset < youngest {
			break
		}
		f := b.at(k, place)
		if z := sign * f.z; z > out.z && sign*f.rate*24 >= leastLeakDay {
			f.z = z
			out = f
		}
	}
	return out
}

// at is what the k-th onset says of a place; z carries the sign of the rate.
func (b *bank) at(k, place int) found {
	num, den := b.Num[k*b.places()+place], b.Den[k*b.places()+place]
	if !(den > 1e-12) {
		return found{place: place, onset: k}
	}
	root := math.Sqrt(den)
	return found{place: place, onset: k, z: num / root, rate: num / den, sd: 1 / root}
}

// interval is the 95 % interval of the onset: those whose log likelihood ratio is
// within 1.92 of the best, and half way to the next ones.
func (b *bank) interval(f found, sign, now float64) (low, high float64) {
	limit := math.Sqrt(max(f.z*f.z-3.84, 0))
	first, last := f.onset, f.onset
	for k := range b.Onset {
		if sign*b.at(k, f.place).z >= limit {
			first, last = min(first, k), max(last, k)
		}
	}
	low, high = b.Onset[first], b.Onset[last]
	if first > 0 {
		low = (low + b.Onset[first-1]) / 2
	}
	if last+1 < len(b.Onset) {
		return low, (high + b.Onset[last+1]) / 2
	}
	return low, min(high+onsetStep/2, now)
}
