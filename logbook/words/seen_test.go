package words

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/logbook"
)

// Expected texts are worked out by hand from the values.

func thursday(hour, minute int) logbook.Time {
	return logbook.At(time.Date(2026, 4, 9, hour, minute, 0, 0, time.UTC))
}

func TestForecastSays(t *testing.T) {
	f := &logbook.Forecast{For: thursday(9, 0), PPM: logbook.Quantiles{P05: 170.4, P50: 210.2, P95: 254.6}, ChanceMet: 0.979}
	nairobi := time.FixedZone("EAT", 3*3600)
	require.Equal(t, "At the end (Thu 9 Apr 12:00) the lowest line is expected at 210 ppm (90 %: 170–255); the chance that every line is at or above 150 ppm is 97 %.",
		Forecast("en", f, 150, nairobi), "a chance is rounded down")
	f.ChanceMet = 0.9985
	require.Contains(t, Forecast("en", f, 150, time.UTC), "is over 99 %.", "512 draws show no certainty")
}

func TestGroundsOfALeak(t *testing.T) {
	a := &logbook.Alarm{State: logbook.AlarmRaised, Alarm: "leak", Stack: "B", Line: "north {stack}", Onset: thursday(14, 20), Value: 0.44, Limit: 0.21,
		Grounds: &logbook.Grounds{From: thursday(13, 40), To: thursday(15, 0), Statistic: 6.21, Threshold: 4.94}}
	say := func() string { return Grounds("en", a, time.UTC) }
	require.Equal(t, "Since about Thu 9 Apr 14:20 (13:40–15:00) line north {stack} has lost gas 2.1 times as fast as before (0.21 → 0.44 per day); "+
		"the statistic was 6.2 against a threshold of 4.9.", say())
	a.Grounds.Statistic = 3.2
	require.Contains(t, say(), "would need 4.9 to tell it alone", "what told it was not the test alone")
	a.Grounds.Statistic = 6.21
	a.Line, a.Grounds.From = "", thursday(-1, 30)
	require.True(t, strings.HasPrefix(say(), "Since about Thu 9 Apr 14:20 (Wed 8 Apr 23:30–15:00) stack B has lost gas on all lines 2.1 times"), say())
	a.Limit, a.Grounds.Statistic = 0, 0
	require.True(t, strings.HasSuffix(say(), "stack B has lost gas on all lines at 0.44 per day, before at hardly any; all lines fell at once."), say())
	half := &logbook.Alarm{State: logbook.AlarmRaised, Alarm: "leak", Code: "half-day", Stack: "B", Onset: thursday(2, 0), Value: 1.31, Limit: 0.4,
		Grounds: &logbook.Grounds{From: thursday(-20, 0), To: thursday(8, 0), Statistic: 1.31, Threshold: 1.2}}
	require.Equal(t, "Stack B lost gas on most lines at 1.31 per day in half a day; a sheet that is shut would have lost less than 1.20. It opened before Thu 9 Apr 08:00; when is not known.", Grounds("en", half, time.UTC))
	a.State = logbook.AlarmCleared
	require.Empty(t, say())
	require.Empty(t, Grounds("en", &logbook.Alarm{Alarm: "leak", State: logbook.AlarmRaised, Value: 1}, time.UTC), "an older program's record does not say")
}

func TestOutlookSays(t *testing.T) {
	o := &logbook.Outlook{Stack: "B", At: thursday(8, 0), For: thursday(20, 0), EndPPM: 150, Chance: 0.31, Want: 0.95, HeldUntil: thursday(11, 0),
		TopUp: logbook.TopUp{Known: true, Grams: 122, Most: 520, Until: thursday(10, 30), Airing: thursday(23, 0), Piece: 1, Form: "tablets"},
		Other: logbook.OtherEnd{Protocol: "eight-day", End: thursday(23, 59), EndPPM: 38, Chance: 0.98}}
	text := strings.Join(Outlook("en", o, time.UTC), "\n")
	for _, want := range []string{
		"every line stays at or above 150 ppm with 95 % until Thu 9 Apr 11:00.",
		"Phosphine added now, 122 g (122 tablets of 1 g), would bring the chance to 95 %; later it takes more, and after Thu 9 Apr 10:30 not even the 520 g that were laid at first would do.",
		"eight-day protocol, 38 ppm to Thu 9 Apr 23:59, would be held with a chance of 98 %", "for the licensed fumigator to decide",
		"keeps airing from beginning before Thu 9 Apr 23:00", "A longer exposure alone does not bring the chance to 95 %",
		"Do not enter alone: two trained people, breathing protection, daylight; else wait."} {
		require.Contains(t, text, want)
	}
	require.NotContains(t, text, "leak")
	require.NotContains(t, strings.ToLower(text), "safe")
	require.NotContains(t, text, "{")
	o.Leaking, o.TopUp.Piece, o.Longer = true, 0.3, thursday(23, 0)
	text = strings.Join(Outlook("en", o, time.UTC), "\n")
	require.Contains(t, text, "(407 tablets of 0.3 g)", "rounded up")
	require.Contains(t, text, "leaks into the store too")
	require.Contains(t, text, "A longer exposure, to Thu 9 Apr 23:00, would end at or above 150 ppm")
	o.TopUp = logbook.TopUp{Known: true, Most: 520}
	text = strings.Join(Outlook("en", o, time.UTC), "\n")
	require.Contains(t, text, "not even the 520 g that were laid at first.")
	require.NotContains(t, text, "masked entry", "nothing is to be added")
	o.Chance = 0.951
	require.Empty(t, Outlook("en", o, time.UTC), "what holds needs no gas")
	require.Empty(t, Outlook("en", nil, time.UTC))
}
