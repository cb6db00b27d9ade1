package leak

import (
	"math"

	"undersheet/rules/decay"
)

// bank carries, for each candidate onset, the traces that a leak which began then
// leaves in the error of the filter, and the sums of the likelihood ratio: one for
// the stack, whose loss rate rose by 1 per hour, one for the stack that fell by 1 at
// once, and one for each shape of each line.
type bank struct {
	Lines  int     `json:"-"`
	From   float64 // hours: a fall of the stack that began before is the end of its release
	Young  float64 // hours: what the stack did for less counts for less
	Onset  []float64
	Level  []float64 // ln ppm of the stack at the onset
	Num    doubles   // by onset and trace: Σ trace·innovation/variance
	Den    doubles   // Σ trace²/variance
	Traces singles   // by onset, trace and state
	Wide   doubles   // by line: how much more it is scattered than the sizes say, of variance
}

// shapes of what gas lost beside a line does to the line, per loss of 1 per hour:
// it falls beside the others at that rate, which fades as gas from around makes up
// for it; or it goes on, where little comes.
var fade = [...]float64{1.5, math.Inf(1)} // hours

const (
	shapes = len(fade)
	onward = shapes - 1 // the shape that does not fade
)

// shares are how much faster the gas beside a torn line is lost than that of the
// stack, over the number of lines: a line stands for its part of the gas space.
var shares = [...]float64{0.4, 1, 2.5}

// What a rise must show.
const (
	riseSD  = 0.3 / 24 // per hour, of a rise before it is seen: one that is too large needs more to show for it
	gustAge = 4.0      // hours: of Young where the wind is felt, for gusts blow hard more often than a normal rate
)

// grid of onsets.
const (
	onsetStep = 0.5 // hours between young onsets
	youngest  = 0.6 // hours: before that noise alone decides
	oldest    = 36.0
	onsetDrop = 3.84 // of log likelihood: twice 1.92, for gusts have longer tails than the sums take them to have
	capacity  = 12
)

func newBank(lines int, from float64) bank {
	b := bank{Lines: lines, From: from, Young: gustAge, Wide: make(doubles, lines)}
	for i := range b.Wide {
		b.Wide[i] = 1
	}
	return b
}

func (b *bank) clear() { *b = bank{Lines: b.Lines, From: b.From, Young: b.Young, Wide: b.Wide} }

// places of the sums of the stack among those of an onset.
const (
	aRise = iota
	aStep
	stackSums = iota
)

// sums is the number of traces of one onset.
func (b *bank) sums() int { return stackSums + shapes*b.Lines }

// width is the number of states of the traces of one onset.
func (b *bank) width() int { return stackSums*stackStates + shapes*lineStates*b.Lines }

// sum is the place of the sums of a shape of line i among those of its onset.
func sum(i, shape int) int { return stackSums + i*shapes + shape }

func (b *bank) fits(lines int) bool {
	n := len(b.Onset)
	in := bank{Lines: lines}
	return n <= capacity && b.Young > 0 && len(b.Wide) == lines && len(b.Level) == n && len(b.Num) == n*in.sums() && len(b.Den) == len(b.Num) && len(b.Traces) == n*in.width()
}

// stack is a trace of the stack for the k-th onset: aRise or aStep.
func (b *bank) stack(k, trace int) []float32 {
	at := k*b.width() + trace*stackStates
	return b.Traces[at : at+stackStates]
}

// line is the trace of a shape of line i for the k-th onset.
func (b *bank) line(k, i, shape int) []float32 {
	at := k*b.width() + stackSums*stackStates + (i*shapes+shape)*lineStates
	return b.Traces[at : at+lineStates]
}

// predict carries the traces over a step of dt hours that ends at hours.
func (b *bank) predict(ms *moves, hours, dt float64) {
	for k, onset := range b.Onset {
		carry(b.stack(k, aRise), ms.stack[:], dt)
		carry(b.stack(k, aStep), ms.stack[:], 0)
		for shape, tau := range fade {
			force := dt * math.Exp(-max(hours-dt/2-onset, 0)/tau)
			for i := range b.Lines {
				carry(b.line(k, i, shape), ms.line[:], force)
			}
		}
	}
}

