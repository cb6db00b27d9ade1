package main

import (
	"context"
	"crypto/rand"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
	"time"

	"undersheet/logbook"
	"undersheet/rules/reading"
)

// A channel answers a test at the end of a line when it rises by answerShare of
// the span gas, and by more than its own zero error and digits explain. It stands
// still when its last steadyCount readings differ by no more than steadyShare. Common practice.
const (
	answerShare = 0.1
	steadyShare = 0.02
	steadyCount = 3
)

// proveOne proves one target and records it.
func (p *prover) proveOne(ctx context.Context, t target) error {
	flow, note, err := p.flow(ctx, t)
	if err != nil {
		return err
	}
	for {
		e := &logbook.LineProved{Stack: t.stack, Line: t.line, Store: t.store, Point: t.point, Flow: flow}
		if t.stack != "" {
			e.Store = ""
		}
		if z, ok := p.zeros[t.channel]; ok {
			e.Zero = &z
		}
		e.Unit = p.site.Channels[t.channel].Unit
		test := p.spanTest
		if p.breath {
			test = p.breathTest
		}
		more, err := test(ctx, t, e)
		if err != nil {
			return err
		}
		text, err := p.ask(ctx, "Press Enter to record this, type r to test again, or s to leave this line unproved.")
		if err != nil {
			return err
		}
		switch strings.ToLower(text) {
		case "r":
			continue
		case "s":
			p.results = append(p.results, result{target: t})
			return nil
		}
		e.Note = joined("; ", "second person: "+p.second, note, more)
		return p.keep(ctx, t, e)
	}
}

// keep records a proof, and again as long as that fails and the technician wants it.
func (p *prover) keep(ctx context.Context, t target, e *logbook.LineProved) error {
	e.Kind, e.Time, e.ID = logbook.KindLineProved, logbook.At(p.now()), "prove-"+rand.Text()
	e.By, e.Identity = p.by, notVerified
	for {
		said, err := p.record(ctx, e)
		if err == nil {
			p.say("  %s", said)
			p.results = append(p.results, result{target: t, done: true, seen: e.Seen, from: e.Channel})
			return nil
		}
		text, errAsk := p.ask(ctx, "! not recorded: %v\nPress Enter to try again, or type s to leave this line unproved.", err)
		if errAsk != nil {
			return errAsk
		}
		if strings.EqualFold(text, "s") {
			p.results = append(p.results, result{target: t})
			return nil
		}
	}
}

// joined joins the texts that are not empty.
func joined(sep string, texts ...string) string {
	return strings.Join(slices.DeleteFunc(texts, func(s string) bool { return s == "" }), sep)
}

// spanTest lets gas of a known concentration in at the end of a line and watches
// which channel answers. It fills in e and returns what else is to be noted.
func (p *prover) spanTest(ctx context.Context, t target, e *logbook.LineProved) (note string, err error) {
	ch := p.site.Channels[t.channel]
	if e.Span, err = p.askSpan(ctx, ch); err != nil {
		return "", err
	}
	e.EndTest = logbook.EndTestSpan
	p.span, p.spanUnit = e.Span, ch.Unit
	if err := p.ready(ctx, t, e.Span); err != nil {
		return "", err
	}
	if _, err := p.ask(ctx, "Let the gas in at the end of %s, and press Enter at that moment.", t); err != nil {
		return "", err
	}
	w := p.watchSpan(t, e.Span)
	p.say("Watching. It ends by itself when the figure stands still; Enter ends it before.")
	if _, err := p.wait(ctx, t.channel, w.take); err != nil {
		return "", err
	}
	note = p.judgeSpan(t, ch, w, e)
	p.say("Take the gas away.")
	return note, nil
}

// askSpan asks for the concentration of the span gas, in the channel's unit.
func (p *prover) askSpan(ctx context.Context, ch logbook.Channel) (float64, error) {
	question := fmt.Sprintf("END OF LINE: concentration of the span gas, as this channel is to show it, in %s?", ch.Unit)
	again := p.span > 0 && p.spanUnit == ch.Unit
	if again {
		question += fmt.Sprintf(" (Enter: %g)", p.span)
	}
	for {
		v, err := p.askNumber(ctx, question, "", func(v float64) string { return spanFits(ch, v) })
		switch {
		case err != nil:
			return 0, err
		case v != nil:
			return *v, nil
		case again && spanFits(ch, p.span) == "":
			return p.span, nil
		}
	}
}

