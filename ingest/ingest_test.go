package ingest_test

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"math"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/ingest"
	"undersheet/logbook"
	"undersheet/sensor"
)

var (
	now     = time.Date(2026, 3, 1, 14, 0, 0, 0, time.UTC)
	errFull = errors.New("the disk is full")
)

// book is a logbook in memory that can be made to fail.
type book struct {
	mu      sync.Mutex
	entries []logbook.Entry
	broken  func([]logbook.Entry) error
}

func (b *book) append(_ context.Context, es []logbook.Entry) ([]logbook.Entry, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.broken != nil {
		if err := b.broken(es); err != nil {
			return nil, err
		}
	}
	for _, e := range es {
		if err := logbook.Check(e); err != nil {
			return nil, err
		}
	}
	b.entries = append(b.entries, es...)
	return nil, nil
}

func (b *book) breakWith(f func([]logbook.Entry) error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.broken = f
}

func (b *book) all() []logbook.Entry {
	b.mu.Lock()
	defer b.mu.Unlock()
	return append([]logbook.Entry(nil), b.entries...)
}

// options know one channel, b-top in ppm.
func options() ingest.Options {
	return ingest.Options{Now: func() time.Time { return now }, Unit: func(channel string) (string, bool) {
		return "ppm", channel == "b-top"
	}}
}

func TestReadingsBecomeEntries(t *testing.T) {
	at := now.Add(-time.Hour)
	nextYear := now.AddDate(1, 0, 0)
	for name, c := range map[string]struct {
		r    sensor.Reading
		want logbook.Reading
	}{
		"own time and unit": {sensor.Reading{Channel: "b-top", Value: 412, Unit: "mg/m3", Time: at},
			logbook.Reading{Channel: "b-top", Value: 412, Unit: "mg/m3", Header: logbook.Header{Time: logbook.At(at)}}},
		"stamped, the channel's unit": {sensor.Reading{Channel: "b-top", Value: 412},
			logbook.Reading{Channel: "b-top", Value: 412, Unit: "ppm", Stamped: true, Header: logbook.Header{Time: logbook.At(now)}}},
		"retained without a time": {sensor.Reading{Channel: "b-top", Value: 412, Retained: true},
			logbook.Reading{Channel: "b-top", Value: 412, Unit: "ppm", Stamped: true, Retained: true, Header: logbook.Header{Time: logbook.At(now)}}},
		"retained with its time": {sensor.Reading{Channel: "b-top", Value: 412, Retained: true, Time: at},
			logbook.Reading{Channel: "b-top", Value: 412, Unit: "ppm", Retained: true, Header: logbook.Header{Time: logbook.At(at)}}},
		"unknown channel": {sensor.Reading{Channel: "who", Value: -3, Unit: "C"},
			logbook.Reading{Channel: "who", Value: -3, Unit: "C", Stamped: true, Header: logbook.Header{Time: logbook.At(now)}}},
		"from next year": {sensor.Reading{Channel: "b-top", Value: 1, Time: nextYear},
			logbook.Reading{Channel: "b-top", Value: 1, Unit: "ppm", Header: logbook.Header{Time: logbook.At(nextYear)}}},
		"fault, not UTF-8": {sensor.Reading{Channel: "b-top", Fault: "cell \xff"},
			logbook.Reading{Channel: "b-top", Unit: "ppm", Fault: "cell \uFFFD", Stamped: true, Header: logbook.Header{Time: logbook.At(now)}}},
	} {
		t.Run(name, func(t *testing.T) {
			b := &book{}
			require.NoError(t, ingest.New(b.append, options()).Readings(context.Background(), []sensor.Reading{c.r}))
			c.want.Kind = logbook.KindReading
			require.Equal(t, []logbook.Entry{&c.want}, b.all())
		})
	}
}

// What cannot be a reading entry is kept as refused; the others of its batch go on.
func TestUnwritableReadingsAreKeptAsRefused(t *testing.T) {
	b := &book{}
	in := ingest.New(b.append, options())
	bad := []sensor.Reading{
		{Value: 1, Unit: "ppm"}, {Channel: "b-top", Value: math.NaN()}, {Channel: "b-top", Value: 1, Unit: "ppb"},
		{Channel: "who", Value: 1}, {Channel: "b-top", Value: 1, Time: time.Date(12000, 1, 1, 0, 0, 0, 0, time.UTC)},
		{Channel: strings.Repeat("x", 1<<20), Value: 1, Unit: "ppm"}, {Channel: "b-top", Value: 1, Time: time.Unix(0, 0)},
	}
	for i := range bad {
		bad[i].Source = "gateway"
	}
	require.NoError(t, in.Readings(context.Background(), append(bad, sensor.Reading{Channel: "b-top", Value: 412, Source: "gateway"})))
	es := b.all()
	require.Len(t, es, len(bad)+1)
	for i := range bad {
		r, ok := es[i].(*logbook.PayloadRefused)
		require.True(t, ok, "%d: %v", i, es[i])
		require.Equal(t, "gateway", r.Instrument)
		require.NotEmpty(t, r.Why)
		require.NotEmpty(t, r.Excerpt)
	}
	require.Equal(t, float64(412), es[len(bad)].(*logbook.Reading).Value)
	s := in.Stats()
	require.Len(t, s.Instruments, 1)
	require.Equal(t, uint64(1), s.Instruments[0].Readings)
	require.Equal(t, uint64(len(bad)), s.Instruments[0].Refused)
	require.Equal(t, now, s.Instruments[0].Last)
}

