package proof

import (
	"cmp"
	"maps"
	"math"
	"slices"
	"time"

	"undersheet/logbook"
)

// A channel was disturbed by a breath when it moved by more than disturbedTimes
// the spread of its readings before, than two digits, and than disturbedShare of
// its value. Common practice.
const (
	disturbedTimes = 3
	disturbedShare = 0.05
)

// Breath watches all channels while somebody breathes out at one end.
type Breath struct {
	from  time.Time
	base  map[string]float64
	limit map[string]float64       // move that is more than chance
	moved map[string]float64       // largest move beyond it
	lag   map[string]time.Duration // to the first such move
}

// WatchBreath begins to watch at now; heard is what was read before.
func WatchBreath(site *logbook.Site, heard Heard, now time.Time) *Breath {
	w := &Breath{from: now, base: map[string]float64{}, limit: map[string]float64{}, moved: map[string]float64{}, lag: map[string]time.Duration{}}
	for name, rs := range heard {
		var values []float64
		for _, r := range rs {
			if r.Fault == "" {
				values = append(values, r.Value)
			}
		}
		if len(values) < 2 {
			continue
		}
		ch := site.Channels[name]
		slices.Sort(values)
		base := values[len(values)/2]
		w.base[name] = base
		w.limit[name] = max(disturbedTimes*(slices.Max(values)-slices.Min(values)), 2*ch.Resolution, ch.Zero(), disturbedShare*math.Abs(base))
	}
	return w
}

// Take takes in a reading.
func (w *Breath) Take(r Reading) {
	base, known := w.base[r.Channel]
	if !known || r.Fault != "" || r.At.Before(w.from) {
		return
	}
	if move := math.Abs(r.Value - base); move > w.limit[r.Channel] {
		if _, before := w.moved[r.Channel]; !before {
			w.lag[r.Channel] = r.At.Sub(w.from)
		}
		w.moved[r.Channel] = max(w.moved[r.Channel], move)
	}
}

// Moved lists the channels that moved, the first first.
func (w *Breath) Moved() []string {
	names := slices.Sorted(maps.Keys(w.moved))
	slices.SortStableFunc(names, func(a, b string) int { return cmp.Compare(w.lag[a], w.lag[b]) })
	return names
}

// Move is by how much a channel moved, in its unit, and how long after the breath;
// false when it did not.
func (w *Breath) Move(channel string) (by float64, after time.Duration, moved bool) {
	by, moved = w.moved[channel]
	return by, w.lag[channel], moved
}
