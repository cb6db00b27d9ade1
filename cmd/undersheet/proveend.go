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
	"undersheet/rules/proof"
	"undersheet/rules/reading"
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
	w := proof.WatchSpan(p.site, t.channel, e.Span, p.heard, p.now())
	p.say("Watching. It ends by itself when the figure stands still; Enter ends it before.")
	if _, err := p.wait(ctx, t.channel, w.Take); err != nil {
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
	switch least := proof.LeastSpan(ch); {
	case !(v > 0):
		return "A concentration is above 0."
	case v < least:
		return fmt.Sprintf("Too weak for this channel, by its zero error and digits: take at least %s.", figure(least, ch.Unit))
	case ch.Range > 0 && v > ch.Range:
		return fmt.Sprintf("Above the top of this channel's range, %s.", figure(ch.Range, ch.Unit))
	}
	return ""
}

// ready waits until the channel under test reads, and nothing reads gas that was
// let in before. Enter goes on all the same.
func (p *prover) ready(ctx context.Context, t target, span float64) error {
	of := p.site.Channels[t.channel]
	still := func() string {
		if _, ok := p.heard.Last(t.channel); !ok {
			return "no reading of " + t.channel + " came yet"
		}
		for _, name := range proof.GasChannels(p.site) {
			if f, ok := p.heard.Last(name); ok && f.Value-p.zeros[name] > proof.Rise(p.site.Channels[name], span, of.Unit) {
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
	_, err := p.wait(ctx, t.channel, func(proof.Reading) bool { return still() == "" })
	return err
}

// judgeSpan says what came of a test with span gas, fills in e and returns a note.
func (p *prover) judgeSpan(t target, ch logbook.Channel, w *proof.Span, e *logbook.LineProved) (note string) {
	lag, own := w.Lag(t.channel)
	others := w.Others()
	e.Seen = own && len(others) == 0
	switch {
	case own:
		e.Channel, e.Lag, e.Read = t.channel, logbook.Duration(lag), max(0, w.Read())
		mark, word := " ", "within"
		if !(math.Abs(e.Read-e.Span) <= proof.SpanError(ch, e.Span)) {
			mark, word = "!", "OUTSIDE"
		}
		p.say("%s %s answered after %v with %s of %s, %s its accuracy of %.0f %% and zero error", mark, t.channel,
			lag.Round(time.Second), figure(e.Read, ch.Unit), figure(e.Span, ch.Unit), word, 100*ch.Accuracy)
	case len(others) > 0:
		lag, _ = w.Lag(others[0])
		e.Channel, e.Lag = others[0], logbook.Duration(lag)
		if v, ok := reading.InChannelUnit(ch, w.Top(others[0]), p.site.Channels[others[0]].Unit); ok {
			e.Read = max(0, v)
		}
		p.say("! %s did not answer. %s did: the tubes or the channels of the two are swapped.", t.channel, p.placeOf(others[0]))
	default:
		e.Read = max(0, w.Top(t.channel))
		p.say("! nothing answered: a blocked or broken line, no flow, a gas that the instrument does not see, or too short a wait.")
	}
	if fault := w.Fault(); fault != "" {
		note = "fault of " + t.channel + ": " + tame(fault)
		p.say("! %s", note)
	}
	if own && len(others) > 0 {
		p.say("! %s answered too: the line branches, or the gas reached a second end.", p.placeOf(others[0]))
		note = joined("; ", note, "answered too: "+strings.Join(others, ", "))
	}
	if silent := w.NotRead(); len(silent) > 0 {
		note = joined("; ", note, "not read meanwhile: "+strings.Join(silent, ", "))
		p.say("! not read meanwhile: %s. Nobody knows whether gas came there.", strings.Join(silent, ", "))
	}
	return note
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
