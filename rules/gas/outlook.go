package gas

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

// Outlook is what can still be done for the end level, and the ppm·h that each line is
// expected to have gathered by the planned end; nil where that is not known, or the exposure
// is over. It is reckoned from draws of the posterior (some 20 ms) when somebody asks, and
// kept until the next refit. It says nothing of more gas where insects of the stack resist.
func (g *State) Outlook(site *logbook.Site, t *treatment.Treatment, at logbook.Time, resist bool) (*logbook.Outlook, []float64) {
	now, end := at.Hours(t.Started), t.PlannedEnd.Hours(t.Started)
	if t.Phase != logbook.PhaseExposure || at >= t.PlannedEnd || now < ForecastFrom || end > now+lookFar {
		return nil, nil
	}
	if o := g.ahead; o != nil && o.plannedEnd == t.PlannedEnd && o.resist == resist {
		return o.outlook, o.ctp
	}
	low, ok := g.Fit.Lowest(end, t.EndPPM())
	if !ok {
		return nil, nil
	}
	o := &logbook.Outlook{Stack: t.Stack, At: at, For: t.PlannedEnd, EndPPM: t.EndPPM(), Chance: low.ChanceMet, Want: wantChance}
	ctp, _ := g.Fit.ExpectedCTP(now, end)
	for i := range ctp {
		ctp[i] += t.Lines[i].CTP.PPMh
	}
	if o.Chance < wantChance {
		o.Leaking = g.Leaking()
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
		if !resist {
			o.TopUp = g.topUp(t, at)
		}
		o.Other = g.otherEnd(site, t)
	}
	g.ahead = &lookedAhead{o, ctp, t.PlannedEnd, resist}
	return o, ctp
}

// lookedAhead is an outlook and the CTP to come, with what it was reckoned for.
type lookedAhead struct {
	outlook    *logbook.Outlook
	ctp        []float64
	plannedEnd logbook.Time
	resist     bool
}

// topUp is how much phosphine, added now, would restore the end level, and until when adding
// as much as was laid at first would.
func (g *State) topUp(t *treatment.Treatment, at logbook.Time) logbook.TopUp {
	now, end, given := at.Hours(t.Started), t.PlannedEnd.Hours(t.Started), t.Given
	up := logbook.TopUp{Most: given.PhosphineG}
	if !(up.Most > 0) {
		return up
	}
	up.Known, up.Airing = true, t.EarliestAiring(at, g.ReleasePerDay())
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
func (g *State) otherEnd(site *logbook.Site, t *treatment.Treatment) logbook.OtherEnd {
	p, _ := protocol.Resolve(site, protocol.EightDay)
	end := t.EndOf(treatment.Hours(p.Hours))
	ppm := protocol.EndPPM(p)
	if end <= t.PlannedEnd || ppm >= t.EndPPM() {
		return logbook.OtherEnd{}
	}
	low, ok := g.Fit.Lowest(end.Hours(t.Started), ppm)
	if !ok {
		return logbook.OtherEnd{}
	}
	return logbook.OtherEnd{Protocol: protocol.EightDay, End: end, EndPPM: ppm, Chance: low.ChanceMet}
}
