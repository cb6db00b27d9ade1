package decay

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// TestPriors: warmer and moister grain and plates release faster; more dose in
// less space gives more.
func TestPriors(t *testing.T) {
	base := stack(1)
	warm, wet, plate, unknown := base, base, base, base
	warm.TempC, wet.MoisturePct, plate.Form, unknown.TempC = 34, 14, "magnesium plates", 0
	require.InDelta(t, 0.35, warm.releasePrior().mean-base.releasePrior().mean, 1e-12)
	require.Greater(t, wet.releasePrior().mean, base.releasePrior().mean)
	require.Greater(t, plate.releasePrior().mean, base.releasePrior().mean)
	require.Greater(t, unknown.releasePrior().sd, base.releasePrior().sd)
	// 1 g/m³ is 719.6 ppm at 25 °C: ideal gas, M = 33.99758 g/mol (NIOSH gives 1.39 mg/m³ per ppm)
	base.DoseG, base.TempC = base.GasSpaceM3, 25
	require.InDelta(t, math.Log(719.6), base.yieldPrior().mean, 1e-4)
	base.GasSpaceM3 = 0
	require.Greater(t, base.yieldPrior().sd, 1.0)
}

// TestCommodities: paddy takes up more than milled rice (its husk adsorbs: Pereira et
// al. 2024, Foods 13:3293; USDA trials of sacked rice, 1959–60), and rice without its
// husk less than wheat, millet and soya (17 against 27 ng/cm² in six days: Appl.
// Entomol. Zool. 1974, 9:127). So the same dose leaves less in paddy; what is not known
// leaves both open.
func TestCommodities(t *testing.T) {
	blind := func(text string) Forecast {
		setup := stack(1)
		setup.Commodity = text
		s := New(setup)
		s.Refit()
		f, ok := s.Lowest(120, 150)
		require.True(t, ok)
		return f
	}
	milled, wheat, paddy, unknown := blind("milled rice"), blind("wheat"), blind("riz paddy"), blind("")
	require.Less(t, paddy.P50, wheat.P50)
	require.Less(t, wheat.P50, milled.P50)
	require.Equal(t, wheat, unknown)
	require.Equal(t, unknown, blind("rice"), "in its husk or not")
	require.Less(t, milled.P50, 2*paddy.P50, "some, not all: the readings decide")
	require.Equal(t, milled, blind("Riz blanchi"))
	require.Greater(t, unknown.P95, paddy.P50)
	require.Less(t, unknown.P05, milled.P50)
}
