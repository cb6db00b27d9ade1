package gas

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"undersheet/logbook"
	"undersheet/rules/treatment"
)

// exposed is a stack some days before its planned end.
func exposed(days float64) (*State, *treatment.Treatment) {
	under := &treatment.Treatment{Started: logbook.At(time.Date(2026, 4, 6, 8, 0, 0, 0, time.UTC)), Lines: make([]treatment.Line, 2)}
	under.PlannedEnd = under.Started.Add(treatment.Hours(24 * days))
	return New(&logbook.Site{}, under, 27), under
}

// A chance that collapses while a leak stands wakes people: from fair to hopeless
// within six hours. A fit that only learns does not.
func TestCollapsingChance(t *testing.T) {
	g, under := exposed(5)
	now := under.Started.Add(30 * time.Hour)
	collapses := func(chance float64, leak bool) bool { return g.Risk(under, now, 30, chance, false, leak).Collapsing }
	assert.False(t, collapses(0.19, true), "it was never fair")
	assert.False(t, collapses(0.5, true))
	assert.False(t, collapses(0.19, false), "no leak stands")
	assert.True(t, collapses(0.19, true))
	assert.False(t, collapses(0.2, true))
	now = now.Add(6 * time.Hour)
	assert.True(t, collapses(0.19, true))
	now = now.Add(time.Second)
	assert.False(t, collapses(0.19, true), "it fell slowly")
}

// Under 0.5 twice or under 0.2 once, and over from 0.7 on: the figures are of the bench.
func TestChanceAtRisk(t *testing.T) {
	g, under := exposed(5)
	now, told := under.Started.Add(30*time.Hour), false
	for i, c := range []struct {
		chance float64
		risk   bool
	}{{0.49, false}, {0.5, false}, {0.49, false}, {0.49, true}, {0.69, true}, {0.7, false}, {0.69, false}, {0.19, true}} {
		told = g.Risk(under, now, 30, c.chance, told, false).AtRisk
		assert.Equal(t, c.risk, told, i)
	}
}

// Weeks before the end, in the first days, and before the readings have told how tight the
// sheet is, only a chance that is all but lost is told.
func TestChanceThatSaysLittleYet(t *testing.T) {
	g, under := exposed(20)
	now := under.Started.Add(30 * time.Hour)
	for h := range 3 {
		g.Fit.Observe(float64(h), 0, 300)
		g.Fit.Observe(float64(h), 1, 300)
	}
	g.Fit.Update(30)
	_, sd := g.Fit.LossPerDay()
	require.Greater(t, sd, 0.5, "three hours tell nothing of the loss rate")
	assert.False(t, g.Risk(under, now, 30, 0.15, false, false).AtRisk)
	assert.True(t, g.Risk(under, now, 30, 0.09, false, false).AtRisk)
	now = under.Started.Add(96 * time.Hour)
	assert.True(t, g.Risk(under, now, 96, 0.15, false, false).AtRisk, "by now something is known, or nothing is read")
	now = under.Started.Add(30 * time.Hour)
	under.PlannedEnd = now.Add(8 * 24 * time.Hour)
	assert.True(t, g.Risk(under, now, 30, 0.15, false, false).AtRisk, "no more than eight days are left")
}