func carry(t []float32, ms []move, force float64) {
	for i := range ms {
		m := &ms[i]
		t[0] += float32(m.gain) * t[m.rate]
		t[m.rate] *= float32(m.keep)
	}
	t[0] -= float32(force)
}

// updateStack takes an innovation of the stack's level with its variance and the
// gain of its track.
func (b *bank) updateStack(innovation, total float64, gain []float64) {
	n := b.sums()
	for k := range b.Onset {
		for trace := range stackSums {
			b.learn(k*n+trace, b.stack(k, trace), innovation, total, gain)
		}
	}
}

// updateLine takes one of how far line i lies from the stack.
func (b *bank) updateLine(i int, innovation, total float64, gain []float64) {
	n := b.sums()
	for k := range b.Onset {
		for shape := range shapes {
			b.learn(k*n+sum(i, shape), b.line(k, i, shape), innovation, total, gain)
		}
	}
}

func (b *bank) learn(at int, t []float32, innovation, total float64, gain []float64) {
	f := t[0]
	for j := range t {
		t[j] -= float32(gain[j]) * f
	}
	b.Num[at] += float64(f) * innovation / total
	b.Den[at] += float64(f) * float64(f) / total
}

// place follows filter.place: what was seen of line i no longer counts.
func (b *bank) place(i int) {
	for k := range b.Onset {
		for shape := range shapes {
			clear(b.line(k, i, shape))
			at := k*b.sums() + sum(i, shape)
			b.Num[at], b.Den[at] = 0, 0
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
	b.Num, b.Den = append(b.Num, make(doubles, b.sums())...), append(b.Den, make(doubles, b.sums())...)
	b.Traces = append(b.Traces, make(singles, b.width())...)
	b.stack(len(b.Onset)-1, aStep)[0] = -1
}

// room is the number of onsets: fewer where there are many lines.
func (b *bank) room() int {
	if b.Lines > 8 {
		return capacity / 2
	}
	return capacity
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
	n, w := b.sums(), b.width()
	b.Onset, b.Level = append(b.Onset[:k], b.Onset[k+1:]...), append(b.Level[:k], b.Level[k+1:]...)
	b.Num, b.Den = append(b.Num[:k*n], b.Num[k*n+n:]...), append(b.Den[:k*n], b.Den[k*n+n:]...)
	b.Traces = append(b.Traces[:k*w], b.Traces[(k+1)*w:]...)
}

// nearest is the onset that lies nearest to hours, of which there must be one.
func (b *bank) nearest(hours float64) int {
	at := 0
	for k, onset := range b.Onset {
		if math.Abs(onset-hours) < math.Abs(b.Onset[at]-hours) {
			at = k
		}
	}
	return at
}

// found is a change of rate that explains the readings best.
type found struct {
	line, onset int         // line -1: all alike
	shape       int         // of what the line does beside the stack
	share       float64     // how much faster its gas is lost than the stack's; 0 = the stack alone
	z           float64     // √ of twice the log likelihood ratio, with the sign of the rate
	rate, sd    float64     // rise of the stack's loss rate per hour: negative for a fall
	whole       *decay.Rise // what the fit says of the whole record, where that said so, not the filter
}

// best is the most likely onset of a rise (sign 1) or fall (-1) of the loss rate
// of all lines (-1) or beside one by now, hours; z is 0 when there is none.
func (b *bank) best(line int, sign, now float64) found {
	out := found{line: line, onset: -1}
	for k, onset := range b.Onset {
		if now-onset < youngest {
			break
		}
		f := b.at(k, line, sign, now)
		if z := sign * f.z; z > out.z && sign*f.rate*24 >= leastLeakDay {
			out = f
			out.z = z
		}
	}
	return out
}

// at is what the k-th onset says of a place by now, hours.
func (b *bank) at(k, line int, sign, now float64) found {
	n, weight := k*b.sums(), 1.0
	if sign > 0 {
		weight = min((now-b.Onset[k])/b.Young, 1)
		if b.Onset[k] < b.From {
			weight = 0
		}
	}
	num, den := weight*b.Num[n], weight*b.Den[n]
	if line < 0 {
		z, rate, sd := expected(num, den)
		return found{line: -1, onset: k, z: z, rate: rate, sd: sd}
	}
	out := found{line: line, onset: k}
	for shape := range shapes {
		at := n + sum(line, shape)
		for _, share := range shares {
			share *= float64(b.Lines)
			z, rate, sd := expected(num+share*b.Num[at]/b.Wide[line], den+share*share*b.Den[at]/b.Wide[line])
			if sign*z > sign*out.z {
				out = found{line: line, onset: k, shape: shape, share: share, z: z, rate: rate, sd: sd}
			}
		}
	}
	return out
}

// common is what the k-th onset says of a change of the stack whatever its size, with
// nothing held back: of its rate per hour, or of a step of its level, in ln C.
func (b *bank) common(k, trace int) (z, size, sd float64) {
	at := k*b.sums() + trace
	return ratio(b.Num[at], b.Den[at])
}

// alone is what the k-th onset says of line i when the stack goes on as before;
// rate is that of the line.
func (b *bank) alone(k, i, shape int) found {
	at := k*b.sums() + sum(i, shape)
	z, rate, sd := ratio(b.Num[at]/b.Wide[i], b.Den[at]/b.Wide[i])
	return found{line: i, onset: k, shape: shape, z: z, rate: rate, sd: sd}
}

// ratio is the likelihood ratio of a rise of any size, from its sums.
func ratio(num, den float64) (z, rate, sd float64) {
	if !(den > 1e-12) {
		return 0, 0, 0
	}
	root := math.Sqrt(den)
	return num / root, num / den, 1 / root
}

// expected is the likelihood ratio where a rise is normal with riseSD.
func expected(num, den float64) (z, rate, sd float64) {
	z, rate, sd = ratio(num, den)
	return z * math.Sqrt(den/(den+1/(riseSD*riseSD))), rate, sd
}

// since is when a change that was found began, and the 95 % interval of that: onsets whose
// log likelihood ratio is within onsetDrop of the best, and half way to the next ones. What
// was held against young onsets and large rises, so that no gust is called a leak, is left
// out: a leak it is.
func (b *bank) since(f found, now float64) (onset, low, high float64) {
	squares := make([]float64, len(b.Onset))
	for k := range b.Onset {
		if z := b.plain(k, f); z > 0 {
			squares[k] = z * z
		}
	}
	best := f.onset
	for k, onset := range b.Onset {
		if now-onset >= youngest && squares[k] > squares[best] {
			best = k
		}
	}
	first, last := best, best
	for k := range b.Onset {
		if squares[k] >= squares[best]-2*onsetDrop {
			first, last = min(first, k), max(last, k)
		}
	}
	low, high = b.Onset[first], b.Onset[last]
	if first > 0 {
		low = (low + b.Onset[first-1]) / 2
	}
	if last+1 < len(b.Onset) {
		return b.Onset[best], low, (high + b.Onset[last+1]) / 2
	}
	return b.Onset[best], low, min(high+onsetStep/2, now)
}

// plain is the z of a change at the k-th onset with the shape and share of one that was
// found, of any size.
func (b *bank) plain(k int, f found) float64 {
	n := k * b.sums()
	num, den := b.Num[n], b.Den[n]
	if b.Onset[k] < b.From {
		num, den = 0, 0
	}
	if f.line >= 0 {
		at := n + sum(f.line, f.shape)
		num, den = num+f.share*b.Num[at]/b.Wide[f.line], den+f.share*f.share*b.Den[at]/b.Wide[f.line]
	}
	z, _, _ := ratio(num, den)
	return z
}
