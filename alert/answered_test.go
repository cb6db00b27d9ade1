package alert

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/logbook"
)

// TestAcknowledged: who was called by SMS hears by e-mail who takes charge, or by SMS
// where there is no e-mail, and nothing is repeated.
func TestAcknowledged(t *testing.T) {
	f := feedAt(t, wired(), "2026-03-01 10:00")
	f.fold(leak(logbook.AlarmRaised))
	out := f.fold(in(logbook.AlarmSeen, leak(""), "P. Gurung"))
	require.Equal(t, []string{"S. Rai"}, to(by(ByMail, out)), "D. Thapa has no e-mail, T. Lama no telephone, P. Gurung knows")
	require.Equal(t, []string{"D. Thapa"}, to(by(BySMS, out)), "who hears by no e-mail")
	require.Regexp(t, `^Bagmati Store HIGH: Acknowledged by P\. Gurung: Leak: .* It stands until it is said to be over\.`, strings.ReplaceAll(read(by(BySMS, out)[0]).Short, "\n", " "))
	l := read(out[0])
	require.Contains(t, l.Subject, "taken by P. Gurung: Leak")
	require.Contains(t, l.Text, "P. Gurung has acknowledged this alarm and takes charge of it.")
	require.Empty(t, by(ByMail, f.fold(in(logbook.AlarmSeen, leak(""), "S. Rai"))), "once")
	require.Empty(t, by(BySMS, f.after(5*time.Hour)))
	medium := of("line-silent", logbook.PriorityMedium, false)
	f.fold(medium)
	require.Empty(t, by(ByMail, f.fold(in(logbook.AlarmSeen, medium, "S. Rai"))))
}

// TestRepeated: after 15 minutes, then hourly, seven times in all.
func TestRepeated(t *testing.T) {
	f := feedAt(t, wired(), "2026-03-01 07:00")
	f.fold(leak(logbook.AlarmRaised))
	f.fold(of("line-silent", logbook.PriorityMedium, false))
	var at []string
	for range 12 * 60 {
		if out := by(BySMS, f.after(time.Minute)); len(out) > 0 {
			require.Equal(t, []string{"S. Rai", "P. Gurung", "D. Thapa"}, to(out))
			require.Contains(t, read(out[0]).Subject, "HIGH: still not acknowledged since 07:00: Leak")
			require.Contains(t, read(out[0]).Short, "still not acknowledged since 07:00: Leak")
			at = append(at, f.now.Std().In(f.zone()).Format("15:04"))
		}
	}
	require.Equal(t, []string{"07:15", "08:15", "09:15", "10:15", "11:15", "12:15", "13:15"}, at)
}

// TestRepeatedSinceItWasTold: what became graver after somebody took charge is not
// acknowledged since then, not since the first word of it.
func TestRepeatedSinceItWasTold(t *testing.T) {
	f := feedAt(t, wired(), "2026-03-01 10:50")
	risk := of("end-level-at-risk", logbook.PriorityHigh, false)
	f.fold(risk)
	f.after(10 * time.Minute)
	f.fold(in(logbook.AlarmSeen, risk, "P. Gurung"))
	f.after(50 * time.Minute)
	collapsing := of("end-level-at-risk", logbook.PriorityHigh, true)
	collapsing.Code = "collapsing"
	require.Len(t, by(BySMS, f.fold(collapsing)), 3)
	require.Contains(t, read(by(BySMS, f.after(15*time.Minute))[0]).Short, "still not acknowledged since 11:50: Collapsing")
}

// TestRepeatedByNight: only what wakes people; the rest at first light.
func TestRepeatedByNight(t *testing.T) {
	f := feedAt(t, wired(), "2026-03-01 19:50")
	require.Len(t, by(BySMS, f.fold(leak(logbook.AlarmRaised))), 3)
	require.Empty(t, by(BySMS, f.until(t, "2026-03-02 05:59")))
	require.Len(t, by(BySMS, f.after(time.Minute)), 3)
	f = feedAt(t, wired(), "2026-03-01 19:50")
	door := of("door-opened", logbook.PriorityHigh, true)
	f.fold(door)
	out := by(BySMS, f.until(t, "2026-03-01 20:10"))
	require.Len(t, out, 3)
	require.True(t, read(out[0]).Wake)
	f.fold(in(logbook.AlarmCleared, door, ""))
	require.Empty(t, by(BySMS, f.until(t, "2026-03-02 05:59")), "over: not repeated, and its end wakes nobody")
	require.Contains(t, read(by(BySMS, f.after(time.Minute))[0]).Short, "Over: ")
}
