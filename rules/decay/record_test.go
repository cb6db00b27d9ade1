package decay

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// TestCurveOfAPublishedSilo: the only published course of phosphine that was found with
// its times says when a level was reached, when the highest and when the level again
// (testdata/decay/silo.csv). The release-loss curve through the three has its peak where
// that was measured, though nothing told it that the second is one; and the rise alone
// tells no loss.
func TestCurveOfAPublishedSilo(t *testing.T) {
	hours, ppm := []float64{0}, []float64{0} // before the dosing there is none
	for _, r := range table(t, "silo.csv") {
		hours, ppm = append(hours, 24*r[0]), append(ppm, r[1])
	}
	f, err := Flat(hours, ppm)
	require.NoError(t, err)
	require.InDelta(t, 30, f.PeakDays(), 1)
	require.InEpsilon(t, 600, f.PeakPPM(), 0.005)
	_, err = Flat([]float64{0, 1, 96, 720}, []float64{0, 0, 200, 600})
	require.Error(t, err)
}

// TestForecastOfMeasuredRecords: no record of phosphine with readings was found, so the
// forecasts are held against measured records of the same law: datasets::Theoph of R 4.2.2,
// with its hours as days and mg/l as 100 ppm, where release and loss come near those under
// a sheet. From a part of each record the last reading, a day on there, is foretold. People
// are no stacks, and their readings scatter more than an instrument's: of 48 forecasts the
// interval of the running fit need hold only 6 in 10 readings, of the plain fit 9 in 10; and
// from the first half the priors must more than halve the error of the plain fit.
func TestForecastOfMeasuredRecords(t *testing.T) {
	if testing.Short() {
		t.Skip("many fits from nothing: run without -short")
	}
	const hour, unit = 24.0, 100.0
	var running, plain score
	var early [2]score
	for subject := 1.0; subject <= 12; subject++ {
		hours, conc := theoph(t, subject)
		last := len(hours) - 1
		end, level := hours[last]*hour, conc[last]*unit
		for _, until := range []float64{5.5, 7.5, 10, 13} {
			s := New(Setup{Lines: []Line{{Accuracy: 0.05}}})
			var hs, ppm []float64
			for i, h := range hours {
				if h <= until {
					hs, ppm = append(hs, h*hour), append(ppm, conc[i]*unit)
					s.Observe(h*hour, 0, conc[i]*unit)
				}
			}
			for range 3 {
				s.Refit()
			}
			ours, ok := s.Forecast(0, end, 0)
			require.True(t, ok)
			flat, err := Flat(hs, ppm)
			require.NoError(t, err)
			running.add(ours, level)
			plain.add(flat.Forecast(end, 0), level)
			if until == 5.5 {
				early[0].add(ours, level)
				early[1].add(flat.Forecast(end, 0), level)
			}
		}
	}
	t.Logf("the running fit holds %.2f, rms error of ln %.2f (from 5.5 h %.2f); the plain fit %.2f, %.2f (%.2f)",
		running.cover(), running.rmse(), early[0].rmse(), plain.cover(), plain.rmse(), early[1].rmse())
	require.Equal(t, 48, running.n)
	require.GreaterOrEqual(t, running.cover(), 0.6)
	require.GreaterOrEqual(t, plain.cover(), 0.9)
	require.Less(t, early[0].rmse(), early[1].rmse()/2)
}
