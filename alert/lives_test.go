package alert

import (
	"encoding/json"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/logbook"
	"undersheet/logbook/sqlite"
)

// TestLivesAreToldAgain: an alarm on which lives hang is told each time it is raised.
// Between its end and the next one people may have gone in on what the pages and the
// gate said; that it came back is no chatter.
func TestLivesAreToldAgain(t *testing.T) {
	for _, name := range []string{"air-gas", "gate-rebound", "fire-risk", "door-opened", "masked-entry-overdue"} {
		for _, taken := range []bool{false, true} {
			f := feedAt(t, wired(), "2026-03-01 10:00")
			a := of(name, logbook.PriorityHigh, name != "gate-rebound")
			require.Len(t, by(BySMS, f.fold(a)), 3)
			if taken {
				f.fold(in(logbook.AlarmSeen, a, "S. Rai"))
			}
			f.after(5 * time.Minute)
			f.fold(in(logbook.AlarmCleared, a, ""))
			f.after(20 * time.Minute)
			out := f.fold(in(logbook.AlarmRaised, a, ""))
			require.Len(t, by(BySMS, out), 3, "%s taken %v", name, taken)
			require.Len(t, by(ByMail, out), 3, "%s taken %v", name, taken)
			require.Len(t, by(BySMS, f.after(15*time.Minute)), 3, "%s: nobody has taken charge of this one", name)
		}
	}
}

// TestTakenAndBack: who took charge of an alarm took charge of what is over.
func TestTakenAndBack(t *testing.T) {
	f := feedAt(t, wired(), "2026-03-01 10:00")
	f.fold(leak(logbook.AlarmRaised))
	f.fold(in(logbook.AlarmSeen, leak(""), "S. Rai"))
	f.fold(leak(logbook.AlarmCleared))
	f.after(20 * time.Minute)
	require.Len(t, by(ByMail, f.fold(leak(logbook.AlarmRaised))), 3)
	f.fold(leak(logbook.AlarmCleared))
	require.Empty(t, by(ByMail, f.fold(leak(logbook.AlarmRaised))), "chatter that nobody took charge of")
}

// TestLivesFirstAtLight: a message of many tells first of what lives hang on.
func TestLivesFirstAtLight(t *testing.T) {
	f := feedAt(t, wired(), "2026-03-01 22:00")
	for _, stack := range []string{"A", "B", "C", "D", "E", "F", "G"} {
		a := leak(logbook.AlarmRaised)
		a.Stack = stack
		f.fold(a)
	}
	f.fold(of("gate-rebound", logbook.PriorityHigh, false))
	l := read(by(BySMS, f.until(t, "2026-03-02 06:00"))[0])
	require.Contains(t, l.Short, "8 alarms since 22:00: 1) Gas is back: ")
}

// TestWhatWakesGoesFirst: the modem sends one after another.
func TestWhatWakesGoesFirst(t *testing.T) {
	s := NewSender(nil, nil, Options{})
	letter := func(key string, l Letter) sqlite.Outgoing {
		b, err := json.Marshal(l)
		require.NoError(t, err)
		return sqlite.Outgoing{Key: key, Messenger: BySMS, Body: b}
	}
	var keys []string
	for _, t := range s.inTurn(&lane{messenger: BySMS}, []sqlite.Outgoing{letter("medium", Letter{Priority: logbook.PriorityMedium}), letter("leak", Letter{Priority: logbook.PriorityHigh}),
		letter("gas", Letter{Priority: logbook.PriorityHigh, Wake: true})}, noon.Std()) {
		keys = append(keys, t.key)
	}
	require.Equal(t, []string{"gas", "leak", "medium"}, keys)
}
