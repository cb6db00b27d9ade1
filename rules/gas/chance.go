package gas

import (
	"time"

	"undersheet/logbook"
	"undersheet/rules/treatment"
)

// Figures of the chance that the end level is met.
const (
	PoorChance    = 0.5           // at two forecasts in a row the end level is at risk
	hopelessBelow = 0.2           // at one
	fairChance    = 0.7           // it is no longer at risk
	collapseFor   = 6 * time.Hour // how fast a fair chance must have become a hopeless one to be said to collapse: with another fall like it, nothing is left to mend by daylight
)

// Figures of a chance that says little yet. The prior of the loss rate spans a factor of
// some 4 either way, which over weeks of exposure makes any chance poor.
const (
	earlyLeft = 8 * 24 * time.Hour // as long as the longer of the usual exposures takes: so much time left is enough for whatever is to be done
	earlyFor  = 4 * 24 * time.Hour // after dosing: by then something is known, or nothing is read
	vagueLoss = 0.5                // standard deviation of ln of the loss rate; 0.8 before the readings tell anything
	lostBelow = 0.1                // a chance so poor is told at once
)

// Risk is what the newest forecast says of the end level.
type Risk struct {
	AtRisk     bool
	Collapsing bool // the chance falls so fast that it is likely to be lost before first light
	Unsettled  bool // a fit that has just been told of a leak swings to and fro: nothing is over yet
}

// Risk judges the chance of the newest forecast, one at each, at an hour of exposure. told says
// whether people were told that the end level is at risk, leak whether an alarm of a leak stands.
func (g *State) Risk(t *treatment.Treatment, now logbook.Time, hour int, chance float64, told, leak bool) Risk {
	if g.Atlow++; chance >= PoorChance {
		g.Atlow, g.FairAt = 0, now
	}
	poor := g.Atlow >= 2 || chance < hopelessBelow
	return Risk{
		AtRisk:     told && chance < fairChance || poor && !(g.tooEarly(t, now) && chance >= lostBelow),
		Collapsing: leak && g.collapsing(now, chance),
		Unsettled:  told && chance >= fairChance && g.Fit.Learning(float64(hour)),
	}
}

// collapsing reports whether the chance of the end level is under 0.2 and was at least 0.5
// within the last 6 hours. Without a leak it is the fit that learns, not the gas that goes.
// It knows no clock on the wall: who tells people knows whether it is night.
func (g *State) collapsing(now logbook.Time, chance float64) bool {
	return chance < hopelessBelow && g.FairAt != 0 && now.Sub(g.FairAt) <= collapseFor
}

// tooEarly reports whether the chance of the end level still rests on what loss rates
// sheets have rather than on the readings of this one, while more than enough time is left.
// Where a leak stands it does not.
func (g *State) tooEarly(t *treatment.Treatment, now logbook.Time) bool {
	_, sd := g.Fit.LossPerDay()
	return t.PlannedEnd.Sub(now) > earlyLeft && now.Sub(t.Started) < earlyFor && sd > vagueLoss && !g.Leaking()
}
