package words

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/logbook"
)

// French figures and times as by common practice: decimal comma, small letters, short
// names that end in a full stop, a space that no line is broken at.
func TestFrenchWritesFiguresAndTimes(t *testing.T) {
	monday := time.Date(2026, 1, 5, 15, 4, 0, 0, time.UTC)
	require.Equal(t, "lun. 5 janv. 15:04", Moment("fr", logbook.At(monday), time.UTC))
	require.Equal(t, "Mon 5 Jan 15:04", Moment("en", logbook.At(monday), time.UTC))
	require.Equal(t, "lundi 5 janvier 2026", When("fr", monday, "Monday 2 January 2006"))
	for month, want := range map[time.Month]string{3: "mars", 5: "mai", 8: "août", 12: "décembre"} {
		require.Equal(t, want, When("fr", time.Date(2026, month, 1, 0, 0, 0, 0, time.UTC), "January"))
	}
	require.Equal(t, "1er mai 2026", When("fr", time.Date(2026, 5, 1, 0, 0, 0, 0, time.UTC), "2 January 2006"))
	require.Equal(t, "0,25", Figure("fr", "0.25"))
	require.Equal(t, "0.25", Figure("en", "0.25"))
	require.Equal(t, "97\u00a0%", Chance("fr", 0.97))
	require.Equal(t, "97\u00a0%", Chance("fr", 0.979), "rounded down")
	require.Equal(t, "plus de 99\u00a0%", Chance("fr", 1))
	require.Equal(t, "over 99 %", Chance("xx", 1), "English stands in")
	f := &logbook.Forecast{For: thursday(9, 0), PPM: logbook.Quantiles{P05: 1.704, P50: 21.02, P95: 254.6}, ChanceMet: 0.979}
	require.Equal(t, "À la fin (jeu. 9 avr. 09:00), la ligne la plus basse est attendue à 21\u00a0ppm (90\u00a0%\u00a0: 1,7–255)\u00a0; "+
		"la probabilité que toutes les lignes soient à 150\u00a0ppm ou plus est de 97\u00a0%.", Forecast("fr", f, 150, time.UTC))
	require.Equal(t, "tenu, en un seul point", Verdict("fr", logbook.VerdictHeld, 1))
}

// Three digits count; none is made up and no whole one is lost.
func TestQuantity(t *testing.T) {
	for v, want := range map[float64]string{0: "0", 0.02749: "0.0275", 9.996: "10", 99.96: "100", 123.4: "123", 50386.4: "50386", 1234567: "1234567", -0.3: "-0.3", math.Inf(1): "—"} {
		require.Equal(t, want, Quantity("en", v))
	}
	require.Equal(t, "0,0275", Quantity("fr", 0.02749))
	require.Equal(t, "—", Quantity("fr", math.NaN()))
}
