package rules

import (
	"math"
	"strings"

	"undersheet/logbook"
	"undersheet/rules/proof"
)

// lineProved judges a proof and remembers it. The newest counts.
func (s *State) lineProved(e *logbook.LineProved) {
	name, channel, known := s.provedLine(e)
	if !known {
		code, about := "unknown-line", e.Line
		if e.Point != "" {
			code, about = "unknown-point", e.Point
		}
		s.find(logbook.Finding{Code: code, Store: e.Store, Stack: e.Stack, About: about})
		return
	}
	at := min(e.Time, s.At)
	p := proof.Proof{At: at, By: e.By, Channel: channel, OK: true}
	for _, l := range proof.Lacks(e, s.Site, channel, s.wires.Pump(channel)) {
		p.OK, p.Why = false, append(p.Why, l.Code)
		s.find(logbook.Finding{Code: "line-proof-failed", Store: e.Store, Stack: e.Stack, Line: name, Channel: channel, About: l.Code,
			Value: logbook.Number(clip(l.Value)), Limit: logbook.Number(clip(l.Limit))})
	}
	if e.Point != "" {
		s.store(e.Store).Proofs.Keep(name, p)
		return
	}
	k := s.stack(e.Stack)
	k.Proofs.Keep(name, p)
	k.event(at, e.Kind, name)
}

// clip keeps a figure that was typed in within what a record can hold.
func clip(v float64) float64 { return math.Max(-1e12, math.Min(v, 1e12)) }

// provedLine returns the site's own name and channel of what a proof is of.
func (s *State) provedLine(e *logbook.LineProved) (name, channel string, known bool) {
	if e.Point != "" {
		site, _ := s.siteStore(e.Store)
		for _, p := range site.Air {
			if strings.EqualFold(p.Name, strings.TrimSpace(e.Point)) {
				return p.Name, p.Channel, true
			}
		}
		return "", "", false
	}
	site, _ := s.siteStack(e.Stack)
	for _, l := range site.Lines {
		if strings.EqualFold(l.Name, strings.TrimSpace(e.Line)) {
			return l.Name, l.Channel, true
		}
	}
	return "", "", false
}

// notProved notes each line of a stack that has no good proof since its last
// treatment: airing lifts sheets, and lines move with them. Without instruments in
// the site file there are no lines to prove.
func (s *State) notProved(k *Stack, stack string) {
	if len(s.Site.Instruments) == 0 {
		return
	}
	since := logbook.Time(0)
	if t := k.Treatment; t != nil {
		since = max(t.DosingAt, t.AiringFirst)
	}
	site, _ := s.siteStack(stack)
	for _, l := range site.Lines {
		p := k.Proofs.Of(l.Name, l.Channel)
		if p != nil && p.OK && p.At > since {
			continue
		}
		f := logbook.Finding{Code: "line-not-proved", Store: k.Store, Stack: stack, Line: l.Name}
		if p != nil {
			f.Value = logbook.Number(s.At.Hours(p.At) / 24)
		}
		s.find(f)
	}
}
