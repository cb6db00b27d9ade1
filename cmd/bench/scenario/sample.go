package scenario

import (
	"math"
	"sort"
)

// sample reads the lines through their instruments.
func (p *plan) sample(t *Truth, d, gaps draws) []Reading {
	silent := p.silences(gaps)
	held, last := make([]float64, len(p.lines)), make([]float64, len(p.lines))
	var out []Reading
	for round := 0; ; round++ {
		start := float64(round) * p.every
		if start > Hours {
			break
		}
		for l := range p.lines {
			s := &p.lines[l]
			h := start + s.offset
			r := Reading{Hours: h, Line: l}
			raw := p.drawn(t, l, h, held, d)
			r.PPM, r.Spike = s.read(raw, h, d)
			if p.trouble.Kind == Stuck && p.strikes(l, h) || p.trouble.Form == ToDigit && p.during(h) {
				r.PPM, r.Spike = last[l], false
			}
			last[l] = r.PPM
			if p.trouble.Form == Flicker && p.strikes(l, h) {
				r.PPM += s.digit * float64(p.form.IntN(2))
			}
			if h <= Hours && !silent[l].has(h) && !(p.trouble.Kind == PowerCut && p.during(h)) {
				out = append(out, r)
			}
		}
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].Hours < out[j].Hours })
	return out
}

// read gives what the instrument makes of ppm. It draws as often whatever comes.
func (s *sensor) read(ppm, hours float64, d draws) (reading float64, spike bool) {
	z := d.NormFloat64()
	if s.tails {
		z = d.tail()
	}
	zero, chance, size := d.NormFloat64(), d.Float64(), d.NormFloat64()
	v := ppm*math.Exp(s.gain+s.drift*hours/24)*math.Max(0, 1+s.share*z) + s.floor*zero
	if spike = chance < s.spikes; spike {
		v *= math.Exp(0.8 * size)
	}
	return s.round(v), spike
}

// round caps and rounds as the instrument does.
func (s *sensor) round(v float64) float64 {
	if s.range_ > 0 {
		v = math.Min(v, s.range_)
	}
	if s.digit > 0 {
		v = math.Round(v/s.digit) * s.digit
	}
	return math.Max(v, 0)
}

// gap is a stretch without readings.
type gap struct{ from, until float64 }

type gapList []gap

func (gs gapList) has(h float64) bool {
	for _, g := range gs {
		if h >= g.from && h < g.until {
			return true
		}
	}
	return false
}

// silences draws the gaps of each line: some of all lines, some of one.
func (p *plan) silences(d draws) []gapList {
	out := make([]gapList, len(p.lines))
	if p.lines[0].spikes == 0 && !p.lines[0].tails {
		return out // the clean family has none
	}
	draw := func() gap {
		from := d.between(4, Hours-8)
		return gap{from, from + d.ratio(0.5, 8)}
	}
	for range d.IntN(3) {
		g := draw()
		for l := range out {
			out[l] = append(out[l], g)
		}
	}
	for l := range out {
		if d.Float64() < 0.3 {
			out[l] = append(out[l], draw())
		}
	}
	return out
}
