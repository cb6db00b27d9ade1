package alert

import (
	"encoding/json"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/logbook"
	"undersheet/logbook/sqlite"
	"undersheet/logbook/words"
	"undersheet/rules"
)

var noon = logbook.At(time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC))

// site is an invented depot five hours and three quarters ahead of UTC.
func site() logbook.Site {
	return logbook.Site{Name: "Bagmati Store", Timezone: "Asia/Kathmandu", Emergency: "call 00 1 and the fumigator, 00 2",
		Mail: &logbook.Mail{Host: "localhost", From: "Depot <depot@bagmati.example>"},
		People: []logbook.Person{{Name: "S. Rai", Email: "rai@bagmati.example"}, {Name: "P. Gurung", Email: "gurung@bagmati.example", From: "high"},
			{Name: "T. Lama", Email: "lama@bagmati.example", From: "low"}, {Name: "D. Thapa"}}}
}

// view is what the rules know when messages are written.
func view() *rules.View {
	return &rules.View{Site: "Bagmati Store", Stores: []rules.StoreView{{Name: "Store 2",
		Gate: logbook.Gate{Store: "Store 2", State: logbook.GateShut, Reasons: []logbook.Reason{{Code: "under-gas", About: "B", Value: 61}}},
		Air:  []rules.AirView{{Name: "door", Where: "door", Last: rules.Sample{At: noon, PPM: 0.04, Unit: "ppm", State: "ok"}}},
		Stacks: []rules.StackView{{Name: "B", Treatment: "B-7", Phase: logbook.PhaseExposure, EndLevelPPM: 150,
			Lines:  []rules.LineView{{Name: "north top", Last: rules.Sample{At: noon, PPM: 412.4, Unit: "ppm", State: "ok"}}, {Name: "south low"}},
			Lowest: &logbook.Forecast{For: noon.Add(48 * time.Hour), PPM: logbook.Quantiles{P05: 80, P50: 121, P95: 180}, ChanceMet: 0.12},
			Outlook: &logbook.Outlook{Stack: "B", At: noon, For: noon.Add(48 * time.Hour), EndPPM: 150, Chance: 0.12, Want: 0.95,
				TopUp: logbook.TopUp{Known: true, Grams: 122, Most: 520, Until: noon.Add(30 * time.Hour), Airing: noon.Add(50 * time.Hour)}}}}}}}
}

// feed folds entries into a planner, as the watch does.
type feed struct {
	*Planner
	seq uint64
	now logbook.Time
}

func newFeed() *feed {
	f := &feed{Planner: NewPlanner(PlannerOptions{}), now: noon}
	f.fold(&logbook.SiteConfigured{Site: site()})
	return f
}

func (f *feed) fold(e logbook.Entry) []sqlite.Outgoing {
	f.seq++
	e.Head().Seq, e.Head().Received, e.Head().Time = f.seq, f.now, f.now
	if r, ok := e.(logbook.Recorded); ok {
		r.Rec().Of = f.seq - 1
	}
	return f.Fold(e, func() (*rules.View, sqlite.Head) {
		return view(), sqlite.Head{Seq: f.seq, Hash: "c0ffee", LogID: "1234"}
	})
}

// after lets time pass, seen by a clock entry.
func (f *feed) after(d time.Duration) []sqlite.Outgoing {
	f.now = f.now.Add(d)
	return f.fold(&logbook.Clock{})
}

func leak(state string) *logbook.Alarm {
	return &logbook.Alarm{State: state, Alarm: "leak", Store: "Store 2", Stack: "B", Line: "north top", Onset: noon.Add(-90 * time.Minute),
		Priority: logbook.PriorityHigh, Value: 0.9, Limit: 0.3, Also: []string{"end-level-at-risk", "line-silent A top"},
		Grounds: &logbook.Grounds{From: noon.Add(-2 * time.Hour), To: noon.Add(-time.Hour), Statistic: 6.2, Threshold: 4.9}}
}

func read(o sqlite.Outgoing) Letter {
	var l Letter
	if err := json.Unmarshal(o.Body, &l); err != nil {
		panic(err)
	}
	return l
}

