package scenario

import (
	"math"

	"undersheet/rules/decay"
)

// The sheet is open a little while phosphine is laid: gas spaces per day, hours.
const (
	laidFlow  = 2.0
	laidHours = 0.25
)

// befall lets a trouble come over the plan. It draws the same whatever it is.
func (p *plan) befall(t Trouble, d draws) {
	onset, line, lasts, other := d.between(30, 84), d.IntN(len(p.lines)), d.ratio(4, 24), 1+d.IntN(max(len(p.lines)-1, 1))
	share := d.between(0.25, 0.6)
	p.trouble, p.until, p.other = t, Hours+1, -1
	if t.Kind == None {
		p.trouble.Line, p.until = -1, 0
		return
	}
	if t.Onset == 0 {
		p.trouble.Onset = onset
	}
	if t.Factor == 0 {
		p.trouble.Factor = 2
	}
	if t.Line == 0 {
		t.Line = line + 1
	}
	p.trouble.Line = min(t.Line, len(p.lines)) - 1
	switch t.Kind {
	case TearByLine, TearElsewhere, Skirt:
		if t.Mended > 0 {
			p.until = t.Mended
		}
		p.tear()
		if t.Mended > 0 && t.Topped {
			p.add(t.Mended, share)
		}
	case DoseAdded:
		p.trouble.Line = -1
		p.add(p.trouble.Onset, share)
	case Swapped:
		p.other = (p.trouble.Line + other) % len(p.lines)
		p.until = p.trouble.Onset + lasts
	case LineOff, Blocked, Stuck:
		p.until = p.trouble.Onset + lasts
	case PumpStop, PowerCut:
		p.trouble.Line, p.until = -1, p.trouble.Onset+lasts/2
	}
}

// add lays a share of the first dose at hours.
func (p *plan) add(hours, share float64) {
	dose := decay.Dose{Hours: hours, Grams: math.Round(share * p.grams)}
	p.told, p.gas.added = []decay.Dose{dose}, []decay.Dose{dose}
	p.gas.tears = append(p.gas.tears, tear{p.bare(), laidFlow, hours - laidHours, hours})
}

// tear adds leakage: the loss rate of the whole stack becomes Factor times what
// it was.
func (p *plan) tear() {
	more := (p.trouble.Factor - 1) * p.loss()
	add := func(node int, flow float64) {
		p.gas.tears = append(p.gas.tears, tear{node, flow, p.trouble.Onset, p.until})
	}
	line := p.trouble.Line
	p.trouble.Line = -1
	switch p.trouble.Kind {
	case TearByLine:
		add(p.nodeOf[line], more)
		if len(p.gas.volume) > 1 {
			p.trouble.Line = line
		}
	case TearElsewhere:
		add(p.bare(), more)
	case Skirt:
		for i, e := range p.gas.edge {
			add(i, e*more)
		}
	}
}

// bare is a node without a line, or the only node.
func (p *plan) bare() int {
	taken := map[int]bool{}
	for _, n := range p.nodeOf {
		taken[n] = true
	}
	for n := range p.gas.volume {
		if !taken[n] {
			return n
		}
	}
	return 0
}

// during reports whether the trouble lasts at hours.
func (p *plan) during(hours float64) bool { return hours >= p.trouble.Onset && hours < p.until }

// strikes reports whether the trouble is a line's at hours.
func (p *plan) strikes(line int, hours float64) bool {
	return line == p.trouble.Line && p.during(hours)
}

// drawn is the concentration that reaches the instrument of a line; held remembers
// the last one from before the trouble.
func (p *plan) drawn(t *Truth, line int, hours float64, held []float64, d draws) float64 {
	air := 0.3 * d.Float64() // gas in the store's air
	ppm := t.PPM(line, hours)
	if p.trouble.Kind == None || !p.during(hours) {
		held[line] = ppm
		return ppm
	}
	since := hours - p.trouble.Onset
	one := line == p.trouble.Line
	switch {
	case p.trouble.Form != Usual && p.formed(line):
		return p.shown(ppm, held[line], air, since)
	case p.trouble.Kind == LineOff && one:
		return air
	case (p.trouble.Kind == Blocked || p.trouble.Kind == Stuck) && one:
		return held[line]
	case p.trouble.Kind == Swapped && one:
		return t.PPM(p.other, hours)
	case p.trouble.Kind == Swapped && line == p.other:
		return t.PPM(p.trouble.Line, hours)
	case p.trouble.Kind == Drifting && one:
		return ppm * math.Exp(p.driftRate()*since/24)
	case p.trouble.Kind == PumpStop && p.consumes():
		return held[line] * math.Exp(-since/0.4)
	case p.trouble.Kind == PumpStop:
		return held[line]
	}
	return ppm
}

// formed reports whether what reaches the instrument of a line is of another form than
// the usual.
func (p *plan) formed(line int) bool {
	switch p.trouble.Form {
	case SomeGas, Slowly, Seeping:
		return line == p.trouble.Line
	case Slow:
		return true
	}
	return false
}

// shown is what then reaches it, of the gas at the line's end, what stood in the line and
// the air of the store.
func (p *plan) shown(ppm, held, air, since float64) float64 {
	scale := func(low, high float64) float64 { return low * math.Pow(high/low, p.size) }
	switch p.trouble.Form {
	case SomeGas:
		return air + scale(2, 30)
	case Slowly:
		return air + ppm*max(1-since/scale(0.3, 2), 0)
	case Seeping:
		return air + held*math.Exp(-since/scale(6, 48))
	}
	return held * math.Exp(-since/scale(1, 5))
}

// driftRate is how a drifting instrument's gain changes, ln per day: −25 to +25 %,
// by where the trouble fell.
func (p *plan) driftRate() float64 {
	size := 0.08 + 0.17*math.Mod(p.trouble.Onset, 1)
	if p.trouble.Line%2 == 0 {
		return -size
	}
	return size
}

// consumes reports whether the cells use up the gas that stands in them: half of
// the stacks, by their digits.
func (p *plan) consumes() bool { return int(p.trouble.Onset*10)%2 == 0 }