// spanFits says why a span gas of v in the channel's unit cannot prove its line;
// "" when it can.
func spanFits(ch logbook.Channel, v float64) string {
	switch least := 2 * max(ch.Zero(), ch.Resolution) / (1 - answerShare); {
	case !(v > 0):
		return "A concentration is above 0."
	case v < least:
		return fmt.Sprintf("Too weak for this channel, by its zero error and digits: take at least %s.", figure(least, ch.Unit))
	case ch.Range > 0 && v > ch.Range:
		return fmt.Sprintf("Above the top of this channel's range, %s.", figure(ch.Range, ch.Unit))
	}
	return ""
}

// step is by how much a channel must rise to have answered a span gas of the
// given concentration in unit of another channel.
func (p *prover) step(channel string, span float64, of logbook.Channel) float64 {
	ch := p.site.Channels[channel]
	v, ok := inChannelUnit(ch, span, of.Unit)
	if !ok {
		return math.Inf(1)
	}
	return max(answerShare*v, 2*ch.Zero(), 2*ch.Resolution)
}

// gasChannels lists the site's gas channels, sorted.
func (p *prover) gasChannels() []string {
	var names []string
	for _, name := range slices.Sorted(maps.Keys(p.site.Channels)) {
		if reading.IsGas(p.site.Channels[name]) {
			names = append(names, name)
		}
	}
	return names
}

// last returns the last sound reading of a channel.
func (p *prover) last(channel string) (fresh, bool) {
	for _, f := range slices.Backward(p.heard[channel]) {
		if f.fault == "" {
			return f, true
		}
	}
	return fresh{}, false
}

// ready waits until the channel under test reads, and nothing reads gas that was
// let in before. Enter goes on all the same.
func (p *prover) ready(ctx context.Context, t target, span float64) error {
	of := p.site.Channels[t.channel]
	still := func() string {
		if _, ok := p.last(t.channel); !ok {
			return "no reading of " + t.channel + " came yet"
		}
		for _, name := range p.gasChannels() {
			if f, ok := p.last(name); ok && f.value-p.zeros[name] > p.step(name, span, of) {
				return p.shown(f) + " still"
			}
		}
		return ""
	}
	why := still()
	if why == "" {
		return nil
	}
	p.say("Waiting: %s. Enter goes on all the same.", why)
	_, err := p.wait(ctx, t.channel, func(fresh) bool { return still() == "" })
	return err
}