func TestWhoIsTold(t *testing.T) {
	for priority, want := range map[string][]string{
		logbook.PriorityHigh:   {"S. Rai", "P. Gurung", "T. Lama"},
		logbook.PriorityMedium: {"S. Rai", "T. Lama"},
		logbook.PriorityLow:    {"T. Lama"},
		"unheard-of":           {"S. Rai", "P. Gurung", "T. Lama"}, // from a newer program: told, not dropped
	} {
		a := leak(logbook.AlarmRaised)
		a.Priority = priority
		var got []string
		for _, o := range newFeed().fold(a) {
			got = append(got, o.To)
			require.Equal(t, ByMail, o.Messenger)
			require.Equal(t, noon.Std(), o.NotBefore)
		}
		require.Equal(t, want, got, priority)
	}
}

// TestMessage reads one whole message.
func TestMessage(t *testing.T) {
	l := read(newFeed().fold(leak(logbook.AlarmRaised))[0])
	require.True(t, strings.HasPrefix(l.Subject, "[Bagmati Store] HIGH: "), l.Subject)
	require.Contains(t, l.Subject, "stack B")
	require.True(t, strings.HasSuffix(l.ID, "@bagmati.example"), l.ID)
	for _, part := range []string{
		"Began: 2026-03-01 16:15 +0545 (2026-03-01 10:30 UTC)",
		"Of the same cause: end level at risk, line silent A top",
		"Stack B, treatment B-7, read last under the sheet:",
		"- north top: 412 ppm (ok) at 2026-03-01 17:45 +0545 (2026-03-01 12:00 UTC)",
		"- south low: nothing read yet",
		"At the end (Tue 3 Mar 17:45) the lowest line is expected at 121 ppm (90 %: 80–180); the chance that every line is at or above 150 ppm is 12 %.",
		"Since about Sun 1 Mar 16:15 (15:45–16:45) line north top has lost gas 3.0 times as fast as before (0.30 → 0.90 per day); the statistic was 6.2 against a threshold of 4.9.",
		"Gate: Store 2: the gate is shut. Keep out.",
		"Stack B is under gas, 61 hours from the start.",
		"- door (door): 0.04 ppm (ok)",
		"two trained people with breathing protection, in daylight",
		"verify --head c0ffee",
	} {
		require.Contains(t, l.Text, part)
	}
	require.True(t, strings.HasSuffix(l.Text, "\n\nEmergency: call 00 1 and the fumigator, 00 2\n"), l.Text)
}

// An end level at risk comes with what can still be done, and with who decides. At
// night it is said that nobody goes in, and not how one would.
func TestOutlookInMessage(t *testing.T) {
	for _, at := range []struct {
		hour  time.Duration // after 17:45 in Kathmandu
		night bool
	}{{0, false}, {6 * time.Hour, true}} {
		f := newFeed()
		f.now = noon.Add(at.hour)
		a := leak(logbook.AlarmRaised)
		a.Alarm, a.Grounds = "end-level-at-risk", nil
		l := read(f.fold(a)[0])
		require.Contains(t, l.Text, "Phosphine added now, 122 g, would bring the chance to 95 %")
		require.Contains(t, l.Text, "is for the licensed fumigator to decide, within the label and the law.")
		require.Equal(t, 1, strings.Count(l.Text, words.Text("en", "two-people")), l.Text)
		require.Equal(t, at.night, strings.Contains(l.Text, "within the label and the law. "+words.Text("en", "mail/night")), l.Text)
	}
	require.NotContains(t, read(newFeed().fold(leak(logbook.AlarmRaised))[0]).Text, "Phosphine added", "it answers another alarm")
}

