package dose

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// NIOSH Pocket Guide to Chemical Hazards, phosphine (npgd0505): 1 ppm = 1.39
// mg/m³ (25 °C, 760 torr), LEL 1.79 %. NIOSH IDLH documentation 7803-51-2 (1994):
// 10 % of the LEL = 1,790 ppm.
func TestNIOSH(t *testing.T) {
	assert.InDelta(t, 1.39, MgPerPPM(25, 101.325), 0.005, "rounded to two decimals in the guide")
	assert.Equal(t, 1790.0, AttentionLEL*LELppm)
}

// Limit values of the EU are stated at 20 °C and 101.3 kPa (Directive 91/322/EEC,
// annex, note d): 0.1 ppm = 0.14 mg/m³ and 0.2 ppm = 0.28 mg/m³ (Directive
// 2006/15/EC; national rows in the SER limit-value page "Fosfine").
func TestEULimitsInMass(t *testing.T) {
	assert.InDelta(t, 0.14, 0.1*MgPerPPM(20, 101.3), 0.005)
	assert.InDelta(t, 0.28, 0.2*MgPerPPM(20, 101.3), 0.005)
}

// Ideal gas law with R = 8.314462618 J/(mol·K) (CODATA 2018) and M = 33.99758
// g/mol, computed by hand for each temperature: molar volume in L/mol, mg/m³ of 1
// ppm, ppm of 1 g/m³.
func TestIdealGasTable(t *testing.T) {
	for _, r := range []struct{ c, volume, mg, ppm float64 }{
		{0, 22.4140, 1.5168, 659.3}, {15, 23.6448, 1.4378, 695.5}, {20, 24.0551, 1.4133, 707.6}, {25, 24.4654, 1.3896, 719.6},
		{30, 24.8757, 1.3667, 731.7}, {35, 25.2860, 1.3445, 743.8}, {40, 25.6963, 1.3231, 755.8},
	} {
		assert.InDelta(t, r.mg, MgPerPPM(r.c, 101.325), 5e-5, "%g °C", r.c)
		assert.InDelta(t, r.volume, MolarMass/MgPerPPM(r.c, 101.325), 5e-5, "%g °C", r.c)
		got, err := PPM(1, "g/m3", r.c, 101.325)
		require.NoError(t, err)
		assert.InDelta(t, r.ppm, got, 0.05, "%g °C", r.c)
	}
}

// The trade's pair 150 ppm = 0.2 mg/L holds only near 37 °C; at 25 °C 0.2 g/m³ is
// 143.9 ppm (ideal gas law).
func TestTradePair(t *testing.T) {
	warm, err := PPM(0.2, "g/m3", 37, 101.325)
	require.NoError(t, err)
	assert.InDelta(t, 150, warm, 0.5)
	room, err := PPM(200, "mg/m3", 25, 101.325)
	require.NoError(t, err)
	assert.InDelta(t, 143.9, room, 0.05)
}

// "1 g PH3 per 1,000 ft3 = 25 ppm" (food-plant fumigation text, secondary copy).
func TestFullPPM(t *testing.T) {
	assert.InDelta(t, 25.4, FullPPM(1, 28.317, 25), 0.05)
	assert.Zero(t, FullPPM(0, 100, 25))
	assert.Zero(t, FullPPM(100, 0, 25))
}

func TestPPMRefuses(t *testing.T) {
	for _, bad := range []struct {
		unit     string
		tempC, p float64
	}{{"%LEL", 25, 101.325}, {"ppm", -273.15, 101.325}, {"mg/m3", 25, 0}, {"mg/m3", -300, 101}} {
		_, err := PPM(1, bad.unit, bad.tempC, bad.p)
		assert.Error(t, err, "%+v", bad)
	}
}

func TestGasSpace(t *testing.T) {
	for _, c := range []struct {
		given, volume, tonnes, want float64
		known                       bool
		why                         string
	}{
		{90, 260, 180, 90, true, "a given gas space wins"},
		{0, 260, 180, 260 - 180/1.45, true, ""},
		{0, 260, 500, 26, false, "figures that do not fit together: never solid"},
		{0, 260, 1.45 * 240, 26, false, "a gas space of less than a tenth is no more likely"},
		{0, 260, 0, 260, false, "how much lies in it is not told"},
		{0, 0, 180, 0, false, ""},
	} {
		got, known := GasSpace(c.given, c.volume, c.tonnes, "milled rice")
		assert.InDelta(t, c.want, got, 1e-9, c.why)
		assert.Equal(t, c.known, known, c.why)
	}
}

// What the forms are called: common practice.
func TestFromCylinders(t *testing.T) {
	for _, form := range []string{"gas", " Gas", "cylinder gas", "gas from cylinders", "gaz", "gaz en bouteilles"} {
		assert.True(t, FromCylinders(form), form)
	}
	for _, form := range []string{"", "tablets", "plates", "gas-permeable sachets", "comprimés", "gas from cylinders, and tablets", "bouteilles et plaques"} {
		assert.False(t, FromCylinders(form), form)
	}
}

// Linseed and cottonseed: common practice.
func TestUnsuited(t *testing.T) {
	assert.Equal(t, "linseed", Unsuited(UnsuitedList, "Linseed, bagged"))
	assert.Empty(t, Unsuited(UnsuitedList, "milled rice"))
}