// spanWatch watches all gas channels while span gas is let in at one end.
type spanWatch struct {
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

// watchSpan makes a watch that begins now.
func (p *prover) watchSpan(t target, span float64) *spanWatch {
	of := p.site.Channels[t.channel]
	w := &spanWatch{own: t.channel, from: p.now(), base: map[string]float64{}, step: map[string]float64{}, answered: map[string]time.Time{},
		top: map[string]float64{}, waiting: map[string]bool{}, steady: max(2*of.Resolution, steadyShare*span)}
	for _, name := range p.gasChannels() {
		w.step[name] = p.step(name, span, of)
		if f, ok := p.last(name); ok {
			w.base[name] = f.value
			w.waiting[name] = name != t.channel && p.now().Sub(f.at) <= reading.MinGap
		}
	}
	return w
}

// take takes in a reading and reports whether the test is over: the channel under
// test answered and stands still, and every other live channel was read since.
func (w *spanWatch) take(f fresh) (done bool) {
	step, gas := w.step[f.channel]
	if !gas || f.at.Before(w.from) {
		return false
	}
	if f.fault != "" {
		if f.channel == w.own {
			w.fault = f.fault
		}
		return false
	}
	if _, seen := w.answered[f.channel]; !seen && f.value-w.base[f.channel] > step {
		w.answered[f.channel] = f.at
	}
	w.top[f.channel] = max(w.top[f.channel], f.value)
	_, answered := w.answered[w.own]
	if answered && f.channel == w.own {
		w.values = append(w.values, f.value)
	}
	if answered {
		delete(w.waiting, f.channel)
	}
	return answered && w.still() && !slices.Contains(slices.Collect(maps.Values(w.waiting)), true)
}

// still reports whether the channel under test stands still.
func (w *spanWatch) still() bool {
	if len(w.values) < steadyCount {
		return false
	}
	last := w.values[len(w.values)-steadyCount:]
	return slices.Max(last)-slices.Min(last) <= w.steady
}

// read is what the channel under test showed: the mean of its last readings when
// it stood still, else the highest.
func (w *spanWatch) read() float64 {
	if !w.still() {
		return w.top[w.own]
	}
	sum := 0.0
	for _, v := range w.values[len(w.values)-steadyCount:] {
		sum += v
	}
	return sum / steadyCount
}

// others lists the channels that answered beside the one under test, the first first.
func (w *spanWatch) others() []string {
	names := slices.DeleteFunc(slices.Sorted(maps.Keys(w.answered)), func(n string) bool { return n == w.own })
	slices.SortStableFunc(names, func(a, b string) int { return w.answered[a].Compare(w.answered[b]) })
	return names
}

// judgeSpan says what came of a test with span gas, fills in e and returns a note.
func (p *prover) judgeSpan(t target, ch logbook.Channel, w *spanWatch, e *logbook.LineProved) (note string) {
	at, own := w.answered[t.channel]
	others := w.others()
	e.Seen = own && len(others) == 0
	switch {
	case own:
		e.Channel, e.Lag, e.Read = t.channel, logbook.Duration(at.Sub(w.from)), max(0, w.read())
		off := math.Abs(e.Read-e.Span) <= ch.Accuracy*e.Span+ch.Zero()
		mark, word := " ", "within"
		if !off {
			mark, word = "!", "OUTSIDE"
		}
		p.say("%s %s answered after %v with %s of %s, %s its accuracy of %.0f %% and zero error", mark, t.channel,
			at.Sub(w.from).Round(time.Second), figure(e.Read, ch.Unit), figure(e.Span, ch.Unit), word, 100*ch.Accuracy)
	case len(others) > 0:
		e.Channel, e.Lag = others[0], logbook.Duration(w.answered[others[0]].Sub(w.from))
		if v, ok := inChannelUnit(ch, w.top[others[0]], p.site.Channels[others[0]].Unit); ok {
			e.Read = max(0, v)
		}
		p.say("! %s did not answer. %s did: the tubes or the channels of the two are swapped.", t.channel, p.placeOf(others[0]))
	default:
		e.Read = max(0, w.top[t.channel])
		p.say("! nothing answered: a blocked or broken line, no flow, a gas that the instrument does not see, or too short a wait.")
	}
	if w.fault != "" {
		note = "fault of " + t.channel + ": " + tame(w.fault)
		p.say("! %s", note)
	}
	if own && len(others) > 0 {
		p.say("! %s answered too: the line branches, or the gas reached a second end.", p.placeOf(others[0]))
		note = joined("; ", note, "answered too: "+strings.Join(others, ", "))
	}
	if silent := p.notRead(w); len(silent) > 0 {
		note = joined("; ", note, "not read meanwhile: "+strings.Join(silent, ", "))
		p.say("! not read meanwhile: %s. Nobody knows whether gas came there.", strings.Join(silent, ", "))
	}
	return note
}

// notRead lists gas channels of which nothing came while the test went on.
func (p *prover) notRead(w *spanWatch) []string {
	return slices.DeleteFunc(p.gasChannels(), func(n string) bool {
		_, read := w.top[n]
		return read || n == w.own
	})
}

// placeOf names where a channel's sample comes from.
func (p *prover) placeOf(channel string) string {
	for i := range p.site.Stores {
		s := &p.site.Stores[i]
		for _, a := range s.Air {
			if a.Channel == channel {
				return fmt.Sprintf("%s (%s)", target{store: s.Name, point: a.Name}, channel)
			}
		}
		for _, k := range s.Stacks {
			for _, l := range k.Lines {
				if l.Channel == channel {
					return fmt.Sprintf("%s (%s)", target{store: s.Name, stack: k.Name, line: l.Name}, channel)
				}
			}
		}
	}
	return "channel " + channel
}

// sum says how all lines stand.
func (p *prover) sum() {
	p.say("\n%-44s %s", "line", "proof")
	came := map[string]string{} // channel of a target → channel that answered
	for _, r := range p.results {
		word := "not proved"
		switch {
		case r.done && r.seen:
			word = "answered, it and no other"
		case r.done && r.from != "" && r.from != r.channel:
			word = "ANSWERED ELSEWHERE: " + p.placeOf(r.from)
			came[r.channel] = r.from
		case r.done:
			word = "NOT SHOWN"
		}
		p.say("%-44s %s", r.target, word)
	}
	for _, t := range p.targets[len(p.results):] {
		p.say("%-44s not proved", t)
	}
	for _, a := range slices.Sorted(maps.Keys(came)) {
		if b := came[a]; came[b] == a && a < b {
			p.say("! %s and %s answered for each other: change their tubes over, or their channels in the site file, and prove both again.", p.placeOf(a), p.placeOf(b))
		}
	}
}