// TestKeysAreStable: the same record gives the same keys and Message-IDs in
// every run, whether it has its own seq yet or not, and no two are alike.
func TestKeysAreStable(t *testing.T) {
	one, other := newFeed(), newFeed()
	a, b := one.fold(leak(logbook.AlarmRaised)), other.fold(leak(logbook.AlarmRaised))
	require.Equal(t, a, b)
	early := leak(logbook.AlarmRaised)
	early.Of = 1
	third := newFeed()
	c := third.Fold(early, func() (*rules.View, sqlite.Head) { return view(), sqlite.Head{LogID: "1234"} })
	seen := map[string]bool{}
	for i := range a {
		require.Equal(t, a[i].Key, c[i].Key)
		require.Equal(t, read(a[i]).ID, read(c[i]).ID)
		require.False(t, seen[a[i].Key])
		seen[a[i].Key] = true
	}
	restored := newFeed().Fold(early, func() (*rules.View, sqlite.Head) { return view(), sqlite.Head{LogID: "5678"} })
	require.NotEqual(t, a[0].Key, restored[0].Key, "another log")
}

// TestChatter: an alarm that comes and goes is one message at its start and one,
// with a count, when it has stayed quiet.
func TestChatter(t *testing.T) {
	f := newFeed()
	require.Len(t, f.fold(leak(logbook.AlarmRaised)), 3)
	for range 4 {
		require.Empty(t, f.after(5*time.Minute))
		require.Empty(t, f.fold(leak(logbook.AlarmCleared)))
		require.Empty(t, f.after(29*time.Minute), "not yet quiet: people still believe the worse")
		require.Empty(t, f.fold(leak(logbook.AlarmRaised)))
	}
	require.Empty(t, f.fold(leak(logbook.AlarmCleared)))
	require.Empty(t, f.after(29*time.Minute))
	out := f.after(time.Minute)
	require.Len(t, out, 3)
	l := read(out[0])
	require.Contains(t, l.Subject, "Over: ")
	require.Contains(t, l.Text, "lets nobody in")
	require.Contains(t, l.Text, "It came 5 times in that span")
	require.Empty(t, f.after(time.Hour), "told once")
	require.Len(t, f.fold(leak(logbook.AlarmRaised)), 3, "a new one is told again")
	require.Len(t, f.fold(leak(logbook.AlarmRaised)), 3, "raised twice without an end: told, not dropped")
}

func TestWorseIsToldAtOnce(t *testing.T) {
	f := newFeed()
	fire := func(state, priority, code string) *logbook.Alarm {
		return &logbook.Alarm{State: state, Alarm: "fire-risk", Stack: "B", Priority: priority, Code: code}
	}
	require.Len(t, f.fold(fire(logbook.AlarmRaised, logbook.PriorityMedium, "")), 2)
	f.fold(fire(logbook.AlarmCleared, logbook.PriorityMedium, ""))
	require.Len(t, f.fold(fire(logbook.AlarmRaised, logbook.PriorityHigh, "")), 3, "a higher priority")
	f.fold(fire(logbook.AlarmCleared, logbook.PriorityHigh, ""))
	require.Len(t, f.fold(fire(logbook.AlarmRaised, logbook.PriorityHigh, "over-range")), 3, "another case")
	f.fold(fire(logbook.AlarmCleared, logbook.PriorityHigh, ""))
	require.Len(t, f.after(31*time.Minute), 3, "the end goes to all who were told")
}

func TestClearanceThatFalls(t *testing.T) {
	gate := func(state string, codes ...string) *logbook.Gate {
		g := &logbook.Gate{Store: "Store 2", State: state, LimitPPM: 0.3}
		for _, c := range codes {
			g.Reasons = append(g.Reasons, logbook.Reason{Code: c, About: "door", Value: 20, Limit: 30})
		}
		return g
	}
	for _, tt := range []struct {
		state string
		code  string
		want  string // of the first subject
	}{
		{logbook.GateAiring, "point-silent", "[Bagmati Store] HIGH: The clearance of Store 2 no longer holds"},
		{logbook.GateCheckOwed, "confirmation-lapsed", "[Bagmati Store] MEDIUM: The clearance of Store 2 no longer holds"},
		{logbook.GateShut, "dosing", "[Bagmati Store] MEDIUM: The clearance of Store 2 no longer holds"},
		{logbook.GateAiring, "air-above-limit", ""}, // the alarm gate-rebound tells it
	} {
		f := newFeed()
		require.Empty(t, f.fold(gate(logbook.GateShut)))
		require.Empty(t, f.fold(gate(logbook.GateCleared)))
		out := f.fold(gate(tt.state, tt.code))
		if tt.want == "" {
			require.Empty(t, out)
			continue
		}
		require.Equal(t, tt.want, read(out[0]).Subject)
		require.Contains(t, read(out[0]).Text, "Whoever is inside comes out.")
		require.Empty(t, f.fold(gate(logbook.GateShut)), "told once")
	}
}

