package alert

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/logbook"
	"undersheet/logbook/sqlite"
)

// owed is the jar of a treatment, as it is raised at a priority.
func owed(priority, owner string) *logbook.Alarm {
	value := map[string]logbook.Number{logbook.PriorityLow: -48, logbook.PriorityMedium: 0, logbook.PriorityHigh: 24}[priority]
	return &logbook.Alarm{State: logbook.AlarmRaised, Alarm: "follow-up-due", Code: logbook.FollowJar, Store: "Store 2", Stack: "B", Priority: priority, Value: value, Limit: 24,
		Owed: &logbook.Owed{Treatment: "B-7", Due: noon, Owner: owner}}
}

// What is owed is told to its owner first, whatever else they want to be told, and to
// everybody when it is overdue.
func TestOwnersAreToldFirst(t *testing.T) {
	to := func(f *feed, a *logbook.Alarm) (names []string) {
		for _, o := range f.fold(a) {
			names = append(names, o.To)
		}
		return names
	}
	f := newFeed()
	require.Equal(t, []string{"P. Gurung"}, to(f, owed(logbook.PriorityLow, "P. Gurung")), "a reminder, though told from high on")
	require.Equal(t, []string{"P. Gurung"}, to(f, owed(logbook.PriorityMedium, "P. Gurung")))
	require.Equal(t, []string{"S. Rai", "P. Gurung", "T. Lama"}, to(f, owed(logbook.PriorityHigh, "P. Gurung")), "overdue")

	require.Equal(t, []string{"T. Lama"}, to(newFeed(), owed(logbook.PriorityLow, "")), "without an owner: as they want to be told")
	require.Equal(t, []string{"S. Rai", "T. Lama"}, to(newFeed(), owed(logbook.PriorityMedium, "D. Thapa")), "nothing reaches the owner")
	require.Equal(t, []string{"S. Rai", "T. Lama"}, to(newFeed(), owed(logbook.PriorityMedium, "who left")))
}

// The checks of many instruments that fall due together are one SMS by day, and at night
// one at first light; none is repeated, and none is told to be over.
func TestWhatIsOwedIsOneSMS(t *testing.T) {
	check := func(n int, state string) *logbook.Alarm {
		return &logbook.Alarm{State: state, Alarm: "follow-up-due", Code: logbook.FollowBumpTest, Channel: fmt.Sprintf("air-%d", n), Priority: logbook.PriorityHigh, Value: 24, Limit: 24,
			Owed: &logbook.Owed{Due: noon}}
	}
	for at, told := range map[string]string{"2026-03-02 10:00": "2026-03-02 10:30", "2026-03-02 22:00": "2026-03-03 06:30"} {
		f := feedAt(t, wired(), at)
		var out []sqlite.Outgoing
		for n := range 20 {
			out = append(out, f.fold(check(n, logbook.AlarmRaised))...)
		}
		require.Empty(t, by(BySMS, out))
		counts := map[string]int{}
		for _, o := range by(BySMS, f.until(t, told)) {
			counts[o.To]++
		}
		require.NotEmpty(t, counts)
		for name, n := range counts {
			require.Equal(t, 1, n, name)
		}
		out = f.after(8 * time.Hour)
		for n := range 20 {
			out = append(out, f.fold(check(n, logbook.AlarmCleared))...)
		}
		require.Empty(t, by(BySMS, append(out, f.after(12*time.Hour)...)))
	}
}

// Two follow-ups of one stack are two alarms, and the message says when and by whom.
func TestFollowUpsOfOneStackAreToldApart(t *testing.T) {
	f := newFeed()
	require.Len(t, f.fold(owed(logbook.PriorityMedium, "S. Rai")), 1)
	other := owed(logbook.PriorityMedium, "S. Rai")
	other.Code = logbook.FollowSheetRepair
	out := f.fold(other)
	require.Len(t, out, 1)
	l := read(out[0])
	require.Contains(t, l.Subject, "Due: the sheet of stack B")
	require.Contains(t, l.Text, "To be done by S. Rai")
	require.Contains(t, l.Text, "Due: 2026-03-01 17:45 +0545 (2026-03-01 12:00 UTC)")
}
