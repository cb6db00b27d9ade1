package sqlite

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/logbook"
)

// noon is when the tests' entries begin.
var noon = time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)

// clock is a wall clock that the test sets.
type clock struct {
	mu sync.Mutex
	t  time.Time
}

func (c *clock) now() time.Time { c.mu.Lock(); defer c.mu.Unlock(); return c.t }

func (c *clock) set(t time.Time) { c.mu.Lock(); defer c.mu.Unlock(); c.t = t }

func openTest(t testing.TB, path string, o Options) *Store {
	t.Helper()
	s, err := Open(path, o)
	require.NoError(t, err)
	t.Cleanup(func() { s.Close() })
	return s
}

// fresh returns a new logbook whose clock stands at noon.
func fresh(t testing.TB) (*Store, *clock) {
	t.Helper()
	c := &clock{t: noon}
	return openTest(t, filepath.Join(t.TempDir(), "site.db"), Options{Now: c.now}), c
}

// reading returns a reading of channel, i minutes after noon.
func reading(channel string, i int, value float64) *logbook.Reading {
	return &logbook.Reading{Header: logbook.Header{Kind: logbook.KindReading, Time: logbook.At(noon.Add(time.Duration(i) * time.Minute))},
		Channel: channel, Value: value, Unit: logbook.PPM}
}

// dosing returns an act with a client id.
func dosing(id, stack string, i int) *logbook.DosingStarted {
	return &logbook.DosingStarted{Header: logbook.Header{Kind: logbook.KindDosingStarted, ID: id,
		Time: logbook.At(noon.Add(time.Duration(i) * time.Minute))}, OnStack: logbook.OnStack{Stack: stack}, Act: logbook.Act{By: "R. Amadi"}}
}

// all returns every entry of s.
func all(t testing.TB, s *Store) []logbook.Entry {
	t.Helper()
	got, err := s.Read(t.Context(), 1, 1<<30)
	require.NoError(t, err)
	for i, e := range got {
		require.EqualValues(t, i+1, e.Head().Seq)
	}
	return got
}

func TestAppendGivesSeqReceivedAndVersion(t *testing.T) {
	s, c := fresh(t)
	r, d := reading("b-north", 0, 412), dosing("", "B", 1)
	got, err := s.Append(t.Context(), []logbook.Entry{r, d})
	require.NoError(t, err)
	require.Equal(t, []Stored{{Seq: 1}, {Seq: 2}}, got)
	require.EqualValues(t, 2, d.Seq)
	require.Equal(t, logbook.At(noon), d.Received)
	require.Equal(t, logbook.Version, r.V)

	c.set(noon.Add(-time.Hour)) // a board that lost its clock
	require.True(t, s.ClockBehind())
	late := reading("b-north", 2, 411)
	_, err = s.Append(t.Context(), []logbook.Entry{late})
	require.NoError(t, err)
	require.Equal(t, logbook.At(noon), late.Received, "received never decreases")
	c.set(noon.Add(time.Hour))
	require.False(t, s.ClockBehind())
	require.Equal(t, []logbook.Entry{r, d, late}, all(t, s))
}

func TestAppendDropsDuplicates(t *testing.T) {
	s, _ := fresh(t)
	ctx := t.Context()
	_, err := s.Append(ctx, []logbook.Entry{reading("b-north", 0, 412), dosing("k1", "B", 0)})
	require.NoError(t, err)
	second := reading("b-north", 0, 99)
	got, err := s.Append(ctx, []logbook.Entry{reading("b-north", 0, 412), second, dosing("k1", "B", 0), dosing("k1", "C", 0), reading("b-north", 0, 99)})
	require.NoError(t, err)
	require.Equal(t, []Stored{{Seq: 1, Duplicate: true}, {Seq: 3}, {Seq: 2, Duplicate: true},
		{Seq: 2, Duplicate: true, Differs: true}, {Seq: 3, Duplicate: true}}, got, "a second value for one time is kept")
	kept := all(t, s)
	require.Len(t, kept, 3)
	known, err := s.Known(ctx, got)
	require.NoError(t, err)
	require.Equal(t, []logbook.Entry{nil, nil, nil, kept[1], nil}, known, "who has the id of the one that was not kept")
	known, err = s.Known(ctx, got[:3])
	require.NoError(t, err)
	require.Empty(t, known)
	_, err = s.Known(ctx, []Stored{{Seq: 9, Duplicate: true, Differs: true}})
	require.ErrorContains(t, err, "read entry 9")
}

func TestAppendRefuses(t *testing.T) {
	s, _ := fresh(t)
	bad := reading("b-north", 0, 1)
	bad.Unit = "bananas"
	wrong := reading("b-north", 0, 1)
	wrong.Kind = logbook.KindClock
	undated := reading("b-north", 0, 1)
	undated.Time = 0
	for _, e := range []logbook.Entry{bad, wrong, undated, accepted(1)} {
		_, err := s.Append(t.Context(), []logbook.Entry{reading("b-south", 0, 1), e})
		require.Error(t, err)
	}
	require.Empty(t, all(t, s), "nothing of a refused call is kept")
	gone, cancel := context.WithCancel(t.Context())
	cancel()
	s.turn <- struct{}{} // somebody else is writing
	_, err := s.Append(gone, []logbook.Entry{reading("b-south", 0, 1)})
	require.ErrorIs(t, err, context.Canceled)
	<-s.turn
	require.Empty(t, all(t, s))
	require.NoError(t, s.Close())
	_, err = s.Append(t.Context(), []logbook.Entry{reading("b-south", 0, 1)})
	require.ErrorIs(t, err, ErrClosed)
}