// TestEveryMessageKeepsPeopleOut: whatever the alarm, no message says safe, and
// each says two people, breathing protection and daylight, and ends with the
// emergency line.
func TestEveryMessageKeepsPeopleOut(t *testing.T) {
	names := strings.Fields(`leak end-level-at-risk end-level-missed uneven-gas air-gas gate-rebound line-silent line-off line-blocked lines-swapped instrument-drift instrument-fault
		instrument-silent clock-ahead clock-behind unwatched untold-dose point-silent fire-risk too-cold masked-entry-overdue follow-up-due door-opened power-lost watch-stopped one-nobody-knows`)
	for _, name := range names {
		for _, state := range []string{logbook.AlarmRaised, logbook.AlarmCleared} {
			f := newFeed()
			a := leak(logbook.AlarmRaised)
			a.Alarm, a.Point, a.Channel = name, "door\r\nEmergency: none", "s2-door"
			out := f.fold(a)
			if state == logbook.AlarmCleared {
				a := *a
				a.State = state
				f.fold(&a)
				out = f.after(time.Hour)
			}
			require.Len(t, out, 3, name)
			l := read(out[0])
			low := strings.ToLower(l.Subject + "\n" + l.Text)
			require.NotContains(t, low, "safe", name)
			require.Contains(t, l.Text, "two trained people with breathing protection, in daylight. Otherwise keep everybody out and wait.", name)
			require.True(t, strings.HasSuffix(l.Text, "\nEmergency: call 00 1 and the fumigator, 00 2\n"), name)
			require.NotContains(t, l.Subject, "\n")
			require.NotContains(t, l.Text, "\nEmergency: none", "a name makes no line of its own")
		}
	}
}

// TestSnapshotOfPlanner: a planner read back from JSON goes on as the one that
// was written.
func TestSnapshotOfPlanner(t *testing.T) {
	entries := func() []func(f *feed) []sqlite.Outgoing {
		var es []func(f *feed) []sqlite.Outgoing
		for i := range 12 {
			state := []string{logbook.AlarmRaised, logbook.AlarmCleared}[i%2]
			es = append(es, func(f *feed) []sqlite.Outgoing { return f.fold(leak(state)) },
				func(f *feed) []sqlite.Outgoing { return f.after(time.Duration(i) * 9 * time.Minute) },
				func(f *feed) []sqlite.Outgoing {
					return f.fold(&logbook.Gate{Store: "Store 2", State: []string{logbook.GateCleared, logbook.GateShut}[i%2]})
				})
		}
		return es
	}()
	play := func(cut int) (all []string) {
		f := newFeed()
		for i, e := range entries {
			if i == cut {
				b, err := json.Marshal(f.Planner)
				require.NoError(t, err)
				f.Planner = NewPlanner(PlannerOptions{})
				require.NoError(t, json.Unmarshal(b, f.Planner))
			}
			for _, o := range e(f) {
				all = append(all, fmt.Sprint(o.Key, string(o.Body)))
			}
		}
		return all
	}
	want := play(-1)
	require.Greater(t, len(want), 20)
	for cut := range entries {
		require.Equal(t, want, play(cut), "cut before %d", cut)
	}
}

func TestNobodyIsToldWithoutAMailServer(t *testing.T) {
	f := newFeed()
	bare := site()
	bare.Mail = nil
	f.fold(&logbook.SiteConfigured{Site: bare})
	require.Empty(t, f.fold(leak(logbook.AlarmRaised)))
}

func TestNobodyIsToldBeforeTheSiteIsKnown(t *testing.T) {
	p := NewPlanner(PlannerOptions{})
	require.Empty(t, p.Fold(leak(logbook.AlarmRaised), func() (*rules.View, sqlite.Head) { panic("not asked") }))
}
