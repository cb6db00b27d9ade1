package alert

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/logbook"
	"undersheet/logbook/sqlite"
	"undersheet/logbook/words"
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
		require.Empty(t, f.fold(a), "it waits for others")
		for _, o := range f.after(15 * time.Minute) {
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
		counts, short := map[string]int{}, ""
		for _, o := range by(BySMS, f.until(t, told)) {
			counts[o.To]++
			short = read(o).Short
		}
		require.NotEmpty(t, counts)
		require.Regexp(t, `HIGH: 20 things are owed: 1\) Test channel air-\d+ with a known gas; 2\) Test channel air-`, short)
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

// What is owed and falls due together is one e-mail to each person, at any hour, with the
// priority of each; what lives hang on goes at once, by itself.
func TestWhatIsOwedIsOneMail(t *testing.T) {
	check := func(n int, priority string) *logbook.Alarm {
		a := owed(priority, "")
		a.Code, a.Stack, a.Store, a.Channel = logbook.FollowBumpTest, "", "", fmt.Sprintf("air-%d", n)
		return a
	}
	for _, at := range []string{"2026-03-02 10:00", "2026-03-02 22:00"} {
		f := feedAt(t, wired(), at)
		for n := range 20 {
			require.Empty(t, by(ByMail, f.fold(check(n, logbook.PriorityMedium))))
		}
		require.Empty(t, by(ByMail, f.fold(owed(logbook.PriorityHigh, "S. Rai"))))
		require.Empty(t, by(ByMail, f.fold(check(7, logbook.PriorityHigh))), "more pressing by now")
		gas := by(ByMail, f.fold(of("air-gas", logbook.PriorityHigh, true)))
		require.Len(t, gas, 3, "at once")
		require.NotContains(t, read(gas[0]).Text, "air-1")
		out := by(ByMail, f.after(15*time.Minute))
		require.Equal(t, []string{"S. Rai", "P. Gurung", "T. Lama"}, to(out))
		l := read(out[0])
		require.Contains(t, l.Subject, "HIGH: 21 things are owed")
		require.Equal(t, logbook.PriorityHigh, l.Priority)
		require.Equal(t, 2, strings.Count(l.Text, "- HIGH: "))
		require.Equal(t, 19, strings.Count(l.Text, "- MEDIUM: "))
		require.Less(t, strings.LastIndex(l.Text, "- HIGH: "), strings.Index(l.Text, "- MEDIUM: "), "the gravest first")
		require.NotContains(t, l.Text, "Gas in the air", "what lives hang on is never among them")
		require.Contains(t, read(out[1]).Subject, "2 things are owed", "who is told from high on")
		require.Empty(t, by(ByMail, f.after(time.Hour)), "told once")

		for n := range 20 {
			f.fold(in(logbook.AlarmCleared, check(n, logbook.PriorityMedium), ""))
		}
		l = read(by(ByMail, f.after(31*time.Minute))[0])
		require.Contains(t, l.Subject, "20 things that were owed are over")
		require.Contains(t, l.Text, "- MEDIUM: Test channel air-1 with a known gas\n")
		require.NotContains(t, l.Text, "Overdue", "it is over")
	}
}

// One thing that is owed is told as every alarm is; nobody hears of one that was over
// before it was told, nor that it is over.
func TestOwedAlone(t *testing.T) {
	f := newFeed()
	f.fold(owed(logbook.PriorityMedium, ""))
	l := read(f.after(15 * time.Minute)[0])
	require.Contains(t, l.Subject, "jar")
	f.fold(in(logbook.AlarmCleared, owed(logbook.PriorityMedium, ""), ""))
	require.NotEmpty(t, f.after(31*time.Minute))

	f.fold(owed(logbook.PriorityMedium, ""))
	f.fold(in(logbook.AlarmCleared, owed(logbook.PriorityMedium, ""), ""))
	require.Empty(t, f.after(31*time.Minute))
	require.Empty(t, f.after(time.Hour))
}

// An alarm that wakes people, or on which lives hang, never waits for others, whatever
// its record says is owed.
func TestNothingGraveWaits(t *testing.T) {
	for _, a := range []*logbook.Alarm{of("air-gas", logbook.PriorityHigh, false), of("follow-up-due", logbook.PriorityHigh, true)} {
		a.Owed = &logbook.Owed{Due: noon}
		require.Len(t, by(ByMail, newFeed().fold(a)), 3, a.Alarm)
	}
}

// Every list of what is owed, in every language, by day and by night, sends nobody in.
func TestListsSendNobodyIn(t *testing.T) {
	for _, lang := range words.Languages() {
		for _, start := range []string{"2026-03-01 09:00", "2026-03-01 23:00"} {
			for _, priority := range []string{logbook.PriorityLow, logbook.PriorityMedium, logbook.PriorityHigh} {
				f := feedAt(t, spoken(lang), start)
				for _, kind := range logbook.FollowUps {
					a := owed(priority, "")
					a.Code, a.Channel = kind, "s2-door"
					f.fold(a)
				}
				out := by(ByMail, f.after(15*time.Minute))
				require.NotEmpty(t, out)
				l := read(out[0])
				emergency := words.Text(lang, "mail/emergency", "{line}", "call 00 1 and the fumigator, 00 2")
				require.Empty(t, lint(lang, l.Text, emergency, NightOf(f.Site).Dark(out[0].NotBefore)), l.Text)
				require.NotContains(t, l.Text, "{")
			}
		}
	}
}

// Two follow-ups of one stack are two alarms, and the message says when and by whom.
func TestFollowUpsOfOneStackAreToldApart(t *testing.T) {
	f := newFeed()
	f.fold(owed(logbook.PriorityMedium, "S. Rai"))
	other := owed(logbook.PriorityMedium, "S. Rai")
	other.Code = logbook.FollowSheetRepair
	f.fold(other)
	out := f.after(15 * time.Minute)
	require.Len(t, out, 1)
	l := read(out[0])
	require.Contains(t, l.Text, "Due: the sheet of stack B")
	require.Contains(t, l.Text, "Due: the jar with the samples")
	require.Contains(t, l.Text, "To be done by S. Rai")
	require.Contains(t, l.Text, "Due: 2026-03-01 17:45 +0545 (2026-03-01 12:00 UTC)")
}