// Readings without a time that come together keep their order and stay apart.
func TestStampsDiffer(t *testing.T) {
	b := &book{}
	rs := []sensor.Reading{{Channel: "b-top", Value: 1}, {Channel: "c", Value: 1, Unit: "C"}, {Channel: "b-top", Value: 1}, {Channel: "b-top", Value: 2}}
	require.NoError(t, ingest.New(b.append, options()).Readings(context.Background(), rs))
	for i, after := range []logbook.Time{0, 0, 1, 2} {
		require.Equal(t, logbook.At(now)+after, b.all()[i].Head().Time)
	}
}

func TestRefusedPayloadOfTenMegabytes(t *testing.T) {
	b := &book{}
	whole := bytes.Repeat([]byte{'x'}, 10<<20)
	in := ingest.New(b.append, options())
	require.NoError(t, in.Refused(context.Background(), sensor.NewRefused("gateway", "depot/\xff", whole, "too long", now)))
	sum := sha256.Sum256(whole)
	require.Equal(t, []logbook.Entry{&logbook.PayloadRefused{
		Header: logbook.Header{Kind: logbook.KindPayloadRefused, Time: logbook.At(now)}, Instrument: "gateway", Topic: "depot/\uFFFD",
		Size: 10 << 20, SHA256: hex.EncodeToString(sum[:]), Excerpt: whole[:1024], Why: "too long"}}, b.all())
	require.NoError(t, in.Refused(context.Background(), sensor.NewRefused("", "", whole, strings.Repeat("é", 1<<20), time.Time{})))
	r := b.all()[1].(*logbook.PayloadRefused)
	require.Equal(t, hex.EncodeToString(sum[:]), r.SHA256, "of the whole, not of what is kept")
	require.Less(t, len(r.Why), 5000)
	require.Equal(t, logbook.At(now), r.Time)
}

func TestStatusAndWhatIsDown(t *testing.T) {
	b := &book{}
	in := ingest.New(b.append, options())
	for _, s := range []sensor.Status{{Instrument: "rack", Unit: "unit 7", Detail: "silent"}, {Instrument: "rack", Unit: "unit 3", Detail: "silent", Time: now},
		{Instrument: "rack", Unit: "unit 7", OK: true, Time: now}} {
		require.NoError(t, in.Status(context.Background(), s))
	}
	require.Len(t, b.all(), 3)
	require.Equal(t, logbook.At(now), b.all()[0].Head().Time)
	down := in.Stats().Instruments[0].Down
	require.Len(t, down, 1)
	require.Equal(t, "unit 3", down[0].Unit)
}

// A full disk holds up those who commit, tells, and loses nothing.
func TestFullDisk(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := &book{}
		b.breakWith(func([]logbook.Entry) error { return errFull })
		in := ingest.New(b.append, ingest.Options{Unit: options().Unit})
		began := time.Now()
		done := make(chan error, 2)
		go func() { done <- in.Readings(context.Background(), []sensor.Reading{{Channel: "b-top", Value: 412}}) }()
		go func() { done <- in.Status(context.Background(), sensor.Status{Instrument: "rack", OK: true}) }()
		<-time.After(10 * time.Minute)
		require.Empty(t, done)
		s := in.Stats()
		require.Equal(t, 2, s.Waiting)
		require.Equal(t, "the disk is full", s.LogError)
		require.Equal(t, began, s.LogSince)
		// Another one whose commit succeeds goes on meanwhile.
		b.breakWith(func(es []logbook.Entry) error {
			if es[0].Head().Kind == logbook.KindPayloadRefused {
				return nil
			}
			return errFull
		})
		require.NoError(t, in.Refused(context.Background(), sensor.NewRefused("gateway", "a", []byte("b"), "c", time.Now())))
		b.breakWith(nil)
		<-time.After(time.Minute)
		require.NoError(t, <-done)
		require.NoError(t, <-done)
		require.Len(t, b.all(), 3)
		for _, e := range b.all() {
			if r, ok := e.(*logbook.Reading); ok {
				require.Equal(t, logbook.At(began), r.Time, "stamped when it arrived, not when the disk had room")
			}
		}
		s = in.Stats()
		require.Zero(t, s.Waiting)
		require.Empty(t, s.LogError)
		require.True(t, s.LogSince.IsZero())
	})
}

func TestEndOfContextEndsWaiting(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		in := ingest.New(func(ctx context.Context, _ []logbook.Entry) ([]logbook.Entry, error) {
			return nil, errors.Join(errFull, ctx.Err())
		}, ingest.Options{Unit: options().Unit})
		ctx, cancel := context.WithTimeout(context.Background(), time.Hour)
		defer cancel()
		err := in.Readings(ctx, []sensor.Reading{{Channel: "b-top", Value: 412}})
		require.ErrorIs(t, err, context.DeadlineExceeded)
		require.ErrorIs(t, err, errFull)
		require.Zero(t, in.Stats().Waiting)
	})
}

// In the real logbook, what comes twice is kept once.
func TestDuplicatesAreDropped(t *testing.T) {
	store, into := realBook(t)
	in := ingest.New(into, options())
	r := sensor.Reading{Channel: "b-top", Value: 412, Time: now}
	other := r
	other.Value = 413
	for range 3 {
		require.NoError(t, in.Readings(context.Background(), []sensor.Reading{r, r, other}))
	}
	head, err := store.Head(context.Background())
	require.NoError(t, err)
	require.Equal(t, uint64(2), head.Seq, "the same reading once, and a second value for its time")
}
