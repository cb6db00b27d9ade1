package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"time"

	"undersheet/logbook"
	"undersheet/rules/proof"
	"undersheet/rules/reading"
)

const (
	zeroReadings = 5               // of each channel, for its zero
	keptFresh    = 8               // last readings of each channel
	sameFigure   = 5 * time.Second // a figure that does not change is shown so often
	leakyFlow    = 0.1             // the flow at the open end may differ by this fraction from the pump's. Common practice
)

// errLeft ends the dialogue when nobody types any more.
var errLeft = errors.New("the dialogue ended before all was proved; what was recorded is kept")

// prover is the dialogue that proves sampling lines. It reads and writes only
// what it is given.
type prover struct {
	site     *logbook.Site
	targets  []target
	typed    <-chan string      // what the technician types, line by line; closed at its end
	fresh    chan proof.Reading // readings as they come
	out      io.Writer
	live     bool // out can rewrite a line
	now      func() time.Time
	limit    float64 // ppm from which on nobody stays in the air of a store
	readings int     // of each channel, for its zero
	record   func(context.Context, *logbook.LineProved) (string, error)

	figured    proof.Reading // that was shown last
	heard      proof.Heard   // last readings of each channel, oldest first
	by, second string
	breath     bool    // the end test is a breath out
	span       float64 // last concentration typed, in spanUnit
	spanUnit   string
	zeros      map[string]float64 // by channel
	results    []result
}

// result is what came of one target.
type result struct {
	target
	done bool
	seen bool
	from string // channel that answered
}

// say prints a paragraph.
func (p *prover) say(format string, args ...any) {
	if p.live {
		fmt.Fprint(p.out, "\r\x1b[K")
	}
	fmt.Fprintf(p.out, format+"\n", args...)
}

// wait absorbs readings until a line is typed, which it returns, or until done, which may
// be nil, says of a reading that it is enough. focus is the channel whose figures are
// shown.
func (p *prover) wait(ctx context.Context, focus string, done func(proof.Reading) bool) (typed string, err error) {
	for {
		select {
		case <-ctx.Done():
			if err := context.Cause(ctx); !errors.Is(err, context.Canceled) {
				return "", err
			}
			return "", errLeft
		case text, ok := <-p.typed:
			if !ok {
				return "", errLeft
			}
			return text, nil
		case f := <-p.fresh:
			p.absorb(f)
			p.figures(f, focus)
			if done != nil && done(f) {
				return "", nil
			}
		}
	}
}

// absorb keeps a reading.
func (p *prover) absorb(f proof.Reading) {
	last := append(p.heard[f.Channel], f)
	p.heard[f.Channel] = last[max(0, len(last)-keptFresh):]
}

// figures shows a reading of the channel in focus.
func (p *prover) figures(f proof.Reading, focus string) {
	if f.Channel != focus {
		return
	}
	if was := p.figured; was.Channel == f.Channel && was.Value == f.Value && was.Fault == f.Fault && f.At.Sub(was.At) < sameFigure {
		return
	}
	p.figured = f
	text := fmt.Sprintf("    %s  %s", f.At.Format("15:04:05"), p.shown(f))
	if p.live {
		fmt.Fprint(p.out, "\r\x1b[K"+text)
		return
	}
	fmt.Fprintln(p.out, text)
}

// shown writes a reading.
func (p *prover) shown(f proof.Reading) string {
	if f.Fault != "" {
		return fmt.Sprintf("%s: fault: %s", f.Channel, tame(f.Fault))
	}
	return fmt.Sprintf("%s %s", f.Channel, figure(f.Value, p.site.Channels[f.Channel].Unit))
}

// ask prints a question and returns what is typed.
func (p *prover) ask(ctx context.Context, format string, args ...any) (string, error) {
	p.say(format, args...)
	text, err := p.wait(ctx, "", nil)
	return text, err
}

// askNumber asks until a number is typed that fits, or nothing: then it returns
// nil. Meanwhile the figures of the channel in focus are shown.
func (p *prover) askNumber(ctx context.Context, question, focus string, fits func(float64) string) (*float64, error) {
	for {
		p.say("%s", question)
		text, err := p.wait(ctx, focus, nil)
		if err != nil || text == "" {
			return nil, err
		}
		v, err := strconv.ParseFloat(strings.Replace(text, ",", ".", 1), 64)
		if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
			p.say("%q is no number.", text)
			continue
		}
		if why := fits(v); why != "" {
			p.say("%s", why)
			continue
		}
		return &v, nil
	}
}

