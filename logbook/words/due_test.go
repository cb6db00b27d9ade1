package words

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/logbook"
)

// Every follow-up that there is says what it is, how it is done, and what it waits for.
func TestEveryFollowUpHasWords(t *testing.T) {
	for _, lang := range Languages() {
		for _, kind := range logbook.FollowUps {
			f := &logbook.FollowUp{FollowUp: kind, State: logbook.FollowOpen, Stack: "B", Channel: "door", Person: "Ana Brook"}
			what, how := FollowUp(lang, f)
			require.NotContains(t, what, kind+":", "%s: add due/%s", lang, kind)
			require.NotEmpty(t, how, "%s: add due/%s/how", lang, kind)
			require.NotEmpty(t, FollowUpWhen(lang, f, time.UTC), "%s: %s without a date", lang, kind)
		}
	}
	what, _ := FollowUp("en", &logbook.FollowUp{FollowUp: "of-a-newer-program", Stack: "B"})
	require.Equal(t, "of-a-newer-program: stack B", what, "what has no words is shown, never dropped")
}

// The last day of a licence is a day of the depot: a moment is over when it is.
func TestLastDay(t *testing.T) {
	zone := time.FixedZone("", 3*3600)
	due := logbook.At(time.Date(2026, 5, 31, 21, 0, 0, 0, time.UTC)) // midnight there
	f := &logbook.FollowUp{FollowUp: logbook.FollowLicence, State: logbook.FollowOpen, Due: due}
	require.Equal(t, "Last day Sun 31 May 2026", FollowUpWhen("en", f, zone))
	require.Equal(t, "Dernier jour\u00a0: dim. 31 mai 2026", FollowUpWhen("fr", f, zone))
	f.FollowUp = logbook.FollowCanister
	require.Equal(t, "Last day Sun 31 May 2026", FollowUpWhen("en", f, zone))
	f.Due = due.Add(time.Hour) // its minutes were used up
	require.NotContains(t, FollowUpWhen("en", f, zone), "Last day")
}

// What a person wrote stays as it is, whatever codes there are.
func TestResultsOfFollowUps(t *testing.T) {
	for _, c := range []struct {
		f    logbook.FollowUp
		want string
	}{
		{logbook.FollowUp{FollowUp: logbook.FollowJar, State: logbook.FollowDone, By: "A", Result: logbook.InsectsNone}, "no live insects found"},
		{logbook.FollowUp{FollowUp: logbook.FollowResidue, State: logbook.FollowDone, By: "A", Result: logbook.DisposedHanded}, "handed over"},
		{logbook.FollowUp{FollowUp: logbook.FollowSheetRepair, State: logbook.FollowDone, By: "A", Result: "done"}, "done"},
		{logbook.FollowUp{FollowUp: logbook.FollowJar, State: logbook.FollowWrittenOff, By: "A", Result: "jar"}, "jar"},
		{logbook.FollowUp{FollowUp: logbook.FollowJar, State: logbook.FollowDone, By: "A", Result: "of-a-newer-program"}, "of-a-newer-program"},
	} {
		require.Equal(t, c.want, FollowUpResult("en", &c.f))
	}
}

// Who reads that something is owed reads hours for two days, then days: "4400 hours" says little.
func TestALapseIsReadAtAGlance(t *testing.T) {
	for hours, want := range map[float64][2]string{0.2: {"0.2 hours", "0,2 heures"}, 47: {"47 hours", "47 heures"}, 48: {"2 days", "2 jours"}, 4400: {"183 days", "183 jours"}} {
		require.Equal(t, want, [2]string{english.lapse(hours), french.lapse(hours)})
	}
}
