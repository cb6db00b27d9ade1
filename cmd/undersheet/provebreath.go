package main

import (
	"context"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
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

// breathWatch watches all channels while somebody breathes out at one end.
type breathWatch struct {
	from  time.Time
	base  map[string]float64
	limit map[string]float64       // move that is more than chance
	moved map[string]float64       // largest move beyond it
	lag   map[string]time.Duration // to the first such move
}

// watchBreath makes a watch that begins now.
func (p *prover) watchBreath() *breathWatch {
	w := &breathWatch{from: p.now(), base: map[string]float64{}, limit: map[string]float64{}, moved: map[string]float64{}, lag: map[string]time.Duration{}}
	for name, heard := range p.heard {
		var values []float64
		for _, f := range heard {
			if f.fault == "" {
				values = append(values, f.value)
			}
		}
		if len(values) < 2 {
			continue
		}
		ch := p.site.Channels[name]
		slices.Sort(values)
		base := values[len(values)/2]
		w.base[name] = base
		w.limit[name] = max(disturbedTimes*(slices.Max(values)-slices.Min(values)), 2*ch.Resolution, ch.Zero(), disturbedShare*math.Abs(base))
	}
	return w
}

// take takes in a reading; the technician ends the watch.
func (w *breathWatch) take(f fresh) bool {
	base, known := w.base[f.channel]
	if !known || f.fault != "" || f.at.Before(w.from) {
		return false
	}
	if move := math.Abs(f.value - base); move > w.limit[f.channel] {
		if _, before := w.moved[f.channel]; !before {
			w.lag[f.channel] = f.at.Sub(w.from)
		}
		w.moved[f.channel] = max(w.moved[f.channel], move)
	}
	return false
}

// breathTest has somebody breathe out at the end of a line, and asks the
// technician what was seen. It fills in e and returns what else is to be noted.
func (p *prover) breathTest(ctx context.Context, t target, e *logbook.LineProved) (note string, err error) {
	e.EndTest = logbook.EndTestBreath
	if _, err := p.ask(ctx, "END OF LINE: breathe out slowly into the end of %s, never in; press Enter at that moment.", t); err != nil {
		return "", err
	}
	w := p.watchBreath()
	p.say("Watching every channel; press Enter when it has had time to show.")
	if _, err := p.wait(ctx, t.channel, w.take); err != nil {
		return "", err
	}
	for _, name := range slices.Sorted(maps.Keys(w.moved)) {
		p.say("  moved: %s by %s after %v", p.placeOf(name), figure(w.moved[name], p.site.Channels[name].Unit), w.lag[name].Round(time.Second))
	}
	if len(w.moved) == 0 {
		p.say("  no channel moved more than it does by itself")
	}
	for text := ""; !strings.EqualFold(text, "y") && !strings.EqualFold(text, "n"); {
		if text, err = p.ask(ctx, "Did %s, and no other line, show the breath? y or n:", t); err != nil {
			return "", err
		}
		e.Seen = strings.EqualFold(text, "y")
	}
	elsewhere := p.linesMoved(w, t)
	switch _, own := w.moved[t.channel]; {
	case own:
		e.Channel = t.channel
	case len(elsewhere) > 0:
		e.Channel = elsewhere[0]
	default:
		e.Channel = p.sharedMoved(w)
	}
	e.Lag = logbook.Duration(w.lag[e.Channel])
	if e.Seen && len(elsewhere) > 0 {
		e.Seen = false
		note = fmt.Sprintf("the technician saw it here, the figures moved at %s too", strings.Join(elsewhere, ", "))
		p.say("! the figures say otherwise: %s moved. It is recorded as not shown; test again if that was chance.", p.placeOf(elsewhere[0]))
	}
	return note, nil
}

// linesMoved lists the channels of other lines and air points that moved, the first first.
func (p *prover) linesMoved(w *breathWatch, t target) []string {
	var names []string
	for _, name := range slices.Sorted(maps.Keys(w.moved)) {
		if name != t.channel && p.placeOf(name) != "channel "+name {
			names = append(names, name)
		}
	}
	slices.SortStableFunc(names, func(a, b string) int { return int(w.lag[a] - w.lag[b]) })
	return names
}

// sharedMoved returns the channel of no line, such as a pump's flow, that moved
// first; "" when none did.
func (p *prover) sharedMoved(w *breathWatch) string {
	first := ""
	for _, name := range slices.Sorted(maps.Keys(w.moved)) {
		if first == "" || w.lag[name] < w.lag[first] {
			first = name
		}
	}
	return first
}
