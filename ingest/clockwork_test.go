package ingest_test

import (
	"context"
	"errors"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/ingest"
	"undersheet/logbook"
	"undersheet/sensor"
)

// head is the newest entry of b; received is its own time here.
func (b *book) head(context.Context) (uint64, time.Time, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if len(b.entries) == 0 {
		return 0, time.Time{}, nil
	}
	return uint64(len(b.entries)), b.entries[len(b.entries)-1].Head().Time.Std(), nil
}

// kinds returns the kinds of all entries with their seconds after start.
func (b *book) after(start time.Time, kind logbook.Kind) (seconds []float64) {
	for _, e := range b.all() {
		if e.Head().Kind == kind {
			seconds = append(seconds, e.Head().Time.Std().Sub(start).Seconds())
		}
	}
	return seconds
}

func TestClockEntriesOnlyInSilence(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := &book{}
		in := ingest.New(b.append, ingest.Options{})
		ctx, cancel := context.WithCancel(t.Context())
		start := time.Now()
		done := make(chan error, 1)
		go func() { done <- ingest.NewClockwork(in, b.head, ingest.ClockOptions{}).Run(ctx) }()
		for _, at := range []int{10, 20, 45, 76} { // readings at these seconds
			<-time.After(time.Until(start.Add(time.Duration(at) * time.Second)))
			require.NoError(t, in.Readings(ctx, []sensor.Reading{{Channel: "a", Unit: "C", Value: float64(at)}}))
		}
		<-time.After(time.Until(start.Add(140 * time.Second)))
		cancel()
		require.NoError(t, <-done)
		// 30 s after the reading at 45, after that at 76, and after itself.
		require.Equal(t, []float64{75, 106, 136}, b.after(start, logbook.KindClock))
		require.Empty(t, b.after(start, logbook.KindClockStepped))
	})
}

// hands is a clock that a test sets.
type hands struct {
	now     time.Time
	elapsed time.Duration
}

func (h *hands) Now() time.Time                       { return h.now }
func (h *hands) After(time.Duration) <-chan time.Time { return nil }
func (h *hands) pass(wall, mono time.Duration)        { h.now, h.elapsed = h.now.Add(wall), h.elapsed+mono }
func (h *hands) monotonic() time.Duration             { return h.elapsed }

func TestClockStep(t *testing.T) {
	h, b := &hands{now: now}, &book{}
	c := ingest.NewClockwork(ingest.New(b.append, ingest.Options{}), b.head, ingest.ClockOptions{Clock: h, Monotonic: h.monotonic})
	look := func() {
		t.Helper()
		next, err := c.Look(context.Background())
		require.NoError(t, err)
		require.Positive(t, next)
		require.LessOrEqual(t, next, ingest.Silence)
	}
	var steps []float64
	for _, m := range []struct{ wall, mono time.Duration }{
		{0, 0}, {30 * time.Second, 30 * time.Second}, {90 * time.Second, 30 * time.Second}, // a step of exactly 60 s is none
		{90*time.Second + time.Microsecond, 30 * time.Second}, {-time.Hour, time.Second}, {time.Minute, time.Minute}, {time.Second, 2 * time.Minute},
	} {
		h.pass(m.wall, m.mono)
		look()
	}
	for _, e := range b.all() {
		if s, ok := e.(*logbook.ClockStepped); ok {
			steps = append(steps, s.StepSeconds)
		}
	}
	require.Equal(t, []float64{60.000001, -3601, -119}, steps)
}

