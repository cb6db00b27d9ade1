package correction_test

import (
	"fmt"
	"iter"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"undersheet/logbook"
	"undersheet/rules/correction"
)

var noon = logbook.At(time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC))

// after gives an entry its kind and the time, as many minutes after noon.
func after(minutes int, e logbook.Entry, kind logbook.Kind) logbook.Entry {
	h := e.Head()
	h.Kind, h.Time = kind, noon.Add(time.Duration(minutes)*time.Minute)
	h.Received = h.Time
	return e
}

func tick(minutes int) logbook.Entry { return after(minutes, &logbook.Clock{}, logbook.KindClock) }

func paused(minutes int, stack string) logbook.Entry {
	return after(minutes, &logbook.AiringPaused{OnStack: logbook.OnStack{Stack: stack}, Act: logbook.Act{By: "N. Ferreira"}}, logbook.KindAiringPaused)
}

// correct puts right in the place of the act that was entry number of; nil strikes it.
func correct(t *testing.T, minutes int, of uint64, right logbook.Entry) logbook.Entry {
	c := &logbook.Corrected{Of: of, Withdrawn: right == nil, Why: "misread", Act: logbook.Act{By: "N. Ferreira"}}
	if right != nil {
		right.Head().Received = 0
		text, err := logbook.Encode(right)
		require.NoError(t, err)
		c.Entry = text
	}
	return after(minutes, c, logbook.KindCorrected)
}

func log(entries ...logbook.Entry) iter.Seq2[logbook.Entry, error] {
	return func(yield func(logbook.Entry, error) bool) {
		for _, e := range entries {
			if !yield(e, nil) {
				return
			}
		}
	}
}

// read lists what stands, as kind, stack and minute.
func read(t *testing.T, entries iter.Seq2[logbook.Entry, error]) []string {
	var out []string
	for e, err := range entries {
		require.NoError(t, err)
		line := fmt.Sprintf("%s %g", e.Head().Kind, e.Head().Time.Sub(noon).Minutes())
		if a, ok := e.(logbook.Acting); ok {
			_, stack := a.Place()
			line += " " + stack
		}
		out = append(out, line)
	}
	return out
}

func TestRightStandsWhereWrongStood(t *testing.T) {
	got := read(t, correction.Applied(log(paused(0, "A"), tick(10), correct(t, 20, 1, paused(-5, "B")), tick(30))))
	assert.Equal(t, []string{"airing-paused -5 B", "clock 10", "clock 30"}, got)
}

func TestWithdrawnIsGone(t *testing.T) {
	got := read(t, correction.Applied(log(paused(0, "A"), tick(10), correct(t, 20, 1, nil))))
	assert.Equal(t, []string{"clock 10"}, got)
}

// A right entry that is of a later time waits for it.
func TestRightWaitsForItsTime(t *testing.T) {
	got := read(t, correction.Applied(log(paused(0, "A"), tick(10), tick(40), correct(t, 50, 1, paused(30, "A")))))
	assert.Equal(t, []string{"clock 10", "airing-paused 30 A", "clock 40"}, got)
}

func TestNewestCorrectionCounts(t *testing.T) {
	got := read(t, correction.Applied(log(paused(0, "A"), correct(t, 10, 1, nil), correct(t, 20, 1, paused(0, "B")))))
	assert.Equal(t, []string{"airing-paused 0 B"}, got)
}

// What names no act before it, an act of another kind, or a time to come is no correction:
// the act stays as it was.
func TestMisfits(t *testing.T) {
	for name, c := range map[string]logbook.Entry{
		"a reading":       correct(t, 20, 2, nil),
		"a later one":     correct(t, 20, 9, nil),
		"another kind":    correct(t, 20, 1, after(0, &logbook.SheetTorn{OnStack: logbook.OnStack{Stack: "A"}, Act: logbook.Act{By: "N. Ferreira"}}, logbook.KindSheetTorn)),
		"a time to come":  correct(t, 20, 1, paused(60, "A")),
		"no act with seq": correct(t, 20, 0, nil),
	} {
		entries := log(paused(0, "A"), tick(10), c)
		fixes, misfit, err := correction.Of(entries)
		require.NoError(t, err)
		assert.Empty(t, fixes, name)
		assert.Equal(t, []uint64{3}, misfit, name)
		assert.Equal(t, []string{"airing-paused 0 A", "clock 10"}, read(t, fixes.Apply(entries)), name)
	}
}

func TestUnreadableEntryEndsIt(t *testing.T) {
	broken := fmt.Errorf("read entry 2: torn")
	var got []error
	for _, err := range correction.Applied(func(yield func(logbook.Entry, error) bool) {
		_ = yield(tick(0), nil) && yield(nil, broken)
	}) {
		got = append(got, err)
	}
	assert.Equal(t, []error{broken}, got)
}
