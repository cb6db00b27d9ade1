package forward

import (
	"fmt"
	"net/http"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/logbook"
)

// influx answers like InfluxDB 1.x to a batch with lines that it cannot read: it
// takes the others and names none as dropped. "database is required" and its like
// are answered the same way.
func influx(k **taker, bad func(line string) bool) func(http.ResponseWriter, *http.Request, []string) bool {
	return func(w http.ResponseWriter, _ *http.Request, lines []string) bool {
		any := false
		for _, l := range lines {
			if bad(l) {
				any = true
			} else {
				(*k).take(l)
			}
		}
		if any {
			http.Error(w, `{"error":"unable to parse"}`, http.StatusBadRequest)
		}
		return any
	}
}

// without returns text without the lines for which bad holds, and how many those are.
func without(text string, bad func(string) bool) (string, int) {
	var rest strings.Builder
	n := 0
	for l := range strings.Lines(text) {
		if bad(l) {
			n++
		} else {
			rest.WriteString(l)
		}
	}
	return rest.String(), n
}

// TestBadLines: lines that a server refuses are found, counted and passed over;
// all others arrive, and the refused ones are not sent for ever.
func TestBadLines(t *testing.T) {
	bad := func(l string) bool { return strings.Contains(l, "value=-1 ") }
	for name, server := range map[string]func(k **taker) func(http.ResponseWriter, *http.Request, []string) bool{
		"keeps the good": func(k **taker) func(http.ResponseWriter, *http.Request, []string) bool { return influx(k, bad) },
		"keeps nothing": func(**taker) func(http.ResponseWriter, *http.Request, []string) bool {
			return func(w http.ResponseWriter, _ *http.Request, lines []string) bool {
				if strings.Contains(strings.Join(lines, ""), "value=-1 ") {
					http.Error(w, "no", http.StatusUnprocessableEntity)
					return true
				}
				return false
			}
		},
		"too large": func(**taker) func(http.ResponseWriter, *http.Request, []string) bool {
			return func(w http.ResponseWriter, _ *http.Request, lines []string) bool {
				if len(lines) > 3 || slices.ContainsFunc(lines, bad) {
					http.Error(w, "no", http.StatusRequestEntityTooLarge)
					return true
				}
				return false
			}
		},
	} {
		t.Run(name, func(t *testing.T) {
			var k *taker
			k = newTaker(t, func(w http.ResponseWriter, r *http.Request, lines []string) bool { return server(&k)(w, r, lines) })
			s := store(t)
			fill(t, s, 0, 1000)
			f := newHasty(t, k.to(), s, Options{Lines: 400})
			run(t, f)
			arrive(t, f)
			rest, n := without(want(t, s), bad)
			st := f.Stats()
			require.Equal(t, rest, k.content())
			require.Equal(t, 20, n)
			require.EqualValues(t, n, st.Refused)
			require.EqualValues(t, len(k.order), st.Sent)
			require.Contains(t, st.LastError, "passed over")
			asked := k.requests()
			fill(t, s, 2000, 10)
			arrive(t, f)
			require.LessOrEqual(t, k.requests(), asked+15, "what was refused is not sent again")
			require.Less(t, asked, 1500)
		})
	}
}

// TestPartialWrite: InfluxDB says how many points of a batch it dropped and that
// it wrote the others; that is one request.
func TestPartialWrite(t *testing.T) {
	k := newTaker(t, func(w http.ResponseWriter, _ *http.Request, lines []string) bool {
		http.Error(w, fmt.Sprintf(`{"error":"partial write: points beyond retention policy dropped=%d"}`, len(lines)), http.StatusBadRequest)
		return true
	})
	s := store(t)
	fill(t, s, 0, 1000)
	f := newHasty(t, k.to(), s, Options{Lines: 500})
	run(t, f)
	arrive(t, f)
	st := f.Stats()
	_, n := without(want(t, s), func(string) bool { return true })
	require.EqualValues(t, n, st.Refused)
	require.Zero(t, st.Sent)
	require.Contains(t, st.LastError, "beyond retention policy")
	require.LessOrEqual(t, k.requests(), 4)
	for said, want := range map[string]int{"": 0, "dropped=3": 0, "partial write: x dropped=3": 3, "partial write: dropped=99999999999999999999": 0} {
		require.Equal(t, want, dropped(said), said)
	}
}

// TestRefusesAll: a server that takes no line at all, as one without a database,
// loses none: the cursor stays, and the log is not run through line by line.
func TestRefusesAll(t *testing.T) {
	var well atomic.Bool
	var k *taker
	k = newTaker(t, func(w http.ResponseWriter, r *http.Request, lines []string) bool {
		return influx(&k, func(string) bool { return !well.Load() })(w, r, lines)
	})
	s := store(t)
	fill(t, s, 0, 1000)
	f := newHasty(t, k.to(), s, Options{})
	run(t, f)
	require.Eventually(t, func() bool { return f.Stats().Failed >= 3 }, patience, time.Millisecond)
	st := f.Stats()
	require.Zero(t, st.Cursor)
	require.Zero(t, st.Refused)
	require.True(t, st.Attention)
	require.Contains(t, st.LastError, "refuses every line")
	require.Less(t, k.requests(), 100*int(f.Stats().Failed+1))
	well.Store(true)
	arrive(t, f)
	require.Equal(t, want(t, s), k.content())
}

// TestSmaller: what is too much at once is sent in smaller batches, which grow again.
func TestSmaller(t *testing.T) {
	s := store(t)
	f := newHasty(t, logbook.Forward{Name: "x", File: "x"}, s, Options{Lines: 160})
	full := &batch{full: true}
	f.resize(sent{smaller: true}, full)
	require.Equal(t, 80, f.limit)
	f.resize(sent{smaller: true, err: &failure{}}, full)
	require.Equal(t, 40, f.limit)
	f.resize(sent{}, full)
	require.Equal(t, 51, f.limit)
	f.resize(sent{}, &batch{})
	require.Equal(t, 51, f.limit, "a batch that was not full proves nothing")
	for range 20 {
		f.resize(sent{}, full)
	}
	require.Equal(t, 160, f.limit)
	for range 20 {
		f.resize(sent{smaller: true}, full)
	}
	require.Equal(t, 1, f.limit)
}
