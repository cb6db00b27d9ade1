package proof

import (
	"maps"
	"math"
	"slices"
	"time"

	"undersheet/logbook"
	"undersheet/rules/reading"
)

// A channel answers a test at the end of a line when it rises by more than answerShare of
// the span gas, and by more than its own zero error and digits explain. It stands
// still when its last steadyCount readings differ by no more than steadyShare. Common practice.
const (
	answerShare = 0.1
	steadyShare = 0.02
	steadyCount = 3
)

// LeastSpan is the weakest span gas, in the channel's unit, that can prove its line.
func LeastSpan(ch logbook.Channel) float64 {
	return 2 * ZeroError(ch) / (1 - answerShare)
}

// Rise is by how much a channel must rise, in its unit, to have answered a span gas
// of the given concentration in another unit; +Inf where the units do not fit.
func Rise(ch logbook.Channel, span float64, unit string) float64 {
	v, ok := reading.InChannelUnit(ch, span, unit)
	if !ok {
		return math.Inf(1)
	}
	return max(answerShare*v, 2*ZeroError(ch))
}

// Span watches all gas channels of a site while span gas is let in at one end.
type Span struct {
	own      string
	from     time.Time
	base     map[string]float64 // before
	step     map[string]float64 // rise that is an answer
	steady   float64            // own channel's figure stands still within this
	answered map[string]time.Time
	top      map[string]float64
	values   []float64       // of own since it answered
	waiting  map[string]bool // live channels not read since own answered
	fault    string          // of own since from
}

// WatchSpan begins to watch at now. Gas of a concentration in the unit of the channel
// own comes to the end of its line; heard is what was read before.
func WatchSpan(site *logbook.Site, own string, span float64, heard Heard, now time.Time) *Span {
	of := site.Channels[own]
	w := &Span{own: own, from: now, base: map[string]float64{}, step: map[string]float64{}, answered: map[string]time.Time{},
		top: map[string]float64{}, waiting: map[string]bool{}, steady: max(2*of.Resolution, steadyShare*span)}
	for _, name := range GasChannels(site) {
		w.step[name] = Rise(site.Channels[name], span, of.Unit)
		if r, ok := heard.Last(name); ok {
			w.base[name] = r.Value
			w.waiting[name] = name != own && now.Sub(r.At) <= reading.MinGap
		}
	}
	return w
}

// Take takes in a reading and reports whether the test is over: the channel under
// test answered and stands still, and every other live channel was read since.
func (w *Span) Take(r Reading) (done bool) {
	step, gas := w.step[r.Channel]
	if !gas || r.At.Before(w.from) {
		return false
	}
	if r.Fault != "" {
		if r.Channel == w.own {
			w.fault = r.Fault
		}
		return false
	}
	if _, seen := w.answered[r.Channel]; !seen && r.Value-w.base[r.Channel] > step {
		w.answered[r.Channel] = r.At
	}
	w.top[r.Channel] = max(w.top[r.Channel], r.Value)
	_, answered := w.answered[w.own]
	if answered && r.Channel == w.own {
		w.values = append(w.values, r.Value)
	}
	if answered {
		delete(w.waiting, r.Channel)
	}
	return answered && w.still() && !slices.Contains(slices.Collect(maps.Values(w.waiting)), true)
}

// still reports whether the channel under test stands still.
func (w *Span) still() bool {
	if len(w.values) < steadyCount {
		return false
	}
	last := w.values[len(w.values)-steadyCount:]
	return slices.Max(last)-slices.Min(last) <= w.steady
}

// Lag is how long a channel took to answer; false when it did not.
func (w *Span) Lag(channel string) (time.Duration, bool) {
	at, ok := w.answered[channel]
	return at.Sub(w.from), ok
}

// Read is what the channel under test showed, in its unit: the mean of its last
// readings when it stood still, else the highest.
func (w *Span) Read() float64 {
	if !w.still() {
		return w.top[w.own]
	}
	sum := 0.0
	for _, v := range w.values[len(w.values)-steadyCount:] {
		sum += v
	}
	return sum / steadyCount
}

// Top is the highest reading of a channel, in its unit; 0 = none.
func (w *Span) Top(channel string) float64 { return w.top[channel] }

// Fault is the last fault of the channel under test; empty = none.
func (w *Span) Fault() string { return w.fault }

// Others lists the channels that answered beside the one under test, the first first.
func (w *Span) Others() []string {
	names := slices.DeleteFunc(slices.Sorted(maps.Keys(w.answered)), func(n string) bool { return n == w.own })
	slices.SortStableFunc(names, func(a, b string) int { return w.answered[a].Compare(w.answered[b]) })
	return names
}

// NotRead lists gas channels, but the one under test, of which nothing came while the
// test went on, sorted.
func (w *Span) NotRead() []string {
	return slices.DeleteFunc(slices.Sorted(maps.Keys(w.step)), func(n string) bool {
		_, read := w.top[n]
		return read || n == w.own
	})
}
