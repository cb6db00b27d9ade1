// Package proof judges how sampling lines are proved before dosing: which channel
// answers when gas of a known concentration, or a breath out, is let in at the open
// end of a line, and whether a logbook knows of gas in a store, in which nobody then
// holds the ends of lines. What a proof on record is worth, [Lacks] says.
//
//	w := proof.WatchSpan(site, "tap-3", 300, heard, now)
//	for r := range readings {
//		if w.Take(r) {
//			break
//		}
//	}
//	lag, answered := w.Lag("tap-3")
//
// It never says that a line is proved where another channel answered as well.
package proof

import (
	"maps"
	"slices"
	"time"

	"undersheet/logbook"
	"undersheet/rules/reading"
)

// Reading is a reading as proofs see it.
type Reading struct {
	Channel string
	Value   float64 // in the channel's unit
	Fault   string  // why it counts for nothing; empty = it counts
	At      time.Time
}

// Heard holds the last readings of each channel, oldest first.
type Heard map[string][]Reading

// Last returns the last sound reading of a channel.
func (h Heard) Last(channel string) (Reading, bool) {
	for _, r := range slices.Backward(h[channel]) {
		if r.Fault == "" {
			return r, true
		}
	}
	return Reading{}, false
}

// GasChannels lists a site's gas channels, sorted.
func GasChannels(site *logbook.Site) []string {
	return slices.DeleteFunc(slices.Sorted(maps.Keys(site.Channels)), func(n string) bool { return !reading.IsGas(site.Channels[n]) })
}

// unknownAccuracy stands for an accuracy that the site does not state, as in the fit.
const unknownAccuracy = 0.05

// ZeroError is how far from 0 the zero of a line may lie, in the channel's unit: its
// zero error, or one digit.
func ZeroError(ch logbook.Channel) float64 { return max(ch.Zero(), ch.Resolution) }

// SpanError is how far from the concentration of a span gas its reading may lie, in
// the channel's unit: accuracy, zero error and one digit together.
func SpanError(ch logbook.Channel, span float64) float64 {
	accuracy := ch.Accuracy
	if !(accuracy > 0) {
		accuracy = unknownAccuracy
	}
	return accuracy*span + ZeroError(ch) + ch.Resolution
}
