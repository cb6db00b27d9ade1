package rules

import (
	"math"

	"undersheet/logbook"
	"undersheet/rules/plan"
	"undersheet/rules/protocol"
	"undersheet/rules/treatment"
)

// Figures of an outlook.
const (
	wantChance = 0.95 // of every line at or above the end level
	longerBy   = 24.0 // hours: steps of a longer exposure that are tried
	longerMost = 3    // steps
	lookFar    = 720  // hours: a later end is a slip of the keyboard, and would take long to reckon
)

// outlook is what can still be done for the end level. It is reckoned from draws of the
// posterior (some 20 ms) when somebody asks, and kept until the next refit. It says nothing
// of more gas where insects lived through gas that held the end level.
func (s *State) outlook(k *Stack, t *treatment.Treatment) (*logbook.Outlook, []float64) {
	g := k.Gas
	now, end := s.At.Hours(t.Started), t.PlannedEnd.Hours(t.Started)
	if t.Phase != logbook.PhaseExposure || s.At >= t.PlannedEnd || now < forecastFrom || end > now+lookFar {
		return nil, nil
	}
	if o := g.ahead; o != nil && o.PlannedEnd == t.PlannedEnd {
		return o.Outlook, o.CTP
	}
	low, ok := g.Fit.Lowest(end, t.EndPPM())
	if !ok {
		return nil, nil
	}
	o := &logbook.Outlook{Stack: t.Stack, At: s.At, For: t.PlannedEnd, EndPPM: t.EndPPM(), Chance: low.ChanceMet, Want: wantChance}
	ctp, _ := g.Fit.ExpectedCTP(now, end)
	for i := range ctp {
		ctp[i] += t.Lines[i].CTP.PPMh
	}
	if o.Chance < wantChance {
		o.Leaking = g.leaking()
		hour := func(h float64) logbook.Time { return t.Started.Add(treatment.Hours(h)) }
		if h, ok := g.Fit.LongestHeld(now, end, o.EndPPM, wantChance); ok {
			o.HeldUntil = hour(h)
		}
		for i := 1; i <= longerMost && o.Longer == 0; i++ {
			h := end + float64(i)*longerBy
			if low, ok := g.Fit.Lowest(h, o.EndPPM); ok && low.ChanceMet >= wantChance {
				o.Longer = hour(h)
			}
		}
		o.TopUp = k.topUp(t, now, end, s.At)
		o.Other = s.otherEnd(g, t)
	}
	g.ahead = &lookedAhead{PlannedEnd: t.PlannedEnd, Outlook: o, CTP: ctp}
	return o, ctp
}

// lookedAhead is an outlook and the CTP to come, with what it was reckoned for.
type lookedAhead struct {
	PlannedEnd logbook.Time
	Outlook    *logbook.Outlook
	CTP        []float64 // ppm·h that each line is expected to have gathered by the planned end
}

// topUp is how much phosphine, added now, would restore the end level, and until when adding
// as much as was laid at first would.
func (k *Stack) topUp(t *treatment.Treatment, now, end float64, at logbook.Time) logbook.TopUp {
	if k.resists() {
		return logbook.TopUp{}
	}
	g, given := k.Gas, t.Given
	up := logbook.TopUp{Most: given.PhosphineG}
	if !(up.Most > 0) {
		return up
	}
	up.Known, up.Airing = true, t.EarliestAiring(at, k.release())
	if grams, ok := g.Fit.TopUp(now, end, t.EndPPM(), wantChance); ok && grams <= up.Most {
		up.Grams = math.Ceil(grams)
		if h, ok := g.Fit.LatestTopUp(up.Most, now, end, t.EndPPM(), wantChance); ok {
			up.Until = t.Started.Add(treatment.Hours(h))
		}
	}
	if given.Count > 0 && given.Form != "" {
		up.Piece, up.Form = given.PhosphineG/float64(given.Count), given.Form
	} else if f, ok := plan.FormOf(given.Form); ok {
		up.Piece, up.Form = f.GasG, f.Name
	}
	return up
}

// otherEnd is the chance under the eight-day protocol, where that is longer than the
// treatment's own and has a lower end level.
func (s *State) otherEnd(g *Gas, t *treatment.Treatment) logbook.OtherEnd {
	p, _ := protocol.Resolve(s.Site, protocol.EightDay)
	end := t.Started.Add(treatment.Hours(p.Hours))
	ppm := protocol.EndPPM(p)
	if end <= t.PlannedEnd || ppm >= t.EndPPM() {
		return logbook.OtherEnd{}
	}
	low, ok := g.Fit.Lowest(p.Hours, ppm)
	if !ok {
		return logbook.OtherEnd{}
	}
	return logbook.OtherEnd{Protocol: protocol.EightDay, End: end, EndPPM: ppm, Chance: low.ChanceMet}
}

// showAhead adds what is to come.
func (s *State) showAhead(v *StackView, k *Stack, t *treatment.Treatment) {
	o, ctp := s.outlook(k, t)
	if o == nil {
		return
	}
	shown := *o
	v.Outlook = &shown
	for i, c := range ctp {
		v.Lines[i].CTPByEnd = c
	}
}