// run holds the whole dialogue.
func (p *prover) run(ctx context.Context) error {
	if err := p.open(ctx); err != nil {
		return err
	}
	if err := p.zero(ctx); err != nil {
		return err
	}
	for i, t := range p.targets {
		p.say("\n%d of %d: %s (channel %s)", i+1, len(p.targets), t, t.channel)
		if err := p.proveOne(ctx, t); err != nil {
			p.sum()
			return err
		}
	}
	p.sum()
	return nil
}

// open says what must hold before, and asks who does it.
func (p *prover) open(ctx context.Context) error {
	stores := map[string]bool{}
	var names []string
	for _, t := range p.targets {
		if !stores[t.store] {
			stores[t.store], names = true, append(names, t.store)
		}
	}
	p.say(`Proving %s, before dosing, in %s.

Only while nothing is under gas there: the logbook knows of none, but only you can see it.
Span gas is phosphine, or a surrogate of it, and can be poisonous: two people, doors open, the cylinder in open air, the
end of the tube away from faces, a personal alarm worn. A reading here is no clearance; the store's gate, local law and
the licensed fumigator decide. Stop at any smell, alarm or doubt, and go out. Ctrl-C ends this at any time.
`, count(len(p.targets), "line"), strings.Join(names, ", "))
	text, err := p.ask(ctx, "Is nothing under gas in %s, and was the air measured from the door before going in? Type yes:", strings.Join(names, ", "))
	if err != nil {
		return err
	}
	if !strings.EqualFold(text, "yes") {
		return errors.New("nothing was proved: prove lines when nothing is under gas")
	}
	for p.by == "" {
		if p.by, err = p.ask(ctx, "Who proves the lines? Name:"); err != nil {
			return err
		}
	}
	for p.second == "" || strings.EqualFold(p.second, p.by) {
		if p.second, err = p.ask(ctx, "Who is the second person, at the other end? Name:"); err != nil {
			return err
		}
	}
	for {
		text, err := p.ask(ctx, "Test at the end of each line with span gas (s) or by breathing out (b)?")
		if err != nil {
			return err
		}
		if p.breath = strings.EqualFold(text, "b"); p.breath || strings.EqualFold(text, "s") {
			return nil
		}
	}
}

// zero reads all channels in clean air, together.
func (p *prover) zero(ctx context.Context) error {
	for {
		if _, err := p.ask(ctx, "\nZERO: all ends open, in clean air, no gas let out yet. Press Enter when it is so."); err != nil {
			return err
		}
		if err := p.readZeros(ctx); err != nil {
			return err
		}
		again, err := p.ask(ctx, "Press Enter to go on, or type r to read the zeros again.")
		if err != nil {
			return err
		}
		if again != "r" {
			return nil
		}
	}
}

// readZeros waits for the readings of every channel and says what they are.
func (p *prover) readZeros(ctx context.Context) error {
	p.say("Waiting for %d readings of each channel; Enter goes on without those that do not come.", p.readings)
	got, from, missing := map[string][]float64{}, p.now(), map[string]bool{}
	for _, t := range p.targets {
		missing[t.channel] = true
	}
	var gas error
	_, err := p.wait(ctx, "", func(f proof.Reading) bool {
		if !missing[f.Channel] || f.Fault != "" || f.At.Before(from) {
			return false
		}
		if gas = p.gasInAir(f); gas != nil {
			return true
		}
		if got[f.Channel] = append(got[f.Channel], f.Value); len(got[f.Channel]) >= p.readings {
			delete(missing, f.Channel)
			p.say("  %s has its %d readings, %d to go", f.Channel, p.readings, len(missing))
		}
		return len(missing) == 0
	})
	if err = errors.Join(err, gas); err != nil {
		return err
	}
	p.zeros = map[string]float64{}
	for _, t := range p.targets {
		p.sayZero(t, got[t.channel])
	}
	return nil
}

