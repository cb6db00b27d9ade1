package alert

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/logbook"
	"undersheet/logbook/sqlite"
)

// TestOneCause: what an alarm names as of the same cause is not told again, unless
// it is graver, elsewhere, later, or outlives it.
func TestOneCause(t *testing.T) {
	cause := func() *logbook.Alarm {
		a := of("power-lost", logbook.PriorityHigh, false)
		a.Stack, a.Also = "", []string{"line-silent", "air-gas"}
		return a
	}
	effect := of("line-silent", logbook.PriorityMedium, false)
	people := func(out []sqlite.Outgoing) int { return len(by(ByMail, out)) + len(by(BySMS, out)) }

	f := feedAt(t, wired(), "2026-03-01 08:00")
	require.Equal(t, 6, people(f.fold(cause())))
	out := f.fold(in(logbook.AlarmRaised, effect, ""))
	require.Zero(t, people(out))
	require.Len(t, by(ByWebhook, out), 1, "programs get every record")
	graver := of("air-gas", logbook.PriorityHigh, true)
	require.Equal(t, 6, people(f.fold(graver)), "it wakes people, its cause does not")
	elsewhere := in(logbook.AlarmRaised, effect, "")
	elsewhere.Store = "Store 9"
	require.Equal(t, 4, people(f.fold(elsewhere)))
	f.fold(in(logbook.AlarmCleared, cause(), ""))
	f.fold(in(logbook.AlarmCleared, graver, ""))
	out = f.after(30 * time.Minute)
	var subjects []string
	for _, o := range by(ByMail, out) {
		if o.To == "S. Rai" {
			subjects = append(subjects, read(o).Subject)
		}
	}
	slices.Sort(subjects)
	require.Len(t, subjects, 3, "the cause is over, the gas is over, and the effect stands: %s", subjects)
	require.Contains(t, subjects[2], "MEDIUM: Silent: ")

	f = feedAt(t, wired(), "2026-03-01 08:00")
	f.fold(cause())
	f.after(16 * time.Minute)
	require.Equal(t, 4, people(f.fold(in(logbook.AlarmRaised, effect, ""))), "later it is something else")

	f = feedAt(t, wired(), "2026-03-01 08:00")
	f.fold(cause())
	f.fold(in(logbook.AlarmRaised, effect, ""))
	f.fold(in(logbook.AlarmCleared, effect, ""))
	require.Zero(t, people(f.after(14*time.Minute)))
	f.after(20 * time.Minute)
	require.NotContains(t, fmt.Sprint(f.Known), "line-silent", "forgotten, unsaid")
}

// TestLeakSpeaksForTheChance: by day the chance that a leak brings down is part of
// its message; at night people are woken for it.
func TestLeakSpeaksForTheChance(t *testing.T) {
	for start, told := range map[string]bool{"2026-03-01 10:00": false, "2026-03-01 23:00": true} {
		f := feedAt(t, wired(), start)
		cause := of("leak", "high", false)
		cause.Also = []string{"end-level-at-risk", "uneven-gas"}
		first := f.fold(in(logbook.AlarmRaised, cause, ""))
		require.NotEmpty(t, first)
		f.now = f.now.Add(10 * time.Minute)
		risk := of("end-level-at-risk", "high", true)
		risk.Code = "collapsing"
		require.Equal(t, told, len(by(ByMail, f.fold(in(logbook.AlarmRaised, risk, "")))) > 0, start)
	}
}
