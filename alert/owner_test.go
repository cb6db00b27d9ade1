package alert

import (
	"testing"

	"github.com/stretchr/testify/require"

	"undersheet/logbook"
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