// gasInAir is the error of a gate air point that reads gas: nobody stays.
func (p *prover) gasInAir(f proof.Reading) error {
	for _, t := range p.targets {
		ch := p.site.Channels[f.Channel]
		if t.point != "" && t.channel == f.Channel && reading.IsGas(ch) && reading.PPM(ch, f.Value) >= p.limit {
			return fmt.Errorf("%s reads %s: go out of %s now. Either there is gas, or this instrument's zero is wrong: "+
				"find out from outside, with a hand meter, and only then begin again", t, figure(f.Value, ch.Unit), t.store)
		}
	}
	return nil
}

// sayZero judges the zero of a target and keeps it.
func (p *prover) sayZero(t target, values []float64) {
	ch := p.site.Channels[t.channel]
	if len(values) == 0 {
		why := "nothing came of it"
		if last := p.heard[t.channel]; len(last) > 0 && last[len(last)-1].Fault != "" {
			why = p.shown(last[len(last)-1])
		}
		p.say("! %s: zero not tested: %s", t, why)
		return
	}
	sum := 0.0
	for _, v := range values {
		sum += v
	}
	mean := sum / float64(len(values))
	p.zeros[t.channel] = mean
	mark, word := " ", "within"
	if math.Abs(mean) > proof.ZeroError(ch) {
		mark, word = "!", "OUTSIDE"
	}
	p.say("%s %s: %s is the mean of %s, %s its zero error of %s", mark, t, figure(mean, ch.Unit), count(len(values), "reading"), word, figure(proof.ZeroError(ch), ch.Unit))
}

// flow asks for the flow at the open end of a line, L/min; nil when it is not tested.
func (p *prover) flow(ctx context.Context, t target) (flow *float64, note string, err error) {
	pump, _ := p.pumpOf(t.channel)
	question, focus := "FLOW: hold a flow meter to the open end. L/min? (Enter: not tested)", ""
	if p.site.Channels[pump.Channel].Unit == logbook.LMin {
		question = fmt.Sprintf("FLOW: hold a flow meter to the open end. L/min? (Enter: take what channel %s of pump %s reads)", pump.Channel, pump.Name)
		focus = pump.Channel
	}
	flow, err = p.askNumber(ctx, question, focus, func(v float64) string {
		if v < 0 || v > 1000 {
			return "A flow is from 0 to 1000 L/min."
		}
		return ""
	})
	if err != nil {
		return nil, "", err
	}
	_, own := p.pumpOf(t.channel)
	if flow == nil {
		flow = own
	}
	if flow == nil {
		p.say("  flow not tested")
		return nil, "", nil
	}
	return flow, p.judgeFlow(pump, *flow, own), nil
}

// judgeFlow says what is odd about a flow, and returns a note; own is what the
// pump's channel read, nil when it did not.
func (p *prover) judgeFlow(pump logbook.Pump, flow float64, own *float64) (note string) {
	if least := pump.LeastFlow(); pump.Name != "" && flow < least {
		p.say("! %s is less than the %s under which pump %s counts as off: look for a kink, water or a blocked filter.", figure(flow, logbook.LMin), figure(least, logbook.LMin), pump.Name)
	}
	if own == nil {
		return ""
	}
	if math.Abs(flow-*own) > leakyFlow**own {
		p.say("! the pump's channel reads %s and the open end %s: the line draws air on its way, or one of the two meters is wrong.", figure(*own, logbook.LMin), figure(flow, logbook.LMin))
	}
	return fmt.Sprintf("pump %s read %s", pump.Name, figure(*own, logbook.LMin))
}

// pumpOf returns the pump that draws the samples of a channel, and its flow in
// L/min when a channel read that lately.
func (p *prover) pumpOf(channel string) (pump logbook.Pump, flow *float64) {
	for _, pump := range p.site.Pumps {
		for _, drawn := range pump.Draws {
			if drawn != channel {
				continue
			}
			last := p.heard[pump.Channel]
			if len(last) == 0 || p.site.Channels[pump.Channel].Unit != logbook.LMin {
				return pump, nil
			}
			if f := last[len(last)-1]; f.Fault == "" && f.Value >= 0 && p.now().Sub(f.At) <= reading.MinGap {
				return pump, &f.Value
			}
			return pump, nil
		}
	}
	return logbook.Pump{}, nil
}
