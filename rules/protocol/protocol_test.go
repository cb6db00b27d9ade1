package protocol

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"undersheet/logbook"
)

// The figures of common practice; 150 ppm to the end is also the recommendation of
// Brice & Golob 2000, J. agric. Engng Res. 76:17-26.
func TestBuiltIn(t *testing.T) {
	assert.Equal(t, []string{EightDay, FiveDay, Twice}, Names(), "sorted")
	for name, want := range map[string][3]float64{FiveDay: {120, 150, 0}, EightDay: {192, 38, 0}, Twice: {120, 150, 10}} {
		p, known := Resolve(nil, name)
		assert.True(t, known)
		assert.Equal(t, want, [3]float64{p.Hours, EndPPM(p), p.SecondAfterDays}, name)
		assert.Equal(t, 2*time.Hour, p.Airing.Std(), name)
	}
}

func TestASiteOnlyTightens(t *testing.T) {
	site := &logbook.Site{Protocols: map[string]logbook.Protocol{
		FiveDay:     {Hours: 96, EndLevel: 200, EndLevelUnit: "ppm", Airing: logbook.Duration(time.Hour)},
		"cool":      {Base: FiveDay, Hours: 240},
		"by weight": {Base: FiveDay, EndLevel: 300, EndLevelUnit: "mg/m3"},
		"in pairs":  {Base: Twice, SecondAfterDays: 9, SecondWindow: logbook.Duration(36 * time.Hour), Source: "the depot's own"},
		"made up":   {Base: "nobody's"},
	}}
	p, known := Resolve(site, FiveDay)
	assert.True(t, known)
	assert.Equal(t, 120.0, p.Hours, "a shorter exposure is not taken")
	assert.Equal(t, 200.0, p.EndLevel)
	assert.Equal(t, 2*time.Hour, p.Airing.Std())
	p, _ = Resolve(site, "cool")
	assert.Equal(t, [2]float64{240, 150}, [2]float64{p.Hours, p.EndLevel})
	p, _ = Resolve(site, "by weight")
	assert.Equal(t, "mg/m3", p.EndLevelUnit, "a threshold stays in the unit in which it was set")
	assert.InDelta(t, 215.9, EndPPM(p), 0.05, "0.3 g/m³ at 25 °C, ideal gas law")
	p, _ = Resolve(site, "in pairs")
	assert.Equal(t, []any{9.0, 36 * time.Hour, "the depot's own"}, []any{p.SecondAfterDays, p.SecondWindow.Std(), p.Source})
	plain, _ := BuiltIn(Twice)
	site.Protocols["in pairs"] = logbook.Protocol{Base: Twice}
	p, _ = Resolve(site, "in pairs")
	assert.Equal(t, []any{plain.SecondAfterDays, plain.SecondWindow, plain.Source}, []any{p.SecondAfterDays, p.SecondWindow, p.Source}, "what a site leaves out stays")
	for _, name := range []string{"made up", "never heard of"} {
		p, known = Resolve(nil, name)
		assert.False(t, known, name)
		assert.Equal(t, [2]float64{192, 150}, [2]float64{p.Hours, p.EndLevel}, "the strictest of the built-in")
		p, known = Resolve(site, name)
		assert.False(t, known, name)
		assert.Equal(t, 240.0, p.Hours, "the site's own longest")
		assert.InDelta(t, 215.9, EndPPM(p), 0.05, "the site's own highest")
		assert.Equal(t, 2*time.Hour, p.Airing.Std())
	}
}

func TestLoosens(t *testing.T) {
	base, _ := BuiltIn(FiveDay)
	assert.Empty(t, Loosens(base, logbook.Protocol{Hours: 120, EndLevel: 150, EndLevelUnit: "ppm"}))
	assert.Len(t, Loosens(base, logbook.Protocol{Hours: 119, EndLevel: 0.2, EndLevelUnit: "g/m3", Airing: 1}), 3,
		"0.2 g/m³ is 143.9 ppm at 25 °C")
}
