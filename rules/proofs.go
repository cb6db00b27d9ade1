package rules

import (
	"math"
	"slices"
	"strings"

	"undersheet/logbook"
	"undersheet/rules/dose"
	"undersheet/rules/proof"
	"undersheet/rules/reading"
)

// What a proof of a line may lack.
const (
	proofNotSeen   = "not-seen"      // its channel did not answer to the test at the end, or others did too
	proofChannel   = "other-channel" // another channel answered
	proofNoZero    = "zero-missing"  // the zero was not tested
	proofZero      = "zero"          // the zero is further from 0 than the zero error
	proofFlow      = "flow"          // less flow than the pump must draw at least
	proofSpan      = "span"          // the span gas was not read within the accuracy
	proofUnit      = "unit"          // figures in a unit that the channel cannot have
	proofNoChannel = "no-channel"    // the site describes no such channel
)

// Proof is how the last proof of a line, or of the line of an air point, ended.
type Proof struct {
	At      logbook.Time
	By      string
	Channel string // that the site had there: of another one it shows nothing
	OK      bool
	Why     []string // what it lacks, as codes
}

// lack is one thing that a proof lacks, with the figure and what it is held against.
type lack struct {
	code         string
	value, limit float64
}

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
	p := Proof{At: at, By: e.By, Channel: channel, OK: true}
	for _, l := range s.lacks(e, channel) {
		p.OK, p.Why = false, append(p.Why, l.code)
		s.find(logbook.Finding{Code: "line-proof-failed", Store: e.Store, Stack: e.Stack, Line: name, Channel: channel, About: l.code,
			Value: logbook.Number(clip(l.value)), Limit: logbook.Number(clip(l.limit))})
	}
	if e.Point != "" {
		keepProof(&s.store(e.Store).Proofs, name, p)
		return
	}
	k := s.stack(e.Stack)
	keepProof(&k.Proofs, name, p)
	k.event(at, e.Kind, name)
}

// clip keeps a figure that was typed in within what a record can hold.
func clip(v float64) float64 { return math.Max(-1e12, math.Min(v, 1e12)) }

// keepProof puts a proof in the place of an older one.
func keepProof(in *map[string]Proof, name string, p Proof) {
	if *in == nil {
		*in = map[string]Proof{}
	}
	if old, ok := (*in)[name]; !ok || old.At <= p.At {
		(*in)[name] = p
	}
}

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

// lacks lists what a proof lacks: the line's own channel, and no other, must have
// answered at the end; its zero must lie within the zero error, the flow at the end
// must be what the pump draws at least, and a span gas must be read within accuracy,
// zero error and one digit. What was not tested shows nothing: without a zero there
// is no proof; a flow is held against the pump's only where both are known.
func (s *State) lacks(e *logbook.LineProved, channel string) (out []lack) {
	ch, known := s.Site.Channels[channel]
	if !known {
		return []lack{{code: proofNoChannel}}
	}
	if !e.Seen {
		out = append(out, lack{code: proofNotSeen})
	}
	if e.Channel != "" && e.Channel != channel {
		out = append(out, lack{code: proofChannel})
	}
	zeroError := reading.PPM(ch, proof.ZeroError(ch))
	if e.Zero == nil {
		out = append(out, lack{code: proofNoZero})
	} else if zero, err := ppmOf(*e.Zero, e.Unit); err != nil {
		out = append(out, lack{code: proofUnit})
	} else if !(math.Abs(zero) <= zeroError) {
		out = append(out, lack{proofZero, zero, zeroError})
	}
	if p := s.pumpOf(channel); p != nil && e.Flow != nil && p.LeastFlow() > 0 && !(*e.Flow >= p.LeastFlow()) {
		out = append(out, lack{proofFlow, *e.Flow, p.LeastFlow()})
	}
	if e.EndTest != logbook.EndTestSpan {
		return out
	}
	span, errSpan := ppmOf(e.Span, e.Unit)
	read, errRead := ppmOf(e.Read, e.Unit)
	shown, fits := reading.InChannelUnit(ch, e.Span, e.Unit)
	if errSpan != nil || errRead != nil || !fits {
		return append(out, lack{code: proofUnit})
	}
	if !(math.Abs(read-span) <= reading.PPM(ch, proof.SpanError(ch, shown))) {
		out = append(out, lack{proofSpan, read, span})
	}
	return out
}

// ppmOf brings a figure of a proof to ppm at 25 °C.
func ppmOf(value float64, unit string) (float64, error) {
	return dose.PPM(value, unit, dose.StandardC, dose.StandardKPa)
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
		p := proofView(k.Proofs, l.Name, l.Channel)
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

// proofView shows the last proof of a line that reads a channel; nil = none on record.
func proofView(in map[string]Proof, name, channel string) *Proof {
	p, ok := in[name]
	if !ok || p.Channel != channel {
		return nil
	}
	p.Why = slices.Clone(p.Why)
	return &p
}