func TestGroupCommit(t *testing.T) {
	s, _ := fresh(t)
	s.turn <- struct{}{} // hold the commit until all callers wait
	const callers = 50
	var wg sync.WaitGroup
	errs := make([]error, callers)
	for i := range callers {
		wg.Go(func() {
			_, errs[i] = s.Append(t.Context(), []logbook.Entry{reading("b-north", i, 1), reading("b-south", i, 2)})
		})
	}
	require.Eventually(t, func() bool { s.mu.Lock(); defer s.mu.Unlock(); return len(s.queue) == callers }, 10*time.Second, time.Millisecond)
	<-s.turn
	wg.Wait()
	require.NoError(t, errors.Join(errs...))
	require.Len(t, all(t, s), 2*callers)
	var blocks int
	require.NoError(t, s.read.QueryRow("SELECT count(*) FROM blocks").Scan(&blocks))
	require.Equal(t, 1, blocks, "callers that wait together are committed together")
}

func TestLargeAppendIsSplitIntoBlocks(t *testing.T) {
	s, _ := fresh(t)
	var in []logbook.Entry
	for i := range 2*logbook.MaxBlockEntries + 5 {
		in = append(in, reading(fmt.Sprint("c", i%7), i, float64(i)))
	}
	_, err := s.Append(t.Context(), in)
	require.NoError(t, err)
	require.Equal(t, in, all(t, s))
	got, err := s.Read(t.Context(), 1020, 10)
	require.NoError(t, err)
	require.Equal(t, in[1019:1029], got)
	got, err = s.Read(t.Context(), 1<<63+1, 10)
	require.NoError(t, err)
	require.Empty(t, got)
}

func TestReopenGoesOn(t *testing.T) {
	s, c := fresh(t)
	_, err := s.Append(t.Context(), []logbook.Entry{reading("a", 0, 1)})
	require.NoError(t, err)
	before, err := s.Head(t.Context())
	require.NoError(t, err)
	require.NoError(t, s.Close())
	s = openTest(t, s.Path(), Options{Now: c.now})
	after, err := s.Head(t.Context())
	require.NoError(t, err)
	require.Equal(t, before, after)
	_, err = s.Append(t.Context(), []logbook.Entry{reading("a", 1, 1)})
	require.NoError(t, err)
	ro := openTest(t, s.Path(), Options{ReadOnly: true})
	require.Len(t, all(t, ro), 2)
	h, err := ro.Head(t.Context())
	require.NoError(t, err)
	require.EqualValues(t, 2, h.Seq)
	_, err = ro.Append(t.Context(), []logbook.Entry{reading("a", 2, 1)})
	require.ErrorContains(t, err, "reading only")
	require.ErrorIs(t, ro.Wait(t.Context(), 0), errors.ErrUnsupported)
}

func TestOneWriter(t *testing.T) {
	s, _ := fresh(t)
	_, err := Open(s.Path(), Options{})
	var locked *LockedError
	require.ErrorAs(t, err, &locked)
	require.Positive(t, locked.PID)
	require.ErrorContains(t, err, "undersheet act")
}

func TestWait(t *testing.T) {
	s, _ := fresh(t)
	woke := make(chan error)
	go func() { woke <- s.Wait(context.Background(), 0) }()
	_, err := s.Append(t.Context(), []logbook.Entry{reading("a", 0, 1)})
	require.NoError(t, err)
	require.NoError(t, <-woke)
	gone, cancel := context.WithCancel(t.Context())
	cancel()
	require.ErrorIs(t, s.Wait(gone, 1), context.Canceled)
	go func() { woke <- s.Wait(context.Background(), 1) }()
	require.NoError(t, s.Close())
	require.ErrorIs(t, <-woke, ErrClosed)
}

func TestReadings(t *testing.T) {
	s, _ := fresh(t)
	var want []*logbook.Reading
	for _, i := range []int{5, 1, 3, 3, 9} { // not in order of time
		r := reading("a", i, float64(len(want)))
		_, err := s.Append(t.Context(), []logbook.Entry{r, reading("b", i, 1)})
		require.NoError(t, err)
		want = append(want, r)
	}
	var got []*logbook.Reading
	for r, err := range s.Readings(t.Context(), "a", want[1].Time, want[4].Time) {
		require.NoError(t, err)
		got = append(got, r)
	}
	require.Equal(t, []*logbook.Reading{want[1], want[2], want[3], want[0]}, got)
	for range s.Readings(t.Context(), "none", 0, want[4].Time) {
		t.Fatal("a channel without readings yields one")
	}
}

func TestFullDisk(t *testing.T) {
	s, _ := fresh(t)
	var pages int
	require.NoError(t, s.write.QueryRow("PRAGMA page_count").Scan(&pages))
	limit := func(n int) {
		require.NoError(t, s.write.QueryRow(fmt.Sprint("PRAGMA max_page_count = ", n)).Scan(new(int)))
	}
	limit(pages + 2)
	var many []logbook.Entry
	for i := range 3000 {
		many = append(many, reading("a", i, 1))
	}
	_, err := s.Append(t.Context(), many)
	require.ErrorContains(t, err, "the disk is full, nothing of this commit was kept")
	require.Zero(t, many[0].Head().Seq, "a failed commit leaves the entries as they were")
	require.Empty(t, all(t, s))
	limit(pages + 1000)
	_, err = s.Append(t.Context(), many)
	require.NoError(t, err, "it goes on when there is room again")
	require.Equal(t, many, all(t, s))
	_, err = s.Verify(t.Context(), "", nil)
	require.NoError(t, err)
}
