package decay

import (
	"encoding/json"
	"math"
	"sort"
)

// Readings are kept in bins of one tick while they are new, and of a whole
// number of ticks (an hour at first) when they are older.
const (
	tickHours    = 1.0 / 12 // 5 min
	fineTicks    = 72       // the newest 6 h stay in bins of one tick (less where there are many lines) …
	compactEvery = 12       // … and are thinned an hour at a time
	firstCoarse  = 12       // ticks in a coarse bin at first: an hour
	leastBins    = 36       // a line always has room for so many
	stateBytes   = 60 << 10 // what the state of a stack is kept below, in JSON, up to 20 lines
	binBytes     = 26       // a bin in JSON
	floatBytes   = 22       // a number of the posterior in JSON
	maxWeight    = 60       // a bin never counts for more readings than this
	spikeSDs     = 5        // a reading this far from its hour's median is a spike
)

// bin holds the readings of one line over one slot of time.
type bin struct {
	at     float32 // mean time in ticks
	weight float32 // readings with a value (a hand reading may count for a fraction, or several)
	ppm    float32 // their mean
	below  float32 // readings below the detection limit
	above  float32 // readings at the top of the range
}

// MarshalJSON writes the bin as [at, weight, ppm] or with below and above.
func (b bin) MarshalJSON() ([]byte, error) {
	v := []float32{b.at, b.weight, b.ppm, b.below, b.above}
	if b.below == 0 && b.above == 0 {
		v = v[:3]
	}
	return json.Marshal(v)
}

// UnmarshalJSON reads what MarshalJSON writes.
func (b *bin) UnmarshalJSON(data []byte) error {
	var v [5]float32
	if err := json.Unmarshal(data, &v); err != nil {
		return err
	}
	*b = bin{v[0], v[1], v[2], v[3], v[4]}
	return nil
}

// count is the number of readings in the bin, of all sorts.
func (b bin) count() float32 { return b.weight + b.below + b.above }

// merge adds the readings of c to b.
func (b bin) merge(c bin) bin {
	n := b.count() + c.count()
	if !(n > 0) {
		return b
	}
	out := bin{below: min(b.below+c.below, maxWeight), above: min(b.above+c.above, maxWeight)}
	out.at = b.at + (c.at-b.at)*(c.count()/n)
	if w := b.weight + c.weight; w > 0 {
		out.ppm = b.ppm + (c.ppm-b.ppm)*(c.weight/w)
		out.weight = min(w, maxWeight)
	}
	return out
}

// bins are one line's, in order of time.
type bins []bin

// add puts one reading into the slot [from, from+width) of ticks that it falls in.
func (bs bins) add(b bin, from, width float32) bins {
	i := sort.Search(len(bs), func(i int) bool { return bs[i].at >= from })
	if i < len(bs) && bs[i].at < from+width {
		bs[i] = bs[i].merge(b)
		return bs
	}
	bs = append(bs, bin{})
	copy(bs[i+1:], bs[i:])
	bs[i] = b
	return bs
}

// roomForBins is how many bins a line of the stack has room for: what the posterior
// leaves, shared among the lines.
func (s *State) roomForBins() int {
	lines, p := len(s.Bins), inAdded+len(s.Added)+len(s.Changes)
	numbers := p + p*(p+1)/2 + states + states*(states+1)/2 + p*states + pathPoints + 9*lines + (p+states+2)*draws/4
	return max((stateBytes-numbers*floatBytes)/binBytes/max(lines, 1), leastBins)
}

// thin merges the bins from one tick until another into slots of width ticks,
// leaving spikes out, and returns how many readings it left out.
func (bs bins) thin(from, until, width float32, bend float64) (bins, int) {
	first := sort.Search(len(bs), func(i int) bool { return bs[i].at >= from })
	out, spikes := bs[:first], 0
	for i := first; i < len(bs); {
		if bs[i].at >= until {
			out = append(out, bs[i])
			i++
			continue
		}
		slot, j := float32(math.Floor(float64(bs[i].at/width))), i
		for j < len(bs) && bs[j].at < until && bs[j].at < (slot+1)*width {
			j++
		}
		one, left := bs[i:j].pool(bend)
		out, spikes, i = append(out, one), spikes+left, max(j, i+1)
	}
	return out, spikes
}

// pool merges bins into one. Of four or more values those are left out that lie
// more than spikeSDs from the median, by the median absolute deviation or the
// noise of an instrument, whichever is larger.
func (bs bins) pool(bend float64) (bin, int) {
	var values []float64
	for _, b := range bs {
		if b.weight > 0 {
			values = append(values, stable(float64(b.ppm), bend))
		}
	}
	limit, mid := math.Inf(1), 0.0
	if len(values) >= 4 {
		mid = median(values)
		for i, v := range values {
			values[i] = math.Abs(v - mid)
		}
		limit = spikeSDs * max(1.4826*median(values), noiseShare)
	}
	var out bin
	left := 0
	for _, b := range bs {
		if b.weight > 0 && math.Abs(stable(float64(b.ppm), bend)-mid) > limit {
			left += int(math.Ceil(float64(b.weight)))
			b.weight = 0
		}
		out = out.merge(b)
	}
	return out, left
}

// median returns the middle of xs, and sorts it.
func median(xs []float64) float64 {
	sort.Float64s(xs)
	n := len(xs)
	if n == 0 {
		return 0
	}
	return (xs[(n-1)/2] + xs[n/2]) / 2
}

// stable is the scale on which a reading's noise is even: ln C well above bend,
// linear well below it, and finite at 0.
func stable(ppm, bend float64) float64 { return math.Asinh(ppm / bend) }
