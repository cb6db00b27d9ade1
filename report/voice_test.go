package report

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

// An exposure that falls short of its 120 h must not read as 120: common practice.
func TestAnExposureIsNeverWrittenLongerThanItWas(t *testing.T) {
	for hours, want := range map[float64]string{119.99: "119.9", 120: "120", 125.5: "125.5", 0.1 + 0.2: "0.3"} {
		assert.Equal(t, want, voice{lang: "en"}.tenths(hours))
	}
	assert.Equal(t, "119,9", voice{lang: "fr"}.tenths(119.99))
}
