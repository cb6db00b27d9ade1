package exposure

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
)

// NIOSH Pocket Guide to Chemical Hazards, npgd0505: up to 3 ppm APF 10, 7.5 ppm
// APF 25, 15 ppm APF 50, 50 ppm (the IDLH) APF 1,000; entry into unknown or IDLH
// conditions APF 10,000.
func TestProtection(t *testing.T) {
	for _, c := range []struct {
		ppm float64
		apf int
	}{{0, 10}, {3, 10}, {3.01, 25}, {7.5, 25}, {7.51, 50}, {15, 50}, {15.1, 1000}, {50, 1000}, {50.1, 10000}, {1e6, 10000},
		{math.Inf(1), 10000}, {math.NaN(), 10000}} {
		assert.Equal(t, c.apf, Protection(c.ppm, true).APF, "%v ppm", c.ppm)
		assert.Equal(t, c.apf == 10000, Protection(c.ppm, true).SelfContained, "%v ppm", c.ppm)
	}
	assert.Equal(t, Step{APF: 10000, SelfContained: true}, Protection(0, false), "air that nobody reads")
}
