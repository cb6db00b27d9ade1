package alert

import (
	"encoding/json"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"undersheet/logbook"
)

// TestRestartAtAnyEntry: a planner read back from JSON before any entry of any
// history plans what one that never stopped plans, nights and repeats included.
func TestRestartAtAnyEntry(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		entries := rapid.SliceOfN(rapid.Custom(oneEntry), 1, 40).Draw(t, "entries")
		restarted(t, rapid.SampledFrom([]string{"2026-03-01 19:30", "2026-03-28 23:00", "2026-06-01 05:30"}).Draw(t, "start"), entries)
	})
	evening := []step{raising(40*time.Minute, of("leak", "high", false)), raising(time.Minute, of("power-lost", "medium", false)),
		raising(time.Minute, of("fire-risk", "high", true))}
	for range 60 { // into the next day
		evening = append(evening, step{20 * time.Minute, func() logbook.Entry { return &logbook.Clock{} }})
	}
	told := strings.Join(restarted(t, "2026-03-01 19:30", evening), "\n")
	require.Contains(t, told, `"short":`)
	require.Contains(t, told, "alarms since")
	require.Contains(t, told, "still not acknowledged")
}

func raising(after time.Duration, a *logbook.Alarm) step {
	return step{after, func() logbook.Entry { return in(logbook.AlarmRaised, a, "") }}
}

// restarted plays a history whole and with a restart before each entry, and
// returns the messages.
func restarted(t require.TestingT, start string, entries []step) []string {
	play := func(cut int) (all []string) {
		f := feedAt(t, wired(), start)
		for i, e := range entries {
			if i == cut {
				b, err := json.Marshal(f.Planner)
				require.NoError(t, err)
				f.Planner = NewPlanner(PlannerOptions{})
				require.NoError(t, json.Unmarshal(b, f.Planner))
			}
			f.now = f.now.Add(e.after)
			for _, o := range f.fold(e.entry()) {
				all = append(all, fmt.Sprint(o.Key, o.Messenger, o.To, o.NotBefore, string(o.Body)))
			}
		}
		return all
	}
	want := play(-1)
	keys := map[string]bool{}
	for _, m := range want {
		require.False(t, keys[m[:32]], "two messages of one key: %s", m)
		keys[m[:32]] = true
	}
	for cut := range entries {
		require.Equal(t, want, play(cut), "cut before %d", cut)
	}
	return want
}

// step is an entry of a drawn history.
type step struct {
	after time.Duration
	entry func() logbook.Entry
}

func oneEntry(t *rapid.T) step {
	s := step{after: time.Duration(rapid.SampledFrom([]int{0, 1, 10, 16, 31, 61, 200}).Draw(t, "minutes")) * time.Minute}
	switch kind := rapid.IntRange(0, 9).Draw(t, "kind"); {
	case kind < 3:
		s.entry = func() logbook.Entry { return &logbook.Clock{} }
	case kind == 3:
		state := rapid.SampledFrom([]string{logbook.GateCleared, logbook.GateShut, logbook.GateAiring}).Draw(t, "gate")
		s.entry = func() logbook.Entry { return &logbook.Gate{Store: "Store 2", State: state} }
	default:
		a := of(rapid.SampledFrom([]string{"leak", "power-lost", "line-silent", "fire-risk", "follow-up-due"}).Draw(t, "alarm"),
			rapid.SampledFrom([]string{"low", "medium", "high"}).Draw(t, "priority"), rapid.Bool().Draw(t, "wake"))
		a.State = rapid.SampledFrom([]string{logbook.AlarmRaised, logbook.AlarmRaised, logbook.AlarmSeen, logbook.AlarmCleared}).Draw(t, "state")
		a.By = "S. Rai"
		if a.Alarm == "follow-up-due" {
			a.Owed = &logbook.Owed{Treatment: rapid.SampledFrom([]string{"B-6", "B-7"}).Draw(t, "treatment"), Due: noon}
		}
		if rapid.Bool().Draw(t, "also") {
			a.Also = []string{"line-silent"}
		}
		s.entry = func() logbook.Entry { return in(a.State, a, a.By) }
	}
	return s
}
