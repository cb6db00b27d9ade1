package gas

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/logbook"
	"undersheet/rules/leak"
	"undersheet/rules/treatment"
)

// Phosphine that is added while a leak stands tells the fit that the sheet was mended
// then (common practice: whoever adds gas to a torn sheet mends it), however much later
// the leak is seen to be over.
func TestDoseInALeakMends(t *testing.T) {
	under := &treatment.Treatment{Started: logbook.At(time.Date(2026, 4, 6, 8, 0, 0, 0, time.UTC)), Lines: make([]treatment.Line, 2)}
	g := New(&logbook.Site{}, under, 27)
	g.AddDose(under, under.Started.Add(30*time.Hour), 50)
	require.Empty(t, g.Fit.Changes, "no leak stands")
	require.InDelta(t, 45-leak.CalmHours, g.mended(40, 45), 1e-9, "the dose came before the leak")
	require.InDelta(t, 45, g.mended(44, 46), 1e-9, "no sooner than an hour after the onset")
	require.InDelta(t, 30, g.mended(20, 45), 1e-9)
	require.InDelta(t, 60-leak.CalmHours, g.mended(20, 60), 1e-9, "more than a day ago")
}
