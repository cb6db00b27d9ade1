package ingest_test

import (
	"context"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/ingest"
	"undersheet/logbook"
	"undersheet/logbook/sqlite"
	"undersheet/sensor"
)

// realBook opens a logbook on disk, and returns how ingest appends to it.
func realBook(t *testing.T) (*sqlite.Store, ingest.Append) {
	store, err := sqlite.Open(filepath.Join(t.TempDir(), "logbook.db"), sqlite.Options{})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, store.Close()) })
	return store, func(ctx context.Context, es []logbook.Entry) ([]logbook.Entry, error) {
		stored, err := store.Append(ctx, es)
		if err != nil {
			return nil, err
		}
		return store.Known(ctx, stored)
	}
}

// counted is an instrument that gives a sequence number and no time.
type counted struct {
	t     *testing.T
	store *sqlite.Store
	in    *ingest.Ingest
	now   time.Time
}

func newCounted(t *testing.T) *counted {
	store, into := realBook(t)
	c := &counted{t: t, store: store, now: now}
	c.in = ingest.New(into, ingest.Options{Now: func() time.Time { return c.now }, Unit: options().Unit})
	return c
}

// send brings readings of b-top, all of one message each.
func (c *counted) send(rs ...sensor.Reading) {
	c.t.Helper()
	for i := range rs {
		rs[i].Channel, rs[i].Source = "b-top", "gateway"
	}
	require.NoError(c.t, c.in.Readings(context.Background(), rs))
}

// kept returns the readings of the logbook.
func (c *counted) kept() (rs []*logbook.Reading) {
	es, err := c.store.Read(context.Background(), 1, 1000)
	require.NoError(c.t, err)
	for _, e := range es {
		rs = append(rs, e.(*logbook.Reading))
	}
	return rs
}

func (c *counted) stats() ingest.Instrument { return c.in.Stats().Instruments[0] }

func TestRepeatedMessageIsDropped(t *testing.T) {
	c := newCounted(t)
	c.send(sensor.Reading{Value: 412, ID: "depot/b#17"}, sensor.Reading{Value: 410, ID: "depot/b#18"})
	c.now = c.now.Add(ingest.RepeatWithin - time.Second)
	c.send(sensor.Reading{Value: 412, ID: "depot/b#17", Retained: true}, sensor.Reading{Value: 409, ID: "depot/b#19"}, sensor.Reading{Value: 409, ID: "depot/b#19"})
	rs := c.kept()
	require.Len(t, rs, 3)
	require.Equal(t, "gateway/b-top/depot/b#17", rs[0].ID)
	require.Equal(t, logbook.At(now), rs[0].Time)
	require.False(t, rs[0].Retained)
	s := c.stats()
	require.Equal(t, []uint64{5, 2, 0}, []uint64{s.Readings, s.Repeated, s.Reused})
}

// A restarted daemon knows what was kept before it: the key is in the logbook.
func TestRepeatedMessageIsDroppedAfterRestart(t *testing.T) {
	c := newCounted(t)
	c.send(sensor.Reading{Value: 412, ID: "depot/b#17"})
	c.in = ingest.New(func(ctx context.Context, es []logbook.Entry) ([]logbook.Entry, error) {
		stored, err := c.store.Append(ctx, es)
		require.NoError(t, err)
		return c.store.Known(ctx, stored)
	}, ingest.Options{Now: func() time.Time { return now.Add(time.Minute) }, Unit: options().Unit})
	c.send(sensor.Reading{Value: 412, ID: "depot/b#17", Retained: true})
	require.Len(t, c.kept(), 1)
}

// An instrument that lost power counts from the start again. None of its readings
// may be lost, however often that happens, and a repeated one is still dropped.
func TestInstrumentThatCountsAnew(t *testing.T) {
	c := newCounted(t)
	for start := range 4 {
		for n := range 3 {
			r := sensor.Reading{Value: 0, ID: "depot/b#" + string(rune('0'+n))}
			c.send(r)
			c.now = c.now.Add(time.Second)
			if start < 2 { // the first key and that of the day
				c.send(r)
			}
			c.now = c.now.Add(time.Minute)
		}
		c.now = c.now.Add(2 * time.Hour)
	}
	rs := c.kept()
	require.Len(t, rs, 12)
	require.Equal(t, []string{"gateway/b-top/depot/b#0", "gateway/b-top;2026-03-01/depot/b#0", "", ""}, []string{rs[0].ID, rs[3].ID, rs[6].ID, rs[9].ID})
	s := c.stats()
	require.Equal(t, []uint64{18, 6, 9}, []uint64{s.Readings, s.Repeated, s.Reused})
}

// Another value under a used number is another measurement, however soon it comes.
func TestUsedNumberWithAnotherValueIsKept(t *testing.T) {
	c := newCounted(t)
	c.send(sensor.Reading{Value: 1, ID: "depot/b#1"})
	c.send(sensor.Reading{Value: 2, ID: "depot/b#1"}, sensor.Reading{ID: "depot/b#1", Fault: "warming up"})
	c.send(sensor.Reading{Value: 3, ID: "depot/b#1"})
	rs := c.kept()
	require.Len(t, rs, 4)
	require.Equal(t, uint64(3), c.stats().Reused)
}

// What tells measurements apart: instrument, channel and key; with a time of its
// own a reading needs no key.
func TestWhatAKeyIsOf(t *testing.T) {
	c := newCounted(t)
	long := strings.Repeat("9", 100_000)
	for _, r := range []sensor.Reading{
		{Channel: "b-top", Source: "gateway", ID: "a#1"}, {Channel: "c", Source: "gateway", ID: "a#1"}, {Channel: "b-top", Source: "rack", ID: "a#1"},
		{Channel: "b-top/a", Source: "gateway", ID: "1"}, {Channel: "b-top", Source: "gateway", ID: "a/1"}, {Channel: "b-top", Source: "gateway", ID: long},
		{Channel: "b-top", Source: "gateway", ID: long + "0"}, {Channel: "b-top", Source: "gateway", ID: "a#1", Time: now}, {Channel: "b-top", Source: "gateway", ID: "a#1", Time: now.Add(time.Second)},
	} {
		r.Unit = logbook.PPM
		require.NoError(t, c.in.Readings(context.Background(), []sensor.Reading{r}))
	}
	rs := c.kept()
	require.Len(t, rs, 9)
	seen := map[string]bool{}
	for _, r := range rs[:7] {
		require.NotEmpty(t, r.ID)
		require.Less(t, len(r.ID), 600)
		require.False(t, seen[r.ID], r.ID)
		seen[r.ID] = true
	}
	require.Empty(t, rs[7].ID)
	require.Empty(t, rs[8].ID)
}
