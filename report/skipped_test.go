package report

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/logbook"
)

// A report says how long the exposure was without what the clock skipped, how much that was, and the
// hours that the protocol asks for as it asks for them (five-day: 120 h, common practice).
func TestClockSetAheadInTheExposure(t *testing.T) {
	s := &story{}
	s.add(-1, logbook.KindSiteConfigured, &logbook.SiteConfigured{Site: *depot()})
	s.under(0, "A", "A-1", "five-day")
	for h := 0.5; h < 170.1; h += 0.5 {
		if h <= 50 || h >= 98 {
			s.read(h, "a1", 500)
			s.read(h, "a2", 450)
		}
		if h == 98 {
			s.add(98.005, logbook.KindClockStepped, &logbook.ClockStepped{StepSeconds: 47.5 * 3600})
		}
	}
	s.air(170, "A")
	r := report(t, s, "A-1")
	require.InDelta(t, 122.5, r.Course.ExposureHours, 0.01)
	require.InDelta(t, 47.5, r.Course.SkippedHours, 0.01)
	require.InDelta(t, 120, r.Course.ShortestHours, 0)
	require.Equal(t, hour(167.5).Std(), r.Course.ShortestEnd.Std().Round(time.Second))
	page, _ := both(t, r)
	require.Contains(t, page, "122.5 h, ")
	require.Contains(t, page, "without 47.5 h over which the computer&#39;s clock was set ahead")
	require.Contains(t, page, "at least 120 h")
}
