package main

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"undersheet/logbook"
	"undersheet/rules/proof"
)

// breathTest has somebody breathe out at the end of a line, and asks the
// technician what was seen. It fills in e and returns what else is to be noted.
func (p *prover) breathTest(ctx context.Context, t target, e *logbook.LineProved) (note string, err error) {
	e.EndTest = logbook.EndTestBreath
	if _, err := p.ask(ctx, "END OF LINE: breathe out slowly into the end of %s, never in; press Enter at that moment.", t); err != nil {
		return "", err
	}
	w := proof.WatchBreath(p.site, p.heard, p.now())
	p.say("Watching every channel; press Enter when it has had time to show.")
	if _, err := p.wait(ctx, t.channel, func(r proof.Reading) bool { w.Take(r); return false }); err != nil {
		return "", err
	}
	moved := w.Moved()
	for _, name := range slices.Sorted(slices.Values(moved)) {
		by, after, _ := w.Move(name)
		p.say("  moved: %s by %s after %v", p.placeOf(name), figure(by, p.site.Channels[name].Unit), after.Round(time.Second))
	}
	if len(moved) == 0 {
		p.say("  no channel moved more than it does by itself")
	}
	for text := ""; !strings.EqualFold(text, "y") && !strings.EqualFold(text, "n"); {
		if text, err = p.ask(ctx, "Did %s, and no other line, show the breath? y or n:", t); err != nil {
			return "", err
		}
		e.Seen = strings.EqualFold(text, "y")
	}
	elsewhere := slices.DeleteFunc(slices.Clone(moved), func(name string) bool { return name == t.channel || p.placeOf(name) == "channel "+name })
	switch {
	case slices.Contains(moved, t.channel):
		e.Channel = t.channel
	case len(elsewhere) > 0:
		e.Channel = elsewhere[0]
	case len(moved) > 0: // that of no line, such as a pump's flow
		e.Channel = moved[0]
	}
	_, lag, _ := w.Move(e.Channel)
	e.Lag = logbook.Duration(lag)
	if e.Seen && len(elsewhere) > 0 {
		e.Seen = false
		note = fmt.Sprintf("the technician saw it here, the figures moved at %s too", strings.Join(elsewhere, ", "))
		p.say("! the figures say otherwise: %s moved. It is recorded as not shown; test again if that was chance.", p.placeOf(elsewhere[0]))
	}
	return note, nil
}
