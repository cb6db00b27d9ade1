package proof

import (
	"math"
	"slices"

	"undersheet/logbook"
	"undersheet/rules/dose"
	"undersheet/rules/reading"
)

// What a proof on record may lack.
const (
	NotSeen      = "not-seen"      // its channel did not answer to the test at the end, or others did too
	OtherChannel = "other-channel" // another channel answered
	NoZero       = "zero-missing"  // the zero was not tested
	ZeroOff      = "zero"          // the zero is further from 0 than the zero error
	TooLittle    = "flow"          // less flow than the pump must draw at least
	SpanOff      = "span"          // the span gas was not read within the accuracy
	WrongUnit    = "unit"          // figures in a unit that the channel cannot have
	NoChannel    = "no-channel"    // the site describes no such channel
)

// Lack is one thing that a proof lacks, with the figure and what it is held against.
type Lack struct {
	Code         string
	Value, Limit float64
}

// Lacks lists what a proof lacks of a line that reads a channel and whose samples a pump
// draws, nil where none is known: the line's own channel, and no other, must have
// answered at the end; its zero must lie within the zero error, the flow at the end
// must be what the pump draws at least, and a span gas must be read within accuracy,
// zero error and one digit. What was not tested shows nothing: without a zero there
// is no proof; a flow is held against the pump's only where both are known.
func Lacks(e *logbook.LineProved, site *logbook.Site, channel string, pump *logbook.Pump) (out []Lack) {
	ch, known := site.Channels[channel]
	if !known {
		return []Lack{{Code: NoChannel}}
	}
	if !e.Seen {
		out = append(out, Lack{Code: NotSeen})
	}
	if e.Channel != "" && e.Channel != channel {
		out = append(out, Lack{Code: OtherChannel})
	}
	zeroError := reading.PPM(ch, ZeroError(ch))
	if e.Zero == nil {
		out = append(out, Lack{Code: NoZero})
	} else if zero, err := ppmOf(*e.Zero, e.Unit); err != nil {
		out = append(out, Lack{Code: WrongUnit})
	} else if !(math.Abs(zero) <= zeroError) {
		out = append(out, Lack{ZeroOff, zero, zeroError})
	}
	if pump != nil && e.Flow != nil && pump.LeastFlow() > 0 && !(*e.Flow >= pump.LeastFlow()) {
		out = append(out, Lack{TooLittle, *e.Flow, pump.LeastFlow()})
	}
	if e.EndTest != logbook.EndTestSpan {
		return out
	}
	span, errSpan := ppmOf(e.Span, e.Unit)
	read, errRead := ppmOf(e.Read, e.Unit)
	shown, fits := reading.InChannelUnit(ch, e.Span, e.Unit)
	if errSpan != nil || errRead != nil || !fits {
		return append(out, Lack{Code: WrongUnit})
	}
	if !(math.Abs(read-span) <= reading.PPM(ch, SpanError(ch, shown))) {
		out = append(out, Lack{SpanOff, read, span})
	}
	return out
}

// ppmOf brings a figure of a proof to ppm at 25 °C.
func ppmOf(value float64, unit string) (float64, error) {
	return dose.PPM(value, unit, dose.StandardC, dose.StandardKPa)
}

// Proof is how the last proof of a line, or of the line of an air point, ended.
type Proof struct {
	At      logbook.Time
	By      string
	Channel string // that the site had there: of another one it shows nothing
	OK      bool
	Why     []string // what it lacks, as codes
}

// Kept are the last proofs of lines, by name.
type Kept map[string]Proof

// Keep puts a proof in the place of an older one.
func (ps *Kept) Keep(line string, p Proof) {
	if *ps == nil {
		*ps = Kept{}
	}
	if old, ok := (*ps)[line]; !ok || old.At <= p.At {
		(*ps)[line] = p
	}
}

// Of returns the last proof of a line that reads a channel; nil = none on record.
func (ps Kept) Of(line, channel string) *Proof {
	p, ok := ps[line]
	if !ok || p.Channel != channel {
		return nil
	}
	p.Why = slices.Clone(p.Why)
	return &p
}