// Of a step ahead, what the machine slept is time that passed, and so is all of a step soon after it
// started, when its clock gets the time; what is left was set (arithmetic).
func TestStepThatIsTimePassed(t *testing.T) {
	for name, c := range map[string]struct {
		ran                []time.Duration // at the two looks
		wall, step, passed time.Duration
	}{
		"set":                     {[]time.Duration{time.Hour, time.Hour + 30*time.Second}, 2 * time.Hour, 2*time.Hour - 30*time.Second, 0},
		"slept":                   {[]time.Duration{time.Hour, 3 * time.Hour}, 2 * time.Hour, 2*time.Hour - 30*time.Second, 2*time.Hour - 30*time.Second},
		"slept, and was set":      {[]time.Duration{time.Hour, 2 * time.Hour}, 5 * time.Hour, 5*time.Hour - 30*time.Second, time.Hour - 30*time.Second},
		"slept, and was set back": {[]time.Duration{time.Hour, 4 * time.Hour}, 2 * time.Hour, 2*time.Hour - 30*time.Second, 2*time.Hour - 30*time.Second},
		"just started":            {[]time.Duration{time.Minute, 90 * time.Second}, 48 * time.Hour, 48*time.Hour - 30*time.Second, 48*time.Hour - 30*time.Second},
		"not known":               {[]time.Duration{0, 0}, 48 * time.Hour, 48*time.Hour - 30*time.Second, 0},
		"not known any more":      {[]time.Duration{time.Hour, 0}, 48 * time.Hour, 48*time.Hour - 30*time.Second, 0},
	} {
		h, b := &hands{now: now}, &book{}
		ran := c.ran
		w := ingest.NewClockwork(ingest.New(b.append, ingest.Options{}), b.head, ingest.ClockOptions{Clock: h, Monotonic: h.monotonic, Running: func() time.Duration { return ran[0] }})
		_, err := w.Look(context.Background())
		require.NoError(t, err)
		h.pass(c.wall, 30*time.Second)
		ran = ran[1:]
		_, err = w.Look(context.Background())
		require.NoError(t, err)
		var steps [][]float64
		for _, e := range b.all() {
			if s, ok := e.(*logbook.ClockStepped); ok {
				steps = append(steps, []float64{s.StepSeconds, s.PassedSeconds})
			}
		}
		require.Equal(t, [][]float64{{c.step.Seconds(), c.passed.Seconds()}}, steps, name)
	}
}

// A wall clock behind the newest entry must not keep clock entries away.
func TestClockBehindTheLogbook(t *testing.T) {
	h, b := &hands{now: now}, &book{}
	in := ingest.New(b.append, ingest.Options{Now: func() time.Time { return now.AddDate(1, 0, 0) }})
	require.NoError(t, in.Readings(context.Background(), []sensor.Reading{{Channel: "a", Unit: "C"}}))
	received := now.AddDate(1, 0, 0)
	head := func(ctx context.Context) (uint64, time.Time, error) {
		seq, _, err := b.head(ctx)
		return seq, received, err // never decreases
	}
	c := ingest.NewClockwork(in, head, ingest.ClockOptions{Clock: h})
	for range 10 {
		next, err := c.Look(context.Background())
		require.NoError(t, err)
		h.pass(next, next)
	}
	require.Len(t, b.after(now, logbook.KindClock), 9, "at every look but the first")
}

func TestClockworkTellsWhyItStops(t *testing.T) {
	lost := errors.New("the logbook is closed")
	head := func(context.Context) (uint64, time.Time, error) { return 0, time.Time{}, lost }
	err := ingest.NewClockwork(ingest.New((&book{}).append, ingest.Options{}), head, ingest.ClockOptions{}).Run(context.Background())
	require.ErrorIs(t, err, lost)
}

// A board without a battery clock starts in the past: a time server sets it soon, and nothing but
// that step is said; where none does, that it is behind is said after five minutes and then once a day
// (common practice).
func TestClockBehindFromTheStart(t *testing.T) {
	for name, c := range map[string]struct {
		set   time.Duration // when a time server sets it, two hours ahead; 0 = never
		ahead time.Duration // of it, the newest entry
		want  []float64
	}{"set soon": {3 * time.Minute, time.Hour, []float64{7200}}, "never set": {0, time.Hour, []float64{-3300}},
		"behind for days": {0, 50 * time.Hour, []float64{-179700, -93300, -6900}}} {
		h, b := &hands{now: now}, &book{}
		head := func(ctx context.Context) (uint64, time.Time, error) {
			seq, _, err := b.head(ctx)
			return seq, now.Add(c.ahead), err
		}
		w := ingest.NewClockwork(ingest.New(b.append, ingest.Options{}), head, ingest.ClockOptions{Clock: h, Monotonic: h.monotonic})
		for range 60 * 120 {
			if c.set > 0 && h.elapsed == c.set {
				h.pass(2*time.Hour, 0)
			}
			_, err := w.Look(context.Background())
			require.NoError(t, err)
			h.pass(30*time.Second, 30*time.Second)
		}
		var steps []float64
		for _, e := range b.all() {
			if s, ok := e.(*logbook.ClockStepped); ok {
				steps = append(steps, s.StepSeconds)
			}
		}
		require.Equal(t, c.want, steps, name)
	}
}
