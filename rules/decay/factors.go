package decay

import "math"

// What a line has shown for good is partly gas and partly its instrument's gain:
//
//	A = m + F + G
//
// F, the gas, differs between lines as far as the loss rate does over the hours that
// mixing takes; its size is not known and is fitted to each stack (a random-effects
// model: Gelman et al. 2013, Bayesian Data Analysis, 3rd ed., 5.4). G is as large as
// the instrument's accuracy lets it be. m, how far the gas of the whole stack lies from
// what its instruments show together, no reading tells. A line's swing is split between
// gas and instrument as its fixed part is.
const (
	factorLnSD   = 1.2 // of the size of F over what mixing and loss rate make of it
	factorsTried = 16  // sizes of F
	factorStep   = 0.4 // between them, of factorLnSD
	lowestFactor = -6  // steps: the first of them

	linePrecision = 1 / (lineFactorSD * lineFactorSD)
)

// factor is one size of F, with its share of the posterior and what follows from it
// for the gas at a line.
type factor struct {
	share float64
	level float64 // of m: mean
	sd    float64 // and its standard deviation
	lines []lineGas
}

// lineGas is ln C of a line over that of the stack: follow·m + mean ± sd.
type lineGas struct{ follow, mean, sd float64 }

// factors weighs the sizes of F by what the lines have shown.
func (f *fit) factors(lines []Line, devs []deviation, feed, loss float64) []factor {
	out, most := make([]factor, factorsTried), math.Inf(-1)
	for i := range out {
		z := (lowestFactor + float64(i)) * factorStep
		size := unevenDays * loss * math.Exp(z*factorLnSD)
		out[i].share = out[i].weigh(size, lines, devs, feed, f.Size.Swing) - z*z/2
		most = max(most, out[i].share)
	}
	sum := 0.0
	for i := range out {
		out[i].share = math.Exp(out[i].share - most)
		sum += out[i].share
	}
	for i := range out {
		out[i].share /= sum
	}
	return out
}

// weigh fills f for one size and returns the log likelihood of it.
func (f *factor) weigh(size float64, lines []Line, devs []deviation, feed, swing float64) float64 {
	ll, sum := 0.0, 0.0
	for l := range devs {
		mean, v := devs[l].alone()
		gain := lines[l].gainSD()
		w := 1 / (size*size + gain*gain + v)
		ll += math.Log(w)
		sum += w
		f.level += w * mean
	}
	f.level, f.sd = f.level/sum, 1/math.Sqrt(sum)
	ll -= math.Log(sum)
	for l := range devs {
		d := devs[l]
		mean, v := d.alone()
		gain := lines[l].gainSD()
		whole := size*size + gain*gain
		ll -= (mean - f.level) * (mean - f.level) / (whole + v)
		by := d.suppose(whole)
		kept := size * size / whole
		see := [3]float64{kept, feed, kept}
		g := lineGas{follow: 1 - kept, sd: kept*gain*gain + kept*(1-kept)*swing*swing}
		for i, a := range see {
			g.mean += a * d.Mean[i]
			g.follow += a * by[i]
			for j, b := range see {
				g.sd += a * b * d.Cov[max(i, j)*(max(i, j)+1)/2+min(i, j)]
			}
		}
		g.sd = math.Sqrt(max(g.sd, 0))
		f.lines = append(f.lines, g)
	}
	return ll / 2
}

// alone is what readings say of the fixed part, without its prior; of a line without
// any, no more than that prior.
func (d *deviation) alone() (mean, v float64) {
	v = 1 / max(1/d.Cov[0]-linePrecision, linePrecision)
	return d.Mean[0] * v / d.Cov[0], v
}

// suppose takes the fixed part to lie around m with another variance beforehand: it
// leaves what follows for m = 0 and returns what every part moves by for a unit of m.
func (d *deviation) suppose(v float64) (by [3]float64) {
	more := 1/v - linePrecision
	with, mean := [3]float64{d.Cov[0], d.Cov[1], d.Cov[3]}, d.Mean[0]
	for i, w := range with {
		gain := w / (1 + more*with[0])
		by[i] = gain / v
		d.Mean[i] -= gain * more * mean
		for j := range i + 1 {
			d.Cov[i*(i+1)/2+j] -= gain * more * with[j]
		}
	}
	return by
}
